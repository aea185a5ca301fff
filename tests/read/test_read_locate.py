"""Lines and places: each value is found on the line on which a person sees it."""

from __future__ import annotations

import json
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.errors import ChoreoError
from choreo.read.locate_json import json_lines, repeated_keys
from choreo.read.locate_toml import toml_lines
from choreo.read.notes import Source, key_path
from choreo.read.parse import parse


def leaves(value, place=()):
    if isinstance(value, dict):
        for key, child in value.items():
            yield from leaves(child, (*place, key))
    elif isinstance(value, list):
        for index, child in enumerate(value):
            yield from leaves(child, (*place, index))
    else:
        yield place, value


KEYS = st.text(st.characters(exclude_categories=["Cs"]), max_size=5)
TREES = st.recursive(
    st.one_of(st.integers(-9, 9), st.text(st.characters(exclude_categories=["Cs"]), max_size=6), st.booleans()),
    lambda child: st.one_of(st.lists(child, max_size=4), st.dictionaries(KEYS, child, max_size=4)),
    max_leaves=20,
)


@settings(max_examples=150, deadline=None)
@given(tree=TREES)
def test_json_lines_hold_what_they_are_said_to_hold(tree):
    # Indented output has one leaf a line: the line that is named must end with that leaf.
    text = json.dumps(tree, indent=1, ensure_ascii=False)
    lines = text.split("\n")
    places = dict(leaves(tree))
    found = json_lines(text, set(places))
    assert found.keys() >= places.keys()
    for place, value in places.items():
        assert lines[found[place] - 1].rstrip(",").endswith(json.dumps(value, ensure_ascii=False))


def test_json_lines_by_hand():
    text = '\n{"a": 1,\n "b": [1,\n  {"c": "}\\"]"}\n ], "\\u0064": 2,\n\n "e": 3}'
    wanted = {(), ("a",), ("b",), ("b", 0), ("b", 1), ("b", 1, "c"), ("d",), ("e",)}
    assert json_lines(text, wanted) == {
        (): 2,
        ("a",): 2,
        ("b",): 3,
        ("b", 0): 3,
        ("b", 1): 4,
        ("b", 1, "c"): 4,
        ("d",): 5,
        ("e",): 7,
    }


def test_repeated_keys():
    assert repeated_keys('{"a": 1, "b": {"a": 2, "\\u0061": 3}, "c": [{"x": 0}, {"x": 0, "x": 1}]}') == [
        ("b", "a"),
        ("c", 1, "x"),
    ]


TOML = '''# a comment with = and [brackets]
title = "x # no comment" # one
dotted.key."quoted.part" = 1
multi = """
one " two "" three \\"""
four"""
literal = \'\'\'
it''s\'\'\'

numbers = [ # comment ]
  1, 2.5,
  1979-05-27 07:32:00, # a date with a blank
  [ "]", {a = 1, b.c = [7]} ],
]
"" = 'empty key'
[table]
  [ table . 'sub' ]
  x = -inf
[[list]]
[[list.inner]]
v = 1
[[list.inner]]
v = 2
[list.inner.deep]
w = 3
[[list]]
  [[list.inner]]
  v = 4
'''
# Counted by hand.
TOML_LINES = {
    (): 1,
    ("title",): 2,
    ("dotted", "key", "quoted.part"): 3,
    ("multi",): 4,
    ("literal",): 7,
    ("numbers",): 10,
    ("numbers", 0): 11,
    ("numbers", 1): 11,
    ("numbers", 2): 12,
    ("numbers", 3): 13,
    ("numbers", 3, 1, "b", "c", 0): 13,
    ("",): 15,
    ("table",): 16,
    ("table", "sub"): 17,
    ("table", "sub", "x"): 18,
    ("list",): 19,
    ("list", 0): 19,
    ("list", 0, "inner", 0): 20,
    ("list", 0, "inner", 0, "v"): 21,
    ("list", 0, "inner", 1): 22,
    ("list", 0, "inner", 1, "v"): 23,
    ("list", 0, "inner", 1, "deep"): 24,
    ("list", 0, "inner", 1, "deep", "w"): 25,
    ("list", 1): 26,
    ("list", 1, "inner", 0): 27,
    ("list", 1, "inner", 0, "v"): 28,
}


def test_toml_lines_by_hand():
    found = toml_lines(TOML)
    assert {place: found[place] for place in TOML_LINES} == TOML_LINES


def test_toml_places_are_the_parsers():
    # tomllib is the referee: exactly the places that the document has.
    known = set()
    for place, _ in leaves(tomllib.loads(TOML)):
        known.update(place[:length] for length in range(len(place) + 1))
    assert toml_lines(TOML).keys() == known


def test_key_path():
    # TOML 1.0.0, "Keys": bare keys hold A-Za-z0-9_- only; all others are quoted.
    assert key_path(("shot", 0, "phase", 1, "frames")) == "shot[0].phase[1].frames"
    assert key_path(("part", "a-b_1", "a.b", 'c"d', "")) == 'part.a-b_1."a.b"."c\\"d".""'


# TOML 1.0.0 documents that must be refused, and the line to name: toml-lang/toml-test, tests/invalid.
@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('name = "Tom"\nname = "Pradyun"\n', 2),
        ("leading-zero = 03.14\n", 1),
        ("arrr = [true false]\n", 1),
        ('no-ending-quote = "One time, at band camp\n', 1),
        ("! = 123\n", 1),
        ("[a]\nb=1\n[a]\nc=2\n", 3),
    ],
)
def test_toml_that_is_none(text, line):
    with pytest.raises(ChoreoError) as caught:
        parse(Source("x.toml", text, "", "toml"))
    (finding,) = caught.value.findings
    assert (finding.code, finding.line) == ("bad-toml", line)


def test_toml_types():
    # TOML 1.0.0, Integer, Float, Boolean; a 64-bit integer is the largest that must be handled losslessly.
    text = f"a = 1_000\nb = 0x1F\nc = 5e3\nd = true\ne = {2**63 - 1}\nf = inf\ng = {2**63}\n"
    value, notes = parse(Source("x.toml", text, "", "toml"))
    assert (value["a"], value["b"], value["c"], value["d"], value["e"]) == (1000, 31, 5000.0, True, 2**63 - 1)
    assert [(finding.place, finding.line) for finding in notes.findings()] == [("f", 6), ("g", 7)]


# RFC 8259: no NaN (section 6), one value (2), no trailing comma (5), control characters escaped (7).
@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        ("[1,\nNaN]", "not-finite", 2),
        ("[1]\n\n2", "bad-json", 3),
        ("[1,\n2,\n]", "bad-json", 3),
        ('["a\tb"]', "bad-json", 1),
        ("[01]", "bad-json", 1),
        ("{'a': 1}", "bad-json", 1),
        ("\n// comment\n{}", "bad-json", 2),
    ],
)
def test_json_that_is_none(text, code, line):
    try:
        _, notes = parse(Source("x.json", text, "", "json"))
        findings = notes.findings()
    except ChoreoError as error:
        findings = error.findings
    (finding,) = findings
    assert (finding.code, finding.line) == (code, line)
