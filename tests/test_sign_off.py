"""Approvals are stale exactly when a section's picture changes; the commands that take, tell and lock them."""

from __future__ import annotations

import copy
import json
import tomllib
from argparse import Namespace

import numpy as np
import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from choreo.cli import main
from choreo.commands.looking import Looker
from choreo.commands.section_contents import reviewed
from choreo.compile import compile_film
from choreo.errors import ChoreoError
from choreo.picture.render.frame import Renderer
from choreo.read.project import read_project
from choreo.read.tracks_json import read_tracks
from choreo.write.tracks_json import tracks_text


def slab(x, y, low, high, hollow=None):
    made = {"outline": [[-x, -y], [x, -y], [x, y], [-x, y]], "z": [low, high]}
    if hollow:
        u, v = hollow
        made["holes"] = [[[-u, -v], [-u, v], [u, v], [u, -v]]]
    return made


def part(name, colour, *slabs):
    return {"id": name, "label": name.title(), "colour": colour, "offset": [0, 0, 0], "slabs": list(slabs)}


ASSEMBLY = {
    "format": "choreo/assembly",
    "version": 1,
    "name": "Boxes (invented)",
    "parts": [
        part("base", "#888888", slab(30, 20, 0, 2), slab(30, 20, 2, 10, (20, 10))),
        part("core", "#cc3333", slab(15, 8, 2, 9)),
        part("lid", "#aa8866", slab(25, 15, 10, 14)),
        part("knob", "#446688", slab(5, 5, 14, 20)),
    ],
    "joints": [
        {"kind": "insert", "part": "core", "into": "base", "axis": [0, 0, 1]},
        {"kind": "insert", "part": "lid", "into": "base", "axis": [0, 0, 1]},
        {"kind": "insert", "part": "knob", "into": "lid", "axis": [0, 0, 1]},
    ],
}
"""The core lies in the base under the lid: on the first frames nothing of it is seen."""
VALUES = {
    "easing": "ease-in-out", "hold": 3, "frames": 8, "stagger": 2, "delay": 0, "gap": 4, "azimuth": 60,
    "back": 9, "back_stagger": 2, "orbit": 0, "cut": 3, "core": "core", "late": "ease-in-out",
}  # fmt: skip
CHOREOGRAPHY = """# My own words stay.
format = "choreo/choreography"
version = 1
frame_rate = "24"
resolution = [128, 72]
[defaults]
easing = "{easing}"
move = 4
gap_px = {gap}
[[shot]]
name = "burst"
view = {{ projection = "orthographic", azimuth = 30, elevation = 20, px_per_mm = 0.6, target = [0, 0, 30] }}
  [[shot.phase]]
  kind = "hold"
  frames = {hold}
  [[shot.phase]]
  kind = "explode"
  frames = {frames}
  stagger = {stagger}
    [shot.phase.part.lid]
    delay = {delay}
    [shot.phase.part.{core}]
    easing = "{late}"
[[shot]]
name = "return"
view = {{ projection = "perspective", azimuth = {azimuth}, elevation = 20 }}
orbit = {{ azimuth = {orbit} }}
  [[shot.phase]]
  kind = "assemble"
  frames = {back}
  stagger = {back_stagger}
[[section]]
name = "opening"
shot = "burst"
to = {cut}
"""


def write(folder, assembly=None, **values):
    folder.mkdir(exist_ok=True)
    (folder / "assembly.json").write_text(json.dumps(assembly or ASSEMBLY))
    (folder / "choreography.toml").write_text(CHOREOGRAPHY.format(**{**VALUES, **values}))
    return folder


def recompiled(folder):
    """All frames of all sections, compiled and drawn from nothing, by their sections' names."""
    project = read_project(folder)
    film = compile_film(project.assembly, project.choreography)
    tracks = read_tracks(tracks_text(film.tracks))
    renderer = Renderer(project.assembly, film.apart.solids, tracks.resolution)
    frames = [renderer.frame(shot, frame).copy() for shot in tracks.shots for frame in range(shot.frames)]
    return {one.name: frames[one.first : one.last + 1] for one in tracks.sections}


def standings_of(folder):
    """How sections stand, and how many frames had to be drawn to tell."""
    looker = Looker(reviewed(Namespace(project=folder, json=True)), quiet=True)
    return looker.compare(), looker.drawn


def with_part(name, **changes):
    assembly = copy.deepcopy(ASSEMBLY)
    next(one for one in assembly["parts"] if one["id"] == name).update(changes)
    return assembly


