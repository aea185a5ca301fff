"""The ledger and the lock as text: what is written is read again, and what was there stays."""

from __future__ import annotations

import re
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from choreo.commands import locking
from choreo.errors import ChoreoError
from choreo.model.sign_off import Makings, Mark
from choreo.read.sign_off import plain, read_director, read_ledger
from choreo.write.lock_toml import with_lock
from choreo.write.sign_off import ledger_with, toml_text

A = "sha256:" + "a" * 64
BY_FRAME = ("0123456789ab*8 ba9876543210", "0" * 12 + "*9", "f" * 12)
SAID = "burst", "approved", "Ada", "2026-03-01", A
MAKINGS = Makings({"camera": "0123456789ab"}, {"lens": {"path": "ba9876543210", "look": "0" * 12}})
hostile = st.text(st.characters(), max_size=40)


@given(hostile)
def test_any_text_is_a_string_of_toml(text):
    # tomllib is the reference; halves of characters have no place in TOML.
    whole = "".join("\ufffd" if "\ud800" <= one <= "\udfff" else one for one in text)
    written = toml_text(text)
    assert tomllib.loads(f"key = {written}")["key"] == whole
    assert written.isprintable()


@given(st.lists(st.tuples(hostile, hostile), max_size=3), st.booleans())
def test_what_is_written_is_read(tmp_path_factory, said, at_once):
    marks = [
        Mark(
            "burst",
            "approved",
            plain(f"by {by}").replace("\n", ""),
            "2024-02-29",
            A,
            9,
            plain(note),
            MAKINGS,
            *BY_FRAME,
        )
        for by, note in said
    ]
    text = None
    for some in [marks] if at_once else [[mark] for mark in marks]:
        text = ledger_with(text, some)
    path = tmp_path_factory.mktemp("ledger") / "sign-off.toml"
    path.write_text(text or ledger_with(None, []), encoding="utf-8")
    assert read_ledger(path)[1] == tuple(marks)


def test_new_entries_stand_at_the_end_and_the_rest_is_not_touched():
    mark = Mark("burst", "approved", "Ada", "2026-03-01", A, 9, "", MAKINGS)
    one = ledger_with(None, [mark])
    mine = one.replace("# Who", "# My own remark. Who").rstrip("\n")
    assert ledger_with(mine, [mark]).startswith(mine + "\n\n[[mark]]\n")
    assert '\n  lens = { path = "ba9876543210", look = "000000000000" }\n' in one


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("<<<<<<< ours\n", "bad-toml"),
        ('format = "choreo/sign-off"\nversion = 2\n', "wrong-version"),
        ('format = "choreo/tracks"\nversion = 1\n', "wrong-format"),
        (ledger_with(None, [Mark("burst", "approved", "Ada", "2026-02-29", A, 9)]), "bad-date"),
        (ledger_with(None, [Mark(*SAID, 9, frame_contents=BY_FRAME[0])]), None),
        (ledger_with(None, [Mark(*SAID, 10, frame_contents=BY_FRAME[0])]), "frames-left-out"),
        (ledger_with(None, [Mark(*SAID, 9, frame_pictures="0" * 12)]), "frames-left-out"),
        (ledger_with(None, [Mark(*SAID, 9, frame_pictures="0" * 11)]), "not-allowed"),
        (ledger_with(None, [Mark(*SAID, 9, frame_pictures="0" * 12 + "*99999999999")]), "not-allowed"),
    ],
)
def test_a_ledger_that_cannot_be_right_is_refused(tmp_path, text, code):
    path = tmp_path / "sign-off.toml"
    path.write_text(text)
    if code is None:
        read_ledger(path)
        return
    with pytest.raises(ChoreoError, match=f"\\[{code}\\]"):
        read_ledger(path)


def test_a_directors_file_of_another_kind_is_refused(tmp_path):
    path = tmp_path / "marks.json"
    path.write_text('{"format": "choreo/tracks"}')
    with pytest.raises(ChoreoError, match="wrong-format"):
        read_director(path)


TABLES = [
    'a = 1\n\n# First.\n[[shot]]\nname = "burst"   # why\n  [[shot.phase]]\n  frames = 3\n',
    "[other] # odd\r\nkey = '''\r\n[lock]\r\n'''\r\n",
    "[x]\ny = [\n  1,\n]",
]
LOCKS = [
    '[lock]\ntracks = "old#1.json" # signed "#2" in spring\n',
    '  [ "lock" ]  # kept\n# why\ntracks = "old.json"\nparts = [\n  "a",\n]\n',
]


@pytest.mark.parametrize("before", TABLES)
@pytest.mark.parametrize("lock", ["", *LOCKS])
@pytest.mark.parametrize("after", ["", "\n# Of the next.\n[next]\nz = 1\n"])
def test_only_the_lock_changes(before, lock, after):
    text = f"{before}\n{lock}{after}"
    new = with_lock(text, "approved.tracks.json", ["burst", 'odd " name'])
    value = tomllib.loads(new)
    assert value.pop("lock") == {"tracks": "approved.tracks.json", "shots": ["burst", 'odd " name']}
    assert value == {key: one for key, one in tomllib.loads(text).items() if key != "lock"}
    assert new.startswith(before)
    remarks = [match for match in re.findall(r" ?#[ a-zA-Z].*", text) if match]
    assert all(remark in new for remark in remarks)
    assert after in new
    # Again, it is the same text.
    assert with_lock(new, "approved.tracks.json", ["burst", 'odd " name']) == new


@pytest.mark.parametrize(
    "text", ['lock = { tracks = "a" }\n', 'lock.tracks = "a"\n', '[lock]\ntracks = "a"\n[lock.x]\n']
)
def test_a_lock_that_is_no_table_of_its_own_is_left_alone(tmp_path, text):
    with pytest.raises(ValueError, match="lock"):
        with_lock(text, "b", ["c"])
    file = tmp_path / "choreography.toml"
    file.write_text(text)
    with pytest.raises(ChoreoError) as caught:
        locking._with_lock(file, "b", ("c",))
    (finding,) = caught.value.findings
    assert (finding.code, finding.remedy) == (
        "lock-not-a-table",
        'Write it as [lock], with a line for tracks and a line shots = ["c"].',
    )
