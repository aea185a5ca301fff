"""Folders as people send them: glass, dust, gaps, other kinds of files; by hand, with an independent rasteriser."""

from __future__ import annotations

import json

import numpy as np
import pytest
from pictures import coverage, disc, png_bytes, rgba, write_png

from choreo.cli import main
from choreo.motion.sequence_runs import runs_in_words
from choreo.read.matte_outline import matte_level, matte_notes, trace_matte

SIZE = (200, 150)


def new(capsys, folder, *more):
    """The answer of `new`, and the assembly."""
    code = main(["new", str(folder), "--scale", "body=60mm", "--json", *more])
    answer = json.loads(capsys.readouterr().out)
    return answer, json.loads((folder / "assembly.json").read_text()) if code == 0 else None


def codes(answer):
    return [one["code"] for one in answer["warnings"]]


@pytest.fixture
def folder(tmp_path):
    write_png(tmp_path / "1_body.png", rgba(disc(SIZE, (100, 75), 60)))
    return tmp_path


def test_glass_has_the_outline_at_which_it_is_half_as_dense_as_it_gets(folder, capsys):
    # A disc of radius 30 px whose alpha is 0.35, with one glint: a mm is 2 px, so it is 30 mm wide.
    glass = 0.35 * disc(SIZE, (110, 70), 30)
    glass[60:64, 100:105] = 0.9
    write_png(folder / "2_lens.png", rgba(glass))
    answer, assembly = new(capsys, folder)
    assert codes(answer) == ["matte-faint"]
    np.testing.assert_allclose(np.ptp(assembly["parts"][1]["slabs"][0]["outline"], axis=0), 30, atol=0.1)
    assert main(["compile", str(folder)]) == 0


def test_a_soft_small_dot_is_no_glass():
    # The picture of a point, out of focus (a Gaussian): its own edge, at a half, stays.
    x, y = np.meshgrid(np.arange(80), np.arange(80))
    dot = np.exp(-((x - 40) ** 2 + (y - 40) ** 2) / (2 * 8.0**2))
    assert matte_level(dot) == 0.5


def test_faint_insides_are_named_and_soft_edges_are_not(folder, capsys):
    rim = disc(SIZE, (110, 70), 40) - disc(SIZE, (110, 70), 34)
    write_png(folder / "2_lens.png", rgba(np.maximum(rim, 0.3 * disc(SIZE, (110, 70), 40))))
    x = np.arange(SIZE[0])[None, :] * np.ones((SIZE[1], 1))
    write_png(folder / "3_fast.png", rgba(np.clip((x - 60) / 30, 0, 1) * np.clip((150 - x) / 30, 0, 1)))
    answer, _ = new(capsys, folder)
    (found,) = (one for one in answer["warnings"] if one["code"] == "matte-faint")
    assert found["what"].startswith("2_lens.png")


def test_a_crumb_far_away_does_not_make_a_part_wider(folder, capsys):
    # 6 x 6 px in a corner, a thousandth of the body: that is still 240 px wide, and so 4 px a mm.
    alpha = disc((400, 300), (200, 150), 120)
    alpha[3:9, 3:9] = 1
    write_png(folder / "1_body.png", rgba(alpha))
    answer, assembly = new(capsys, folder)
    assert "1 specks (the largest 3" in answer["warnings"][0]["what"]
    assert answer["px_per_mm"] == pytest.approx(4, rel=2e-3)
    assert len(assembly["parts"][0]["slabs"]) == 1


def test_a_width_over_several_pieces_is_said(folder, capsys):
    # The body is 120 px wide; with 20 px more, ten px beside it, 150: 2.5 px a mm.
    write_png(folder / "1_body.png", rgba(np.maximum(disc(SIZE, (100, 75), 60), disc(SIZE, (180, 75), 10))))
    answer, _ = new(capsys, folder)
    assert answer["px_per_mm"] == pytest.approx(2.5, rel=2e-3)
    (found,) = answer["warnings"]
    assert found["code"] == "scale-over-pieces"
    assert "all 2 pieces of this matte, 150 px; the largest of them is 120 px wide" in found["what"]


