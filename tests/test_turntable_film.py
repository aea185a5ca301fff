"""A turntable through a whole compile: the orbit asks for photographs, and the shot stops where there are none."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from small_assemblies import stack

from choreo.compile import compile_film
from choreo.errors import ChoreoError
from choreo.frames.plates import plates_of
from choreo.model.assembly import Plate, Turntable, ViewAngle
from choreo.model.choreography import Choreography, FrameRate, Orbit, PartMotion, Phase, Shot, View
from choreo.write.report_json import report_text, report_words

VIEW = View("orthographic", azimuth=0, px_per_mm=None)


def film(frames, per_frame, azimuth=40.0):
    motion = PartMotion("linear", 6)
    phases = (Phase("hold", 5), Phase("explode", 16, 3, motion), Phase("hold", 20))
    shot = Shot("round", VIEW, phases, Orbit(azimuth, 0.0))
    table = Turntable((0.0, 1.0, 0.0), 0.0, per_frame)
    plate = Plate("lid", "lid.####.png", 4.0, (0.0, 0.0), ViewAngle(), frames, None, table)
    assembly = replace(stack(), plates=(plate,))
    return assembly, Choreography("assembly.json", FrameRate(24), (1280, 720), (0.05,) * 4, 12.0, 0.5, (shot,))


def test_the_orbit_drives_the_turntable():
    # By hand: 40 degrees over 40 steps, a degree a frame; the table turns back half a degree a photograph.
    made = compile_film(*film((0, 100), -0.5))
    lid = next(track for track in made.tracks.shots[0].parts if track.id == "lid")
    np.testing.assert_allclose(lid.plate_frame, np.arange(41) * 2.0, atol=1e-5)
    (plate,) = json.loads(report_text(made.report))["shots"][0]["plates"]
    assert plate["step_degrees"] == pytest.approx(1.0)
    assert plate["repeated_frames"] == 0
    assert any("lid: its turntable turns by up to 1 degree a frame" in line for line in report_words(made.report))


def test_coarse_steps_repeat_photographs():
    # 3 degrees a photograph: of 41 frames, 27 show the same as the one before (14 different photographs).
    made = compile_film(*film((0, 119), -3.0))
    assert made.report.shots[0].plates[0].repeated == 41 - 1 - 13
    lid = next(track for track in made.tracks.shots[0].parts if track.id == "lid")
    assert lid.plate_frame[4] == pytest.approx(4 / 3, abs=1e-6)


def test_a_missing_angle_is_no_solution():
    with pytest.raises(ChoreoError) as error:
        compile_film(*film((0, 20), -1.0))
    assert error.value.exit_code == 1
    (finding,) = error.value.findings
    assert finding.code == "angle-missing"
    assert "frames 21 to 40" in finding.what


def test_a_hole_in_a_sequence_is_named_and_a_sequence_that_is_not_there_is_a_warning(tmp_path):
    assembly, choreography = film((0, 100), -0.5)
    made = compile_film(assembly, choreography)
    solids = made.apart.solids
    plates, warned = plates_of(assembly, tmp_path, solids, made.tracks)
    assert not plates["round"].plates
    assert [finding.severity for finding in warned] == ["warning"]
    names = [f"lid.{number:04d}.png" for number in range(0, 81, 2)]  # two photographs a frame, by hand as above
    for name in names:
        (tmp_path / name).write_bytes(b"")
    assert plates_of(assembly, tmp_path, solids, made.tracks)[0]["round"].plates
    (tmp_path / names[7]).unlink()
    with pytest.raises(ChoreoError) as caught:
        plates_of(assembly, tmp_path, solids, made.tracks)
    (finding,) = caught.value.findings
    assert finding.code == "missing-photograph"
    assert finding.what == 'Shot "round" shows the photograph lid.0014.png of "lid", which is not there.'


def test_what_a_turntable_does_in_words():
    def said(made):
        (line,) = [line for line in report_words(made.report) if "lid: its turntable" in line]
        return line.strip()

    still = compile_film(*film((0, 100), -0.5, azimuth=0.0))
    assert said(still) == "lid: its turntable stands still; one photograph serves all 41 frames."
    fine = compile_film(*film((0, 100), -0.5))
    assert said(fine) == "lid: its turntable turns by up to 1 degree a frame; no frame repeats a photograph."
    coarse = compile_film(*film((0, 119), -3.0))
    assert said(coarse) == "lid: its turntable turns by up to 1 degree a frame; 27 frames repeat a photograph."
    # By hand: 0.4 degrees in all never come nearer to the photograph at 3 degrees than to that at 0.
    slow = compile_film(*film((0, 119), -3.0, azimuth=0.4))
    assert said(slow) == "lid: its turntable turns by up to 0.01 degrees a frame; one photograph serves all 41 frames."
