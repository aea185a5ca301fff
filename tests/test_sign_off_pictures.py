"""What the ledger notes of pictures, who draws them and when, and what comes of a run that is stopped."""

from __future__ import annotations

import hashlib
import json
import os
import re
import signal
import subprocess
import sys
import tomllib
from argparse import Namespace

import numpy as np
import pytest
from PIL import Image
from test_sign_off import run, with_part, write

from choreo.cli import main
from choreo.commands.looking import Looker
from choreo.commands.section_contents import reviewed
from choreo.frames import film, keys, looking
from choreo.frames.known_pictures import read_known, write_known
from choreo.frames.looking import look
from choreo.frames.scene import scene_of
from choreo.model.sign_off import from_runs
from choreo.read.project import read_project

ALL = [each for name in ("opening", "burst-1", "return") for each in ("--section", name)]


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    folder = write(tmp_path_factory.mktemp("signed") / "boxes")
    assert main(["sign-off", str(folder), "--by", "Ada", *ALL, "--on", "2026-03-01"]) == 0
    return (folder / "sign-off.toml").read_text()


@pytest.fixture
def boxes(tmp_path, ledger):
    folder = write(tmp_path / "boxes")
    (folder / "sign-off.toml").write_text(ledger)
    return folder


def looker(folder):
    return Looker(reviewed(Namespace(project=folder, json=True)), quiet=True)


def test_the_ledger_notes_what_a_still_shows(boxes, tmp_path, capsys):
    # Pillow reads the stills, hashlib digests their pixels: a frame of each section.
    marks = {mark["section"]: mark for mark in tomllib.loads((boxes / "sign-off.toml").read_text())["mark"]}
    for name, first, frame in (("opening", 0, 3), ("burst-1", 4, 6), ("return", 11, 15)):
        assert run(capsys, "still", boxes, "--frame", frame, "--out", tmp_path)[0] == 0
        pixels = np.asarray(Image.open(tmp_path / f"frame.{frame:04d}.png").convert("RGBA"))
        noted = from_runs(marks[name]["frame_pictures"])[frame - first]
        assert noted == hashlib.sha256(pixels.tobytes()).hexdigest()[:12]
    # Nothing moves on the first three frames, so one digest stands for them.
    assert marks["opening"]["frame_pictures"].count("*") == 1
    assert sorted(path.name for path in boxes.iterdir()) == ["assembly.json", "choreography.toml", "sign-off.toml"]


def test_nothing_is_drawn_while_all_is_made_of_the_same(boxes, monkeypatch, capsys):
    monkeypatch.setattr(looking, "drawn", None)
    assert run(capsys, "status", boxes, "--require")[0] == 0
    # What the ledger knows under the same code is not drawn again by a second approval either.
    assert run(capsys, "sign-off", boxes, "--by", "Ben", *ALL, "--on", "2026-03-02")[0] == 0
    marks = tomllib.loads((boxes / "sign-off.toml").read_text())["mark"]
    assert [mark["frame_pictures"] for mark in marks[:3]] == [mark["frame_pictures"] for mark in marks[3:]]


def test_what_was_looked_at_is_remembered_in_the_build_folder(boxes, monkeypatch, capsys):
    assert run(capsys, "compile", boxes)[0] == 0
    write(boxes, with_part("core", colour="#00ff00"))
    assert run(capsys, "compile", boxes)[0] == 0
    first, drawn = (one := looker(boxes)).compare(), one.drawn
    assert drawn > 0
    again = looker(boxes)
    assert (again.compare(), again.drawn) == (first, 0)
    # It is a memory: whatever else stands in its place is not believed.
    file = boxes / "out" / "pictures.json"
    known = json.loads(file.read_text())
    for text in ("", "[]", '{"format": 1}', json.dumps({**known, "drawn_with": "0" * 12}), "[" * 100_000, "\xff"):
        file.write_text(text, encoding="latin-1")
        assert read_known(boxes / "out", keys.drawing_version()) == {}
    write_known(boxes / "nowhere", "0" * 12, {"a" * 12: "b" * 12})
    assert not (boxes / "nowhere").exists()


def test_other_code_draws_all_once_more_and_is_named(boxes, monkeypatch, capsys):
    text = (boxes / "sign-off.toml").read_text()
    (boxes / "sign-off.toml").write_text(re.sub('drawn_with = "[0-9a-f]{12}"', f'drawn_with = "{"0" * 12}"', text))
    out = run(capsys, "status", boxes, "--require")
    assert out[0] == 0
    assert "approved by Ada on 2026-03-01; changed since: how choreo draws; every frame looks the same" in out[1]
    # A frame that this code draws otherwise: the ledger has another digest of the first one of the last section.
    shown = tomllib.loads(text)["mark"][2]["frame_pictures"]
    changed = text.replace(shown, "0" * 12 + shown[12:]).replace('drawn_with = "', 'drawn_with = "000000000000" # "')
    (boxes / "sign-off.toml").write_text(changed)
    code, out, _ = run(capsys, "status", boxes, "--require")
    assert code == 1
    assert "changed since: how choreo draws; first seen at 00:00:00:11, frame 11" in out
    assert run(capsys, "status", boxes, "--require", "--quick")[0] == 0


