"""Approvals are stale exactly when a section's picture changes; the commands that take, tell and lock them."""

from __future__ import annotations

import copy
import json
import tomllib

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from choreo.cli import main
from choreo.commands.section_contents import sections_now
from choreo.compile import compile_film
from choreo.model.sign_off import APPROVED
from choreo.picture.render.frame import Renderer
from choreo.read.project import read_project
from choreo.read.tracks_json import read_tracks
from choreo.review.signing import mark_of
from choreo.review.standing import standings
from choreo.write.tracks_json import tracks_text


def slab(x, y, low, high):
    return {"outline": [[-x, -y], [x, -y], [x, y], [-x, y]], "z": [low, high]}


def part(name, colour, *slabs):
    return {"id": name, "label": name.title(), "colour": colour, "offset": [0, 0, 0], "slabs": list(slabs)}


ASSEMBLY = {
    "format": "choreo/assembly",
    "version": 1,
    "name": "Boxes (invented)",
    "parts": [
        part("base", "#888888", slab(30, 20, 0, 10)),
        part("lid", "#aa8866", slab(25, 15, 10, 14)),
        part("knob", "#446688", slab(5, 5, 14, 20)),
    ],
    "joints": [
        {"kind": "insert", "part": "lid", "into": "base", "axis": [0, 0, 1]},
        {"kind": "insert", "part": "knob", "into": "lid", "axis": [0, 0, 1]},
    ],
}
VALUES = {
    "easing": "ease-in-out", "hold": 2, "frames": 8, "stagger": 2, "delay": 0, "gap": 4, "azimuth": 60,
    "back": 7, "back_stagger": 2, "orbit": 0, "cut": 5,
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
view = {{ projection = "orthographic", azimuth = 30, elevation = 20 }}
  [[shot.phase]]
  kind = "hold"
  frames = {hold}
  [[shot.phase]]
  kind = "explode"
  frames = {frames}
  stagger = {stagger}
    [shot.phase.part.lid]
    delay = {delay}
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


def state_of(folder):
    """A full recompile: the sections as they are, and what draws their frames."""
    project = read_project(folder)
    film = compile_film(project.assembly, project.choreography)
    tracks = read_tracks(tracks_text(film.tracks))
    renderer = Renderer(project.assembly, film.apart.solids, tracks.resolution, size="quarter")
    frames = [(shot, frame) for shot in tracks.shots for frame in range(shot.frames)]
    sections = sections_now(project, film.apart.solids, tracks)

    def draw(section):
        return (renderer.frame(*frames[at], bits=32) for at in range(section.first, section.last + 1))

    return sections, draw


def coloured(name, colour):
    assembly = copy.deepcopy(ASSEMBLY)
    next(one for one in assembly["parts"] if one["id"] == name)["colour"] = colour
    return assembly


def relabelled():
    assembly = copy.deepcopy(ASSEMBLY)
    assembly["parts"][1]["label"] = "Cover"
    return assembly


@pytest.fixture(scope="module")
def before(tmp_path_factory):
    sections, draw = state_of(write(tmp_path_factory.mktemp("before") / "boxes"))
    return sections, {section.name: list(draw(section)) for section in sections}


CHOICES = {
    "easing": ["linear", "min-jerk"],
    "hold": [1, 3],
    "frames": [7, 9],
    "stagger": [1],
    "delay": [1],
    "gap": [3.9, 5],
    "azimuth": [60.5, 45],
    "back": [8, 9],
    "back_stagger": [1],
    "orbit": [5],
    "cut": [4, 6],
    # Not one code of colour: the palette rounds, and some would be drawn alike.
    "assembly": [coloured("lid", "#aa8c66"), coloured("knob", "#000000"), relabelled()],
}
one_edit = st.sampled_from([(name, value) for name, values in CHOICES.items() for value in values])


@settings(max_examples=7)
@example([("assembly", CHOICES["assembly"][1])])
@example([("assembly", CHOICES["assembly"][2]), ("hold", 3)])
@given(st.lists(one_edit, min_size=1, max_size=2))
def test_an_approval_is_stale_exactly_when_the_rendered_content_differs(before, tmp_path_factory, edits):
    was, drawn = before
    ledger = [mark_of(section, APPROVED, "Ada", "2026-03-01", "") for section in was]
    now, draw = state_of(write(tmp_path_factory.mktemp("after") / "boxes", **dict(edits)))
    for found in standings(now, ledger):
        name, frames = found.section.name, found.section.frames
        same = len(drawn[name]) == frames and all(map(np.array_equal, drawn[name], draw(found.section)))
        assert (found.state == "approved") == same, (edits, name, found.changed)
        assert bool(found.changed) == (not same)


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
    write(boxes, back_stagger=1)
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