def reordered():
    return {**ASSEMBLY, "parts": ASSEMBLY["parts"][::-1]}


def renamed_core():
    return json.loads(json.dumps(ASSEMBLY).replace('"core"', '"heart"'))


@pytest.fixture(scope="module")
def signed(tmp_path_factory):
    """A project that is signed off throughout, and its pictures."""
    folder = write(tmp_path_factory.mktemp("before") / "boxes")
    names = [each for name in ("opening", "burst-1", "return") for each in ("--section", name)]
    assert main(["sign-off", str(folder), "--by", "Ada", *names, "--on", "2026-03-01"]) == 0
    return (folder / "sign-off.toml").read_text(), recompiled(folder)


EDITS = {
    "easing": ["min-jerk"],
    "hold": [2, 4],
    "frames": [7, 9],
    "stagger": [1],
    "delay": [1],
    "gap": [3.9, 5],
    "azimuth": [60.5, 45],
    "back": [8, 10],
    "back_stagger": [1],
    "orbit": [5],
    "cut": [2, 4, 5],
    "late": ["linear", "min-jerk"],
    "assembly": [
        with_part("lid", colour="#aa8867"),
        with_part("lid", colour="#aa8c66"),
        with_part("core", colour="#cc3334"),
        with_part("core", colour="#00ff00"),
        with_part("core", slabs=[slab(15, 8, 2, 8.5)]),
        with_part("core", slabs=[slab(14, 8, 2, 9)]),
        with_part("base", slabs=[slab(30, 20, 0, 2), slab(30, 20, 2, 10, (19, 10))]),
        with_part("lid", label="Cover"),
        reordered(),
        renamed_core(),
    ],
}
one_edit = st.sampled_from([(name, value) for name, values in EDITS.items() for value in values])


def edited(folder, edits):
    values = dict(edits)
    if "assembly" in values and '"heart"' in json.dumps(values["assembly"]):
        values["core"] = "heart"
    return write(folder, **values)


def check(signed, folder, edits):
    """Whether approvals are stale exactly where a full recompile draws another picture; return how they stand."""
    ledger, before = signed
    (edited(folder, edits) / "sign-off.toml").write_text(ledger)
    try:
        after = recompiled(folder)
    except ChoreoError:  # these edits together leave too little time
        reject()
    stand, drawn = standings_of(folder)
    for found in stand:
        name = found.section.name
        was, now = before[name], after[name]
        differs = [n for n, (one, other) in enumerate(zip(was, now, strict=False)) if not np.array_equal(one, other)]
        same = len(was) == len(now) and not differs
        assert (found.state == "approved") == same, (edits, name, found)
        if found.state == "stale" and found.seen.looked:
            assert found.seen.first == differs[0], (edits, name)
    return {found.section.name: found.state for found in stand}, drawn


@settings(max_examples=6)
@given(st.lists(one_edit, min_size=1, max_size=3))
def test_an_approval_is_stale_exactly_when_a_full_recompile_draws_another_picture(signed, tmp_path_factory, edits):
    check(signed, tmp_path_factory.mktemp("after") / "boxes", edits)


A, S = "approved", "stale"


@pytest.mark.parametrize(
    ("name", "number", "opening", "rest", "back"),
    [
        ("assembly", 0, A, A, A),  # one code of a colour is too little to be drawn otherwise
        ("assembly", 1, S, S, S),
        ("assembly", 3, A, S, S),  # the colour of a part that is hidden at first
        ("assembly", 4, A, S, S),  # a hidden slab is less deep
        ("assembly", 6, A, S, S),  # a hollow that nobody sees into
        ("assembly", 7, A, A, A),
        ("assembly", 8, A, A, A),
        ("assembly", 9, A, A, A),
        ("back_stagger", 0, A, A, S),
        ("azimuth", 0, A, A, S),
        ("late", 0, A, S, A),
    ],
)
def test_what_is_not_seen_makes_no_approval_stale(signed, tmp_path, name, number, opening, rest, back):
    states, _ = check(signed, tmp_path / "boxes", [(name, EDITS[name][number])])
    assert states == {"opening": opening, "burst-1": rest, "return": back}


def run(capsys, *arguments):
    code = main([str(one) for one in arguments])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    return code, said.out, said.err


@pytest.fixture
def boxes(tmp_path):
    return write(tmp_path / "boxes")


