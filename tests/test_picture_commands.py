"""The commands that make pictures, as they are typed: what they write, what they say, what they leave alone."""

from __future__ import annotations

import json
import sys

import cv2
import numpy as np
import pytest
from photographed_project import write_project
from PIL import Image

from choreo.cli import main


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    handoff = "handoff_px = 2"
    return write_project(tmp_path_factory.mktemp("project"), handoff=handoff, resolution=(320, 200), px_per_mm=5)


def said(capsys, *arguments):
    code = main([*map(str, arguments), "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_a_still_is_a_frame_of_the_film(project, tmp_path, capsys):
    code, found = said(capsys, "still", project, "--frame", 3, "--out", tmp_path)
    assert code == 0
    assert found["files"] == [str(tmp_path / "frame.0003.png")]
    alone = Image.open(tmp_path / "frame.0003.png")
    assert (alone.mode, alone.size) == ("RGBA", (320, 200))
    said(capsys, "still", project, "--frame", "00:00:00:03", "--out", tmp_path / "two", "--background", "#336699")
    over = np.asarray(Image.open(tmp_path / "two" / "frame.0003.png"))
    alpha = np.asarray(alone)[..., 3]
    assert np.abs(over[alpha == 0].astype(int) - (0x33, 0x66, 0x99)).max() <= 2  # alpha below half a code is left
    assert (np.abs(over[alpha == 255].astype(int) - np.asarray(alone)[alpha == 255][:, :3]) <= 1).all()
    said(capsys, "still", project, "--frame", 3, "--out", tmp_path / "half", "--size", "half", "--deep")
    deep = cv2.imread(str(tmp_path / "half" / "frame.0003.png"), cv2.IMREAD_UNCHANGED)
    assert (deep.dtype, deep.shape) == (np.uint16, (100, 160, 4))


@pytest.mark.parametrize("asked", ["3-5", "20", "x", "00:00:00:99"])
def test_a_still_of_no_frame_is_refused(project, asked, capsys):
    code, found = said(capsys, "still", project, "--frame", asked)
    assert code == 2
    assert len(found["findings"]) == 1


def test_a_still_that_cannot_be_as_asked_is_refused(project, capsys):
    assert main(["still", str(project), "--frame", "3", "--deep", "--background", "#ffffff"]) == 2
    assert "not allowed with" in capsys.readouterr().err


def test_an_animatic_shows_the_frames_and_is_made_once(project, tmp_path, capsys):
    code, found = said(capsys, "animatic", project, "--out", tmp_path, "--shutter", 0)
    assert code == 0
    assert found["written"] == [str(tmp_path / "film.mp4"), str(tmp_path / "film.webm")]
    assert found["frames_drawn"] == 20
    for name in found["written"]:
        capture = cv2.VideoCapture(name)
        for number in range(20):
            more, picture = capture.read()
            assert more
            frame = np.asarray(Image.open(tmp_path / "frames" / "full" / f"frame.{number:04d}.png")).astype(int)
            assert np.abs(picture[..., ::-1] - frame).mean() < 3
            assert (picture[2, 2, ::-1] == frame[2, 2]).all(), "the background is one that codes of a movie can hold"
        assert not capture.read()[0]

    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    code, found = said(capsys, "animatic", project, "--out", tmp_path, "--shutter", 0)
    assert (code, found["written"], found["frames_drawn"]) == (0, [], 0)
    code, found = said(capsys, "animatic", project, "--out", tmp_path, "--shutter", 0, "--burn-in", "--format", "mp4")
    assert (found["written"], found["frames_drawn"]) == ([str(tmp_path / "film.mp4")], 0)
    changed = [path for path, content in before.items() if path.read_bytes() != content]
    assert sorted(path.name for path in changed) == ["film.mp4", "frames.index.json"]


def test_a_range_is_called_after_what_it_shows(project, tmp_path, capsys):
    options = ("--out", tmp_path, "--size", "quarter", "--format", "webm")
    _, found = said(capsys, "animatic", project, "--frames", "4-7", *options)
    assert found["written"] == [str(tmp_path / "frames-4-7-quarter.webm")]
    assert sorted(p.name for p in (tmp_path / "frames" / "quarter").glob("*.png")) == [
        f"frame.{number:04d}.png" for number in range(4, 8)
    ]
    _, found = said(capsys, "animatic", project, "--shot", "return", *options)
    assert found["written"] == [str(tmp_path / "return-quarter.webm")]
    assert found["frames_kept"] == 4


def test_plates_that_are_not_there_are_solids_and_a_warning(project, tmp_path, capsys):
    import shutil

    folder = tmp_path / "project"
    shutil.copytree(project, folder)
    (folder / "plates" / "cap.png").unlink()
    code, found = said(capsys, "still", folder, "--frame", 0)
    assert code == 0
    assert [warning["code"] for warning in found["warnings"]] == ["missing-plate"]
    (folder / "plates" / "cap.png").write_bytes(b"no picture")
    code, found = said(capsys, "still", folder, "--frame", 0)
    assert code == 2
    assert found["findings"][0]["code"] == "not-an-image"
    assert "cap.png" in found["findings"][0]["file"]


def test_without_an_encoder_nothing_is_drawn(project, tmp_path, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "av", None)
    code, found = said(capsys, "animatic", project, "--out", tmp_path)
    assert code == 2
    assert found["findings"][0]["code"] == "movies-need-av"
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "option", [("--shutter", "361"), ("--shutter", "nan"), ("--background", "red"), ("--size", "x")]
)
def test_options_that_make_no_sense_are_refused(project, option):
    assert main(["animatic", str(project), *option]) == 2
