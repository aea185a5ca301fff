"""Lines that are not TOML by its own specification (TOML 1.0.0), and what is said of them; the words are our own."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from choreo.errors import ChoreoError
from choreo.read.notes import Source
from choreo.read.parse import parse


def said(text):
    with pytest.raises(ChoreoError) as caught:
        parse(Source("choreography.toml", text, "", "toml"))
    (finding,) = caught.value.findings
    return finding


@pytest.mark.parametrize(
    ("text", "what", "remedy", "line"),
    [
        ("a = 1\nmove = twenty\n", "`twenty` is neither a number nor in quotes.", "put words in quotes", 2),
        ("move =\n", "Nothing stands after `move =`.", "Give it a value", 1),
        ("bleed = True\n", "`True` is not a value.", "Write true", 1),
        ("name = “lid”\n", "`“lid”` is not a value: its quotes are curly.", "straight quotes", 1),
        ("gap_px = .5\n", "`.5` is not a number.", "Write 0.5.", 1),
        ("move = 20 frames\n", "After `move = 20` the line goes on: `frames`.", "one key a line", 1),
        ("move = 1,5\n", "After `move = 1` the line goes on: `,5`.", "with a point", 1),
        ("move = 020\n", "After `move = 0` the line goes on: `20`.", "No number begins with 0.", 1),
        ("move 20\n", "`move 20` has no = after its key.", "key = value", 1),
        ('easing = "ease\nmove = 2\n', "A text that begins with a quote does not end on its line.", "Close it", 1),
        ("easing = 'ease", "A text that begins with a quote does not end on its line.", "Close it", 1),
        ("[defaults\nmove = 2\n", "The heading `[defaults` is not closed.", "brackets", 1),
        ("move = 2\nmove = 3\n", "`move` stands twice.", "Keep one", 2),
        ("move = 2\nmove = 3", "`move` stands twice.", "Keep one", 2),
        ("[shot]\n[shot]\n", "`[shot]` stands twice.", "[[name]]", 2),
        ("beats = [1 2]\n", "goes wrong here", "commas", 1),
        ("= 3\n", "`= 3` does not begin with a key.", "Keys are letters", 1),
        ('file = "C:\\plates"\n', "means something else here", "Write / in paths", 1),
        ("<<<<<<< ours\n", "`<<<<<<< ours` is a mark that a merge has left.", "Keep what is meant", 1),
    ],
)
def test_what_was_typed_is_said_and_what_to_type(text, what, remedy, line):
    finding = said(text)
    assert what in finding.what
    assert remedy.lower() in finding.remedy.lower()
    assert (finding.code, finding.line) == ("bad-toml", line)


@given(st.lists(st.sampled_from([*"ab=[]{}\"'.,#\\ \n01-_“", "true", "[[", "\x1b"]), max_size=12).map("".join))
def test_whatever_is_typed_there_is_one_finding_on_one_line(text):
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        finding = said(text)
        assert "\n" not in finding.what
        assert "\x1b" not in finding.what
        assert finding.line is not None
        assert finding.remedy
