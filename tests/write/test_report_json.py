"""The report: every number in it, and words that say what matters."""

from __future__ import annotations

import dataclasses
import json

import opentimelineio.opentime as otio

from choreo.errors import Finding
from choreo.model.plan import Removal, RemovalStep
from choreo.model.report import MoveReport, PartReport, Report, ShotReport
from choreo.write.report_json import report_text, report_words


def report(**changes) -> Report:
    lid = PartReport(
        "lid", 1, (0.0, 0.0, 1.0), (1.0, 0.0, 0.0), 30.123456789, (10.0, 20.123456789), 41.27, 15, 0.5,
        (MoveReport(1, "explode", 14, 34, 12, "2 frames later, waits for the knob"),),
    )  # fmt: skip
    knob = dataclasses.replace(
        lid, id="knob", removal_number=2, joint_axis=None, moves=(MoveReport(1, "explode", 12, 32, 12, ""),)
    )
    box = PartReport("box", None, None, None, 0.0, (), 0.0, None, None, ())
    shot = ShotReport("burst", 132, 24.0164, 6.5, None, 2, 7, "lid", (box, lid, knob))
    warning = Finding("plate-missing", "A plate is not there.", "assembly.json", severity="warning")
    return dataclasses.replace(Report("Tin (invented)", "box", ("lid", "knob"), (shot,), (warning,)), **changes)


def test_the_file_holds_every_field_of_the_report():
    content = json.loads(report_text(report()))
    assert (content["format"], content["version"]) == ("choreo/report", 1)
    # The dataclasses are the list of what there is to say; their names are the keys, in order.
    assert list(content)[2:] == [field.name for field in dataclasses.fields(Report)]
    shot = content["shots"][0]
    assert list(shot) == [field.name for field in dataclasses.fields(ShotReport)]
    assert list(shot["parts"][0]) == [field.name for field in dataclasses.fields(PartReport)]
    assert list(shot["parts"][1]["moves"][0]) == [field.name for field in dataclasses.fields(MoveReport)]
    assert shot["parts"][1]["travel_mm"] == 30.123457
    assert shot["parts"][1]["direction"] == [0, 0, 1]
    assert content["warnings"] == [
        {"code": "plate-missing", "severity": "warning", "what": "A plate is not there.", "file": "assembly.json"}
    ]


def test_the_file_can_be_read_by_people():
    lines = report_text(report()).splitlines()
    assert '  "removal_order": ["lid", "knob"],' in lines
    assert '          "legs_mm": [10, 20.123457],' in lines
    assert max(map(len, lines)) < 120


def test_words_say_what_matters():
    words = "\n".join(report_words(report(), (24000, 1001)))
    # The length in timecode, by OpenTimelineIO.
    length = otio.to_timecode(otio.RationalTime(132, 24000 / 1001), 24000 / 1001)
    assert f"burst: 132 frames, {length} long, 2 of 3 parts move." in words
    assert "tightest gap is 24 px" in words
    assert "changes twice; 7 of 132 frames need holdouts" in words
    assert "lid moves 41.2 px from frame 14 to frame 15" in words
    assert "lid starts on frame 14: 2 frames later, waits for the knob." in words
    assert "Not along the axis of its joint: lid" in words
    assert "warning[plate-missing]" in words
    assert "knob starts" not in words


def test_a_shift_without_a_reason_is_told_in_frames():
    shot = report().shots[0]
    early = dataclasses.replace(shot.parts[1].moves[0], start=11, reason="")
    changed = dataclasses.replace(shot, parts=(dataclasses.replace(shot.parts[1], moves=(early,)),))
    assert "  lid starts on frame 11: 1 frame earlier than asked." in report_words(report(shots=(changed,)))


def test_words_cannot_steer_a_terminal():
    hostile = dataclasses.replace(report().warnings[0], what="\x1b[2J\x07gone\u202e")
    words = report_words(report(warnings=(hostile,)))
    assert all(line.isprintable() for line in words)
    assert "gone" in "".join(words)


def test_parts_that_move_as_one_share_a_line():
    shot = report().shots[0]
    pair = tuple(dataclasses.replace(shot.parts[1], id=name) for name in ("lid", "seal"))
    words = report_words(report(shots=(dataclasses.replace(shot, parts=pair),)))
    assert "  lid, seal start on frame 14: 2 frames later, waits for the knob." in words


def test_long_lists_of_waits_are_cut():
    shot = report().shots[0]
    (move,) = shot.parts[1].moves
    moves = [dataclasses.replace(move, start=move.start + n) for n in range(40)]
    many = tuple(dataclasses.replace(shot.parts[1], id=f"screw_{n}", moves=(m,)) for n, m in enumerate(moves))
    words = report_words(report(shots=(dataclasses.replace(shot, parts=many),)))
    assert sum("waits for the knob" in line for line in words) == 5
    assert any("35 more starts shifted" in line for line in words)


def test_the_removal_is_written_as_a_tree():
    inside = Removal((RemovalStep("cap", (1.0, 0.0, 0.0)),), "ring")
    steps = (RemovalStep("ring", (0.0, 0.0, 1.0), (0.0, 1.0, 0.0), ((0.0, 2.5, 0.0),), inside),)
    (step,) = json.loads(report_text(report(removal=steps)))["removal"]
    assert step == {
        "part": "ring",
        "direction": [0, 0, 1],
        "joint_axis": [0, 1, 0],
        "via": [[0, 2.5, 0]],
        "members": ["cap", "ring"],
        "inner": [
            {"part": "cap", "direction": [1, 0, 0], "joint_axis": None, "via": [], "members": ["cap"], "inner": None}
        ],
    }