def test_sections_are_approved_go_stale_and_come_back(boxes, capsys):
    assert "opening  never marked" in run(capsys, "status", boxes)[1]
    assert run(capsys, "status", boxes, "--require")[0] == 1
    names = [each for name in ("opening", "burst-1", "return") for each in ("--section", name)]
    code, out, _ = run(capsys, "sign-off", boxes, "--by", "Ada", *names, "--on", "2026-03-01", "--note", "Go.")
    assert (code, "return: approved, Ada, 2026-03-01." in out) == (0, True)
    text = (boxes / "sign-off.toml").read_text()
    assert len(tomllib.loads(text)["mark"]) == 3
    assert run(capsys, "status", boxes, "--require")[0] == 0
    # Said again, it is not written again.
    assert "already" in run(capsys, "sign-off", boxes, "--by", "Ada", *names, "--on", "2026-03-01", "--note", "Go.")[1]
    assert (boxes / "sign-off.toml").read_text() == text

    write(boxes, azimuth=61)
    code, out, _ = run(capsys, "status", boxes, "--require")
    assert code == 1
    assert "burst-1  approved by Ada on 2026-03-01" in out
    assert "stale: approved by Ada on 2026-03-01, changed since: the camera" in out
    assert out.rstrip().endswith("Not all is signed off: return.")
    assert run(capsys, "status", boxes)[0] == 0
    data = json.loads(run(capsys, "status", boxes, "--json")[1])
    assert [one["state"] for one in data["sections"]] == ["approved", "approved", "stale"]
    assert data["sections"][2]["changed"][0] == {"what": "camera"}
    write(boxes)
    assert run(capsys, "status", boxes, "--require")[0] == 0
    run(capsys, "sign-off", boxes, "--by", "Ben", "--section", "opening", "--not-yet", "--on", "2026-03-02")
    assert "opening  not yet, by Ben on 2026-03-02" in run(capsys, "status", boxes)[1]


def directors(boxes, capsys, **changes):
    sections = json.loads(run(capsys, "status", boxes, "--json")[1])["sections"]
    digest = "sha256:" + "0" * 64
    said = {
        "format": "choreo/director", "version": 1, "project": "Boxes (invented)", "name": "Ada",
        "source": {"assembly": digest, "choreography": digest}, "saved": "2026-03-01T10:00:00.000Z",
        "sections": [
            {"name": one["section"], "from": one["from"], "to": one["to"], "content": one["content"],
             "verdict": "approved", "note": ""}
            for one in sections
        ],
    }  # fmt: skip
    path = boxes.parent / "marks.json"
    path.write_text(json.dumps({**said, **changes}))
    return path


def test_a_directors_file_is_taken_where_it_is_about_the_present_picture(boxes, capsys):
    path = directors(boxes, capsys)
    write(boxes, azimuth=61)
    code, out, _ = run(capsys, "sign-off", boxes, "--from", path)
    assert code == 1
    assert "opening: approved, Ada, 2026-03-01." in out
    assert 'error[another-version]\n  Ada looked at another version of section "return"' in out
    status = run(capsys, "status", boxes)[1]
    assert "return   never marked" in status
    assert "2 of 3 sections" in status
    write(boxes)
    code, out, _ = run(capsys, "sign-off", boxes, "--from", path, "--json")
    assert (code, json.loads(out)["known"]) == (0, ["opening", "burst-1"])
    assert run(capsys, "status", boxes, "--require")[0] == 0


def test_words_from_outside_stay_text(boxes, capsys):
    evil = '\x1b[31m"""\n[[mark]]\u202e\ud800'
    path = directors(boxes, capsys, name="Ada\x1b[2J\nok")
    said = json.loads(path.read_text())
    said["sections"][0]["note"] = evil.replace("\ud800", "")
    path.write_text(json.dumps(said))
    out = run(capsys, "sign-off", boxes, "--from", path)[1] + run(capsys, "status", boxes)[1]
    assert all(one.isprintable() for one in out.splitlines())
    assert "Ada\\x1b[2J\\nok" in out
    code, _, err = run(capsys, "sign-off", boxes, "--section", "opening", "--by", "Ben", "--note", evil)
    assert (code, err) == (0, "")
    assert len(tomllib.loads((boxes / "sign-off.toml").read_text())["mark"]) == 4
    assert run(capsys, "status", boxes)[0] == 0


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["--section", "opening"], "no-name"),
        (["--section", "openin", "--by", "Ada"], "unknown-section"),
        (["--lock", "--by", "Ada"], "stray-option"),
        (["--section", "opening", "--by", "A" * 201], "too-long"),
        (["--from", "nowhere.json"], "no-such-file"),
    ],
)
def test_what_makes_no_sense_is_refused(boxes, capsys, arguments, code):
    exit_code, _, err = run(capsys, "sign-off", boxes, *arguments)
    assert (exit_code, f"error[{code}]" in err) == (2, True)
    assert not (boxes / "sign-off.toml").exists()


