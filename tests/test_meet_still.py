"""Plates settle into the hero still: by hand, and on pictures drawn by an independent rasteriser."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
from photographed import HERO, OFFSETS, SHAPES, TRUE, WRONG, hero_still, plate_place
from photographed_project import rgba8, write_project
from pictures import write_png
from test_architecture import ROOT

from choreo.cli import main
from choreo.geometry.registration.similarity import apply, inverse, origin_px
from choreo.model.assembly import Assembly, Part, Slab
from choreo.model.report import PartReport, Report, ShotReport, StillOver
from choreo.picture.page.numbers import numbers_of
from choreo.picture.render.coverage import Window
from choreo.picture.render.tile import Tile
from choreo.picture.render.veil import Veil
from choreo.read.tracks_json import read_tracks
from choreo.review.compare import compare
from choreo.review.compare_words import comparison_words
from choreo.write.report_json import report_words
from choreo.write.tracks_json import tracks_text

SETTLE = "settle_into_register = true"


def compiled(folder, capsys, *more):
    assert main(["compile", str(folder), *more, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    tracks = read_tracks((folder / "out" / "tracks.json").read_text())
    report = json.loads((folder / "out" / "report.json").read_text())
    return tracks, report, [finding["code"] for finding in said["warnings"]]


@pytest.fixture(scope="module")
def settled_project(tmp_path_factory):
    return write_project(tmp_path_factory.mktemp("settle") / "p", WRONG, SETTLE, px_per_mm=5)


def placed(track, part, points, frame):
    """Where a compositor puts points of the plate, by the words of the schema, px of the frame; worked out here."""
    scale, pivot = WRONG.get(part, (TRUE[part].px_per_mm, TRUE[part].pivot_px))
    x, y, growth, turn = track.register[frame]
    angle = np.radians(turn)
    matrix = track.scale[frame] * growth / scale * np.array(
        [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
    )  # fmt: skip
    return (points - pivot) @ matrix.T + track.screen[frame] + (x, y)


@pytest.fixture(scope="module")
def askew_project(tmp_path_factory):
    """The same; the still was shot askew, and its numbers say so."""
    folder = write_project(tmp_path_factory.mktemp("askew") / "p", WRONG, SETTLE, px_per_mm=5)
    write_png(folder / "plates" / "hero.png", rgba8(hero_still(turn=-12.0)))
    whole = json.loads((folder / "assembly.json").read_text())
    whole["hero"]["turn"] = -12.0
    (folder / "assembly.json").write_text(json.dumps(whole))
    return folder


@pytest.mark.parametrize("project", ["settled_project", "askew_project"])
def test_on_the_last_frames_the_outlines_are_the_still_s(project, request, capsys):
    tracks, report, codes = compiled(request.getfixturevalue(project), capsys)
    (shot,) = tracks.shots
    assert "handoff-residual" not in codes
    for track in shot.parts:
        part = track.id
        on_plate = apply(inverse(plate_place(part)), SHAPES[part] + np.array(origin_px(OFFSETS[part], HERO)))
        for frame in np.flatnonzero(shot.hero_opacity > 0):
            # The still lies with its pivot at the product's origin, at the frame's scale: half of its own here.
            origin = (shot.cameras[frame] @ [0, 0, 0, 1])[:2]
            still = origin + (SHAPES[part] + np.array(origin_px(OFFSETS[part], HERO)) - HERO.pivot_px) / 2
            off = np.hypot(*(placed(track, part, on_plate, frame) - still).T).max()
            assert off < 0.1, part
    by = {part["id"]: part["register_px"] for part in report["shots"][0]["parts"]}
    assert by["dial"] == pytest.approx(np.hypot(2.0, 0.8), abs=0.15)


def along(route, legs, place):
    """Length of a polyline up to a place on it."""
    before = 0.0
    for start, leg, length in zip(route, np.diff(route, axis=0), legs, strict=True):
        at = float((place - start) @ leg) / length
        if np.linalg.norm(start + leg / length * at - place) < 1e-6 and -1e-9 <= at <= length + 1e-9:
            return before + at
        before += length
    raise AssertionError


def test_it_comes_in_with_the_move_and_not_at_rest(settled_project, capsys):
    (shot,) = compiled(settled_project, capsys)[0].shots
    for track in shot.parts:
        if track.id == "shell":
            continue
        size = np.hypot(*track.register[:, :2].T)
        assert size[0] == 0
        assert (np.diff(size) >= -1e-9).all()
        assert size[-6:] == pytest.approx(size[-1])
        # Half way of the part, along its route, is half of the correction.
        legs = np.linalg.norm(np.diff(track.route, axis=0), axis=1)
        steps = np.array([along(track.route, legs, place) for place in track.position]) / legs.sum()
        assert size / size[-1] == pytest.approx(1 - steps, abs=1e-6)
        assert ((steps > 0.2) & (steps < 0.8)).any()


def test_written_read_and_held_against_each_other(settled_project, capsys):
    tracks, _, _ = compiled(settled_project, capsys)
    text = tracks_text(tracks)
    schema = json.loads((ROOT / "schemas" / "tracks.schema.json").read_text())
    jsonschema.Draft202012Validator(schema).validate(json.loads(text))
    assert tracks_text(read_tracks(text)) == text
    (shot,) = tracks.shots
    dial = shot.parts[2]
    other = replace(dial, register=dial.register + np.array([0.5, 0, 0, 0]))
    new = replace(tracks, shots=(replace(shot, parts=(*shot.parts[:2], other)),))
    (difference,) = compare(tracks, new).shots[0].parts
    assert (difference.part, difference.register_px) == ("dial", pytest.approx(0.5))
    assert any("0.5 px in how its plate meets the still" in line for line in comparison_words(compare(tracks, new)))


def test_without_it_the_residual_is_a_warning(tmp_path, capsys):
    project = write_project(tmp_path / "p", WRONG)
    tracks, report, codes = compiled(project, capsys)
    assert codes.count("handoff-residual") == 1
    (finding,) = [one for one in report["warnings"] if one["code"] == "handoff-residual"]
    assert '"cap" by 2' in finding["what"]
    assert '"dial" by 2' in finding["what"]
    assert "shell" not in finding["what"]
    assert all(track.register is None for track in tracks.shots[0].parts)


def test_true_numbers_are_no_warning_and_say_when_each_is_in_place(tmp_path, capsys):
    project = write_project(tmp_path / "p")
    tracks, report, codes = compiled(project, capsys)
    assert "handoff-residual" not in codes
    (shot,) = tracks.shots
    frames = {part["id"]: part["settled_frame"] for part in report["shots"][0]["parts"]}
    assert frames["shell"] == 0
    # By hand: 10 px a mm, so within 0.5 px is within 0.05 mm across, whatever is left in depth.
    for track in shot.parts[1:]:
        across = 10 * np.hypot(*track.position[:, :2].T)
        assert frames[track.id] == np.flatnonzero(across > 0.5)[-1] + 1
    assert len({frames["cap"], frames["dial"]}) == 2


def test_parts_are_taken_over_as_they_come_home(settled_project, capsys):
    tracks, report, _ = compiled(settled_project, capsys)
    (shot,), (said,) = tracks.shots, report["shots"]
    assert said["still"]["from"] == 16
    first = {part["id"]: part["still"]["from"] for part in said["parts"]}
    # The shell stands still, and both others lie on it: it goes with the later one.
    assert first["dial"] < first["cap"] == first["shell"] < said["still"]["from"]
    for part, row in shot.hero_parts.items():
        assert row.nonzero()[0].tolist() == list(range(first[part], 20))
        assert row[first[part] :][:4].tolist() == [0.25, 0.5, 0.75, 1]
        # Outlines are where they will be, correction and all, to the 0.5 px that are allowed.
        track = next(one for one in shot.parts if one.id == part)
        on_plate = apply(inverse(plate_place(part)), SHAPES[part] + np.array(origin_px(OFFSETS[part], HERO)))
        end = placed(track, part, on_plate, 19)
        off = [np.hypot(*(placed(track, part, on_plate, frame) - end).T).max() for frame in range(first[part], 20)]
        assert max(off) <= 0.5 + 0.01
        assert max(off) <= next(one["still"]["off_px"] for one in said["parts"] if one["id"] == part) + 0.01


def test_it_is_said_in_words(settled_project, capsys):
    assert main(["compile", str(settled_project)]) == 0
    said = capsys.readouterr().out
    assert "  Every part is within 0" in said
    # The cap is home two frames after the dial; all of the picture waits for the last four of 20 frames.
    assert "  The still takes over dial from frame 7, shell and cap from frame 9; everything from frame 16." in said


def test_how_long_the_still_stays_is_said_in_words():
    over = {"lid": StillOver(None, 9, 0.0), "pin": StillOver(None, 12, 0.25), "tin": StillOver(None, 3, 0.0)}
    parts = tuple(
        PartReport(part, None, None, None, 0.0, (), 0.0, None, None, (), still=still) for part, still in over.items()
    )
    shot = ShotReport("out", 40, None, 10.0, None, 0, 0, None, parts, still=StillOver(None, 3, 0.25))
    report = Report("Tin (invented)", "tin", ("pin", "lid"), (shot,))
    said = report_words(report)
    assert "  The still stays over everything to frame 3; over lid to frame 9, pin to frame 12." in said
    assert "  Every part is within 0.25 px of home while the hero still lies over it." in said
    slab = (Slab(((0, 0), (1, 0), (1, 1)), (), (0.0, 1.0)),)
    assembly = Assembly("Tin (invented)", 0.05, tuple(Part(p, p.title(), "#aabbcc", (0, 0, 0), slab) for p in over))
    page = numbers_of(assembly, report, (24, 1))
    assert "The still stays over Lid until frame 9." in page
    assert "The still stays over Pin until frame 12." in page


def test_left_to_the_whole_tracks_know_nothing_of_single_parts(tmp_path, capsys):
    by_part = write_project(tmp_path / "p")
    whole = write_project(tmp_path / "q", handoff="each_part = false")
    texts = []
    for project in (by_part, whole):
        assert main(["compile", str(project)]) == 0
        texts.append((project / "out" / "tracks.json").read_text())
    one, two = (json.loads(text) for text in texts)
    assert one["shots"][0]["hero"].pop("parts")
    assert "parts" not in two["shots"][0]["hero"]
    assert one["shots"] == two["shots"]
    assert "takes over" not in capsys.readouterr().out.split("tracks.json")[1]


def test_without_plates_nothing_is_moved(tmp_path, capsys):
    project = write_project(tmp_path / "p", handoff=SETTLE)
    for file in (project / "plates").glob("*.png"):
        file.unlink()
    tracks, report, _ = compiled(project, capsys)
    for track in tracks.shots[0].parts:
        assert (track.register == [0, 0, 1, 0]).all()
    assert all(part["register_px"] is None for part in report["shots"][0]["parts"])


def test_from_another_view_nothing_is_moved(tmp_path, capsys):
    project = write_project(tmp_path / "p", WRONG, SETTLE, azimuth=1)
    tracks, _, codes = compiled(project, capsys)
    assert "register-view-differs" in codes
    assert "handoff-residual" in codes
    assert all(track.register is None for track in tracks.shots[0].parts)


def test_a_picture_moved_beyond_the_clearance_is_said(tmp_path, capsys):
    # The dial is 2.15 px off, 0.215 mm at 10 px a mm: less than half of 0.5 mm, and more than half of 0.4 mm.
    project = write_project(tmp_path / "p", {"dial": WRONG["dial"]}, SETTLE)
    assert "register-beyond-clearance" not in compiled(project, capsys)[2]
    text = (project / "choreography.toml").read_text()
    (project / "choreography.toml").write_text(text.replace("gap_px = 4", "gap_px = 4\nclearance_mm = 0.4"))
    assert "register-beyond-clearance" in compiled(project, capsys)[2]


def test_porter_and_duff_no_dip_in_alpha():
    """Porter and Duff 1984, "over": alpha = a + (1 - a) b, in float64; a cross-fade of both would dip to 3/4."""
    rng = np.random.default_rng(1)
    alpha = rng.uniform(0, 1, (40, 40, 1))
    colour = rng.uniform(0, 1, (2, 40, 40, 3))
    stack, still = (np.concatenate([one * alpha, alpha], axis=2) for one in colour)
    window = Window(0, 0, 40, 40)
    for share in np.linspace(0, 1, 9):
        veil = Veil(Tile(window, still.astype(np.float32)), np.float32(share))
        found = veil.dimmed(stack.astype(np.float32), window) + veil.light()
        upper = still * share
        assert found == pytest.approx(upper + (1 - upper[..., 3:]) * stack, abs=2e-6)
        assert (found[..., 3] >= stack[..., 3] - 2e-6).all()
    assert (1 - (1 - 0.5) * (1 - 0.5)) == 0.75