def test_more_pieces_than_a_part_may_have_are_refused_before_anything_is_written(folder, capsys):
    alpha = np.zeros((150, 200))
    for row in range(0, 140, 8):
        for column in range(0, 190, 8):
            alpha[row : row + 5, column : column + 5] = 1
    write_png(folder / "1_body.png", rgba(alpha))
    assert main(["new", str(folder), "--scale", "body=60mm"]) == 2
    assert "[too-ragged] 1_body.png" in capsys.readouterr().err
    assert not (folder / "assembly.json").exists()


def test_an_edge_of_too_many_corners_is_simplified_more(monkeypatch):
    monkeypatch.setattr("choreo.read.matte_outline.MOST_CORNERS", 200)
    # A disc whose edge is all grain: within half a px of it takes 299 corners, within one px 168.
    y, x = np.mgrid[0:150, 0:200]
    grain = np.random.default_rng(1).normal(0, 1.2, (150, 200))
    found = trace_matte(np.clip(60.5 - np.hypot(x - 100, y - 75) + grain, 0, 1), 0.5)
    assert found.simplify_px == 1
    (outline,) = found.polygons
    assert outline.area == pytest.approx(np.pi * 60**2, rel=0.01)
    assert [one.code for one in matte_notes(found, "a.png", "a")][-1] == "outline-coarse"


def test_notes_of_an_operating_system_are_no_plates_and_other_kinds_are_named(folder, capsys):
    (folder / "._1_body.png").write_bytes(b"\0\5\x16\7" * 20)  # RFC 1740: magic number of AppleDouble
    (folder / "2_lens.jpg").write_bytes(b"\xff\xd8\xff")
    answer, assembly = new(capsys, folder)
    assert [part["id"] for part in assembly["parts"]] == ["body"]
    assert [(one["code"], "2_lens.jpg" in one["what"]) for one in answer["warnings"]] == [("not-a-plate", True)]


def test_one_name_twice_is_said(folder, capsys):
    write_png(folder / "2_body.png", rgba(disc(SIZE, (100, 75), 50)))
    answer, _ = new(capsys, folder)
    assert answer["parts"] == ["body", "body_2"]
    assert codes(answer) == ["name-taken"]


def test_gaps_of_a_sequence_are_named_by_new_and_by_check(folder, capsys):
    for number in (1, 2, 4, 7, 8):
        write_png(folder / f"5_knob.{number:03d}.png", rgba(disc(SIZE, (150, 100), 8)))
    answer, _ = new(capsys, folder)
    assert [one["what"] for one in answer["warnings"]] == [
        "5_knob.###.png: of the numbers 1 to 8, 3, 5 to 6 are not there."
    ]
    assert main(["check", str(folder), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["warnings"]
    (gap,) = (one for one in found if one["code"] == "missing-plate")
    assert gap["what"] == "Of the sequence 5_knob.###.png, 1 to 8, 3, 5 to 6 are not there."
    assert main(["compile", str(folder), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)["findings"]
    assert {one["code"] for one in found} == {"photograph-missing"}
    assert all("frame 2: photograph 3; frames 4 to 5: photographs 5 to 6." in one["what"] for one in found)


def test_runs_by_hand():
    assert runs_in_words([3]) == "3"
    assert runs_in_words([1, 2, 3, 7, 9, 10]) == "1 to 3, 7, 9 to 10"
    assert runs_in_words([1, 3, 5, 7, 9, 11]) == "1, 3, 5, 7, 9 and more, 6 in all,"


def test_a_sound_folder_is_silent_and_states_its_tolerance(folder, capsys):
    ring = coverage(SIZE, [[(20, 20), (60, 20), (60, 60), (20, 60)]])
    (folder / "2_bar.png").write_bytes(png_bytes(rgba(ring)))
    assert main(["new", str(folder), "--scale", "body=60mm"]) == 0
    said = capsys.readouterr()
    assert "warning[" not in said.out + said.err
    assert "within 0.5 px" in said.out