def test_in_a_hurry_what_it_is_made_of_decides(boxes, monkeypatch, capsys):
    monkeypatch.setattr(looking, "drawn", None)
    write(boxes, with_part("core", colour="#00ff00"))
    code, out, _ = run(capsys, "status", boxes, "--quick", "--require")
    assert code == 1
    assert "opening  perhaps stale: approved by Ada on 2026-03-01, changed since: the look of core; whether" in out
    (boxes / "sign-off.toml").unlink()
    assert run(capsys, "sign-off", boxes, "--by", "Ben", *ALL, "--quick", "--on", "2026-03-02")[0] == 0
    mark = tomllib.loads((boxes / "sign-off.toml").read_text())["mark"][0]
    assert ("frame_contents" in mark, "frame_pictures" in mark, "drawn_with" in mark) == (True, False, False)
    assert run(capsys, "status", boxes, "--require")[0] == 0
    write(boxes, with_part("core", colour="#00ff01"))
    out = run(capsys, "status", boxes)[1]
    assert "stale: approved by Ben on 2026-03-02, changed since: the look of core; no pictures of it were noted" in out


def test_an_entry_of_before_there_were_frames_is_read(boxes, capsys):
    text = (boxes / "sign-off.toml").read_text()
    old = re.sub(r"(frame_contents|frame_pictures|drawn_with) = .*\n", "", text)
    old = old.replace("time =", "screen =")
    (boxes / "sign-off.toml").write_text(re.sub('content = "sha256:....', 'content = "sha256:0000', old))
    out = run(capsys, "status", boxes)[1]
    assert "changed since: what it is made of (the ledger does not say what of it)" in out
    assert "0 of 3 sections approved" in out


def test_all_frames_that_look_otherwise_are_counted_when_asked_for(boxes, capsys):
    write(boxes, with_part("lid", colour="#aa8c66"))
    some, every = (json.loads(run(capsys, "status", boxes, "--json", *more)[1]) for more in ((), ("--count",)))
    assert [one["first_frame"] for one in some["sections"]] == [one["first_frame"] for one in every["sections"]]
    assert [one["differing_frames"] for one in every["sections"]] == [4, 7, 9]


def test_a_lock_is_kept_without_another_compile(boxes, monkeypatch, capsys):
    assert run(capsys, "sign-off", boxes, "--lock")[0] == 0
    assert "compiled for this run" in run(capsys, "status", boxes)[1]
    assert run(capsys, "compile", boxes)[0] == 0
    monkeypatch.setattr(film, "_compiled_now", None)
    assert "still up to date" in run(capsys, "status", boxes, "--require")[1]
    # The approved tracks are one of the files that count.
    approved = boxes / "approved.tracks.json"
    before = read_project(boxes).choreography_digest
    approved.write_text(approved.read_text() + "\n")
    assert read_project(boxes).choreography_digest != before
    monkeypatch.undo()
    assert "compiled for this run" in run(capsys, "status", boxes)[1]


def test_frames_are_told_in_any_order_and_asked_for_in_theirs(boxes, monkeypatch):
    scene = scene_of(film.film_of(read_project(boxes), lambda *_: None))
    frames = [("burst", frame) for frame in range(11)] + [("return", frame) for frame in range(9)]
    monkeypatch.setattr(looking, "_WORTH_S", 0.0)
    alone, many, asked, left = {}, {}, [], []
    look(scene, frames, lambda *_: False, alone.__setitem__, processes=1)
    look(scene, frames, lambda *one: bool(asked.append(one)), many.__setitem__, lambda *one: left.append(one), 2)
    assert alone == many
    assert asked == sorted(many.items())
    # The first frame tells nothing of the time that others take, nor does the first one of other processes.
    assert [done for done, *_ in left] == [2, *range(4, 21), 20]
    some = {}
    look(scene, frames, lambda number, _: number == 6, some.__setitem__, processes=1)
    assert some == {number: alone[number] for number in range(7)}


SLOW = """
import sys, time
from choreo.frames import drawing, looking
draw = looking.drawn
def slowly(scene, how, job):
    print(job.frame, flush=True)
    time.sleep(0.2)
    return draw(scene, how, job)
looking.drawn = slowly
looking._WORTH_S = 1e9
from choreo.cli import main
sys.exit(main(sys.argv[1:]))
"""


def test_a_run_that_is_stopped_leaves_the_ledger_as_it_was_and_goes_on(boxes, capsys):
    (boxes / "sign-off.toml").unlink()
    assert run(capsys, "compile", boxes)[0] == 0
    order = [sys.executable, "-c", SLOW, "sign-off", str(boxes), "--by", "Ada", *ALL]
    process = subprocess.Popen(order, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ}, text=True)
    for _ in range(4):
        process.stdout.readline()
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert (process.returncode, "nothing was written" in said) == (130, True)
    assert not (boxes / "sign-off.toml").exists()
    known = read_known(boxes / "out", keys.drawing_version())
    made = {
        made for section in reviewed(Namespace(project=boxes, json=True)).sections for made in section.frame_contents
    }
    assert 3 <= len(known) < len(made)
    assert run(capsys, "sign-off", boxes, "--by", "Ada", *ALL)[0] == 0
    assert run(capsys, "status", boxes, "--require")[0] == 0