def test_another_of_our_own_files_is_told_once(boxes, capsys):
    (boxes / "other.json").write_text('{"format": "choreo/report", "version": 1, "shots": [], "removal": []}')
    code, out, _ = run(capsys, "sign-off", boxes, "--from", boxes / "other.json", "--json")
    assert code == 2
    assert [one["code"] for one in json.loads(out)["findings"]] == ["wrong-format"]


def test_a_broken_ledger_is_named_and_left_as_it_is(boxes, capsys):
    (boxes / "sign-off.toml").write_text("<<<<<<< ours\n")
    code, _, err = run(capsys, "sign-off", boxes, "--section", "opening", "--by", "Ada")
    assert (code, "sign-off.toml:1" in err) == (2, True)
    assert (boxes / "sign-off.toml").read_text() == "<<<<<<< ours\n"


def shots_of(folder):
    return json.loads((folder / "out" / "tracks.json").read_text())["shots"]


def test_what_is_signed_off_is_locked_and_compiles_to_the_same_digits(boxes, capsys):
    assert run(capsys, "sign-off", boxes, "--lock")[:2] == (1, LOCKED_NOTHING)
    run(capsys, "compile", boxes)
    was, text = shots_of(boxes), (boxes / "choreography.toml").read_text()
    names = ["--section", "opening", "--section", "burst-1"]
    run(capsys, "sign-off", boxes, "--by", "Ada", *names, "--on", "2026-03-01")
    code, out, _ = run(capsys, "sign-off", boxes, "--lock")
    assert code == 0
    assert 'burst: locked.\nreturn: not locked.\n  section "return": never marked' in out
    locked = (boxes / "choreography.toml").read_text()
    assert locked.startswith(text)
    assert tomllib.loads(locked)["lock"] == {"tracks": "approved.tracks.json", "shots": ["burst"]}
    run(capsys, "compile", boxes)
    assert shots_of(boxes) == was
    assert "2 of 3 sections" in run(capsys, "status", boxes)[1]
    # What is locked stays as it was when the rest is signed off under other defaults, and so do its approvals.
    (boxes / "choreography.toml").write_text(locked.replace("gap_px = 4", "gap_px = 3"))
    run(capsys, "sign-off", boxes, "--by", "Ada", "--section", "return", "--on", "2026-03-02")
    assert run(capsys, "sign-off", boxes, "--lock")[0] == 0
    run(capsys, "compile", boxes)
    assert shots_of(boxes)[0] == was[0]
    assert shots_of(boxes)[1] != was[1]
    lock = tomllib.loads((boxes / "choreography.toml").read_text())["lock"]
    assert lock["shots"] == ["burst", "return"]
    assert run(capsys, "status", boxes, "--require")[0] == 0


LOCKED_NOTHING = """burst: not locked.
  section "opening": never marked
  section "burst-1": never marked
return: not locked.
  section "return": never marked
Nothing was written.
"""


def test_a_file_that_no_lock_names_is_not_written_over(boxes, capsys):
    (boxes / "approved.tracks.json").write_text("mine")
    names = [each for name in ("opening", "burst-1", "return") for each in ("--section", name)]
    run(capsys, "sign-off", boxes, "--by", "Ada", *names)
    code, _, err = run(capsys, "sign-off", boxes, "--lock")
    assert (code, "lock-in-the-way" in err) == (2, True)
    assert (boxes / "approved.tracks.json").read_text() == "mine"


def test_samples_are_made_as_they_are_written(boxes):
    # So that masks, which are made from them, are the same when they come back from a lock.
    project = read_project(boxes)
    made = compile_film(project.assembly, project.choreography).tracks
    read = read_tracks(tracks_text(made))
    for one, other in zip(made.shots, read.shots, strict=True):
        for track, back in zip(one.parts, other.parts, strict=True):
            assert np.array_equal(track.position, back.position)
            assert np.array_equal(track.screen, back.screen)
