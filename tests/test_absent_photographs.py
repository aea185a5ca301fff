"""Photographs of a sequence that are not on disk: a shot that shows one fails, others are only told of the gap."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from test_turntable_film import film

from choreo.cli import main
from choreo.compile import compile_film
from choreo.errors import ChoreoError
from choreo.read.project import read_project

TABLE = {"axis": [0, 1, 0], "start": 10, "per_frame": -2}


def without(absent, azimuth=40.0, **changes):
    assembly, choreography = film((0, 100), -0.5, azimuth)
    plate = replace(assembly.plates[0], absent=absent, **changes)
    return replace(assembly, plates=(plate,)), choreography


def refused(*asked):
    with pytest.raises(ChoreoError) as error:
        compile_film(*asked)
    assert error.value.exit_code == 1
    (finding,) = error.value.findings
    assert finding.code == "photograph-missing"
    return finding


def test_a_shot_fails_that_shows_an_absent_photograph():
    # By hand: frame f of the shot asks for photograph 2 f, which shows the table at -f degrees. 9 is never shown.
    finding = refused(*without((9, 10, 12, 14, 60)))
    assert 'Shot "round"' in finding.what
    assert '"lid"' in finding.what
    assert "frames 5 to 7: photographs 10, 12, 14 (-5 to -7 degrees)" in finding.what
    assert "frame 30: photograph 60 (-30 degrees)" in finding.what
    assert "Photograph these angles" in finding.remedy
    assert "leave the plate out" in finding.remedy


def test_gaps_that_no_shot_shows_do_not_fail():
    made = compile_film(*without((1, 3, 9, 81, 100)))
    assert made.tracks.shots[0].parts[0].plate_frame is not None


def test_many_stretches_are_counted():
    said = refused(*without(tuple(range(0, 100, 4)))).what
    assert said.count("degrees") == 4
    assert "and 17 more stretches" in said


def test_a_film_is_told_by_its_photographs_alone():
    # Frame f of the shot shows photograph f.
    finding = refused(*without((3,), turntable=None))
    assert "frame 3: photograph 3." in finding.what
    assert "degrees" not in finding.what
    assert "Add the missing photographs" in finding.remedy


def test_halves_and_closed_circles_take_the_photograph_that_pictures_take():
    # By hand: a closed circle of 3 degrees a photograph. Frame f asks for -f degrees, which is number 120 - f / 3:
    # frame 1 for 119.67, nearest to 120, which is 0 again; frame 2 for 119.33, nearest to 119.
    assembly, choreography = film((0, 119), 3.0)
    (plate,) = assembly.plates
    asked = [replace(assembly, plates=(replace(plate, absent=(0,)),)), choreography]
    assert "frames 0 to 1: photograph 0 (0 degrees)" in refused(*asked).what


@pytest.fixture
def project(tmp_path):
    """The grinder of the tests, one plate a turntable of 1 to 9 on disk: 10 degrees at 0, 2 back a photograph."""
    from photographed_project import write_project

    folder = write_project(tmp_path / "p")
    data = json.loads((folder / "assembly.json").read_text())
    plate = next(one for one in data["plates"] if one["part"] == "dial")
    plate |= {"file": "dial.##.png", "frames": [1, 9], "turntable": TABLE}
    (folder / "assembly.json").write_text(json.dumps(data))
    picture = (folder / "plates" / "dial.png").read_bytes()
    for number in range(1, 10):
        (folder / f"dial.{number:02d}.png").write_bytes(picture)
    return folder


def told(capsys, folder, command, code):
    assert main([command, str(folder), "--json"]) == code
    answer = json.loads(capsys.readouterr().out)
    return [
        one
        for one in answer["warnings" if code == 0 else "findings"]
        if one["code"] in ("missing-plate", "photograph-missing")
    ]


def test_by_command(project, capsys):
    # The camera stands at 0 degrees, which photograph 5 shows.
    assert told(capsys, project, "compile", 0) == []
    for number in (2, 8, 9):
        (project / f"dial.{number:02d}.png").unlink()
    for command in ("check", "compile"):
        (gap,) = [one for one in read_project(project).warnings if one.code == "missing-plate"]
        (said,) = told(capsys, project, command, 0)
        assert said["what"] == gap.what
        assert "2 (6 degrees), 8 to 9 (-6 to -8 degrees) are not there" in gap.what
    assert main(["compile", str(project), "--out", str(project / "out")]) == 0
    capsys.readouterr()
    report = json.loads((project / "out" / "report.json").read_text())
    assert gap.what in [one["what"] for one in report["warnings"]]
    (project / "dial.05.png").unlink()
    assert told(capsys, project, "check", 0)
    (finding,) = told(capsys, project, "compile", 1)
    assert "photograph 5 (0 degrees)" in finding["what"]
    for number in (1, 3, 4, 6, 7):
        (project / f"dial.{number:02d}.png").unlink()
    assert main(["compile", str(project)]) == 0  # before the shoot
    assert "nor is any other of its sequence" in capsys.readouterr().out
