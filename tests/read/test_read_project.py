"""A good project comes out as the model, every default filled in; files that are no files are refused."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import re
import shutil
from pathlib import Path

import pytest
from corpus import GOOD

from choreo.errors import ChoreoError
from choreo.model.assembly import Hero, Joint, Plate, Turntable, ViewAngle
from choreo.model.choreography import FrameRate, Handoff, Orbit, PartMotion, Pin, View
from choreo.motion.easing import parse_easing
from choreo.motion.easing_clip import clipped_easing
from choreo.motion.easing_spring import spring_text
from choreo.read.project import read_assembly, read_project

SQUARE = [[-10, -10], [10, -10], [10, 10], [-10, 10]]


def assembly(**more):
    parts = [{"id": "body", "slabs": [{"outline": SQUARE, "z": [0, 4]}]}]
    return {"format": "choreo/assembly", "version": 1, "name": "Invented", "parts": parts, **more}


def write(folder: Path, value, name="assembly.json") -> Path:
    path = folder / name
    path.write_text(json.dumps(value), encoding="utf-8")
    return path


@pytest.fixture
def project(tmp_path):
    shutil.copytree(GOOD, tmp_path / "lamp")
    return tmp_path / "lamp"


def codes(error):
    return [finding.code for finding in error.value.findings]


def test_resolved_values(project):
    read = read_project(project)
    shell, cell, lens = read.assembly.parts
    assert read.assembly.touch_mm == 0.05
    assert (shell.id, shell.label, shell.colour, shell.offset) == ("shell", "shell", "#5b6770", (0.0, 0.0, 0.0))
    # Okabe and Ito's Color Universal Design palette, second and third colour: sky blue and bluish green.
    assert (cell.colour, lens.colour) == ("#56b4e9", "#009e73")
    assert cell.offset == (0.0, 0.0, 2.0)
    assert shell.slabs[0].holes == (((-26.0, -16.0), (-26.0, 16.0), (26.0, 16.0), (26.0, -16.0)),)
    assert shell.slabs[0].z == (0.0, 14.0)
    assert read.assembly.joints == (Joint("insert", "cell", "shell", (0.0, 0.0, 1.0), 0.0),)
    assert read.assembly.plates == (Plate("shell", "plates/shell.png", 10.0, (512.0, 384.0), ViewAngle()),)
    assert read.assembly.hero == Hero("plates/hero.png", 10.0, (960.0, 540.0), ViewAngle())

    film = read.choreography
    assert film.frame_rate == FrameRate(24000, 1001)
    assert (film.assembly_file, film.resolution) == ("assembly.json", (1920, 1080))
    assert film.safe_area == (0.05, 0.05, 0.05, 0.05)  # EBU R 95, graphics safe: 5 % in from each edge
    assert (film.gap_px, film.clearance_mm) == (24.0, 0.5)
    burst, back = film.shots
    assert burst.view == View("perspective", 35.0, 0.0, 85.0, (36.0, 20.25), None)
    assert burst.orbit == Orbit(60.0, 0.0, "linear")
    hold, explode = burst.phases
    assert (hold.kind, hold.frames, explode.kind, explode.frames) == ("hold", 12, "explode", 84)
    assert explode.default == PartMotion("ease-in-out", 20, 0)
    assert explode.stagger == 3
    assert explode.parts == {}  # lens moves as the others do; what is fixed about its way is a pin of the shot
    assert burst.pins == {"lens": Pin((0.0, 0.0, 1.0), 120.0)}
    assert back.view == View("orthographic")
    assert back.phases[0].beats == (16, 32, 47)
    assert back.handoff == Handoff(8, 0.5)
    assert back.begins_exploded


def test_digests_and_folder(project):
    read = read_project(project)
    for digest, name in ((read.assembly_digest, "assembly.json"), (read.choreography_digest, "choreography.toml")):
        assert digest == "sha256:" + hashlib.sha256((project / name).read_bytes()).hexdigest()
    assert read.folder == project
    assert read == read_project(project / "choreography.toml")


def test_missing_plates_are_warnings_until_they_are_there(project):
    read = read_project(project)
    found = [(finding.code, finding.severity, finding.place, finding.line) for finding in read.warnings]
    assert found == [("missing-plate", "warning", "/plates/0/file", 50), ("missing-plate", "warning", "/hero/file", 56)]
    (project / "plates").mkdir()
    for name in ("shell.png", "hero.png"):
        (project / "plates" / name).touch()
    assert read_project(project).warnings == ()


def test_motion_is_inherited(project):
    text = (project / "choreography.toml").read_text(encoding="utf-8")
    text = text.replace("  frames = 84\n", '  frames = 84\n  easing = "linear"\n  move = "fit"\n  stagger = 0\n')
    text = text.replace("    travel_mm = 120\n", "    delay = 6\n    [shot.phase.part.cell]\n    move = 9\n")
    (project / "choreography.toml").write_text(text, encoding="utf-8")
    phase = read_project(project).choreography.shots[0].phases[1]
    assert (phase.default, phase.stagger) == (PartMotion("linear", None), 0)
    assert phase.parts == {"lens": PartMotion("linear", None, 6), "cell": PartMotion("linear", 9)}


def test_upright_frame_turns_the_sensor(project):
    text = (project / "choreography.toml").read_text(encoding="utf-8")
    (project / "choreography.toml").write_text(text.replace("[1920, 1080]", "[1080, 1920]"), encoding="utf-8")
    assert read_project(project).choreography.shots[0].view.sensor_mm == (20.25, 36.0)


def test_safe_areas(project):
    text = (project / "choreography.toml").read_text(encoding="utf-8")
    for written, margins in (('"ebu-r95-action"', (0.035,) * 4), ("[0, 0.1, 0.2, 0.3]", (0.0, 0.1, 0.2, 0.3))):
        changed = text.replace('"ebu-r95-graphics"', written)
        (project / "choreography.toml").write_text(changed, encoding="utf-8")
        assert read_project(project).choreography.safe_area == margins


def test_depths_from_layers_and_order(tmp_path):
    parts = [
        {"id": "a", "slabs": [{"outline": SQUARE}]},
        {"id": "b", "slabs": [{"outline": SQUARE, "layer": -2}]},
        {"id": "c", "slabs": [{"outline": SQUARE}]},
    ]
    value = assembly(parts=parts, layer_mm=2.5, occlusion_order=["b", "c", "a"])
    depths = [part.slabs[0].z for part in read_assembly(write(tmp_path, value)).parts]
    # By hand: a is third from the back, layer 2; c second, layer 1; b says layer -2 itself.
    assert depths == [(5.0, 7.5), (-5.0, -2.5), (2.5, 5.0)]
    del value["layer_mm"]
    assert read_assembly(write(tmp_path, value)).parts[0].slabs[0].z == (8.0, 12.0)  # 4 mm a layer


def test_order_and_depths_may_agree_mix_or_not_meet(tmp_path):
    def part(name, z, x=0, extra=()):
        return {"id": name, "offset": [x, 0, 0], "slabs": [{"outline": SQUARE, "z": z}, *extra]}

    around = {"outline": SQUARE, "z": [20, 24]}
    fine = [
        [part("a", [0, 4]), part("b", [4, 8])],  # agrees
        [part("a", [4, 8]), part("b", [0, 4], x=20)],  # only touches in the plan view
        [part("a", [0, 4], extra=[around]), part("b", [8, 12])],  # one slab behind, one in front
        [part("a", [2, 6]), part("b", [0, 4])],  # overlapping depths have no order
    ]
    for parts in fine:
        read_assembly(write(tmp_path, assembly(parts=parts, occlusion_order=["a", "b"])))
    parts = [part("a", [4, 8]), part("b", [0, 4], x=19.9)]
    with pytest.raises(ChoreoError) as error:
        read_assembly(write(tmp_path, assembly(parts=parts, occlusion_order=["a", "b"])))
    assert codes(error) == ["order-contradicts-depth"]


def test_rings_lose_only_repeated_points(tmp_path):
    closed = [[0, 0], [4, 0], [4, 0], [4, 3], [0, 0]]
    parts = [{"id": "body", "slabs": [{"outline": closed, "z": [0, 4]}]}]
    (part,) = read_assembly(write(tmp_path, assembly(parts=parts))).parts
    assert sorted(part.slabs[0].outline) == [(0.0, 0.0), (4.0, 0.0), (4.0, 3.0)]


def test_directions_have_length_one(tmp_path):
    parts = [*assembly()["parts"], {"id": "pin", "slabs": [{"outline": SQUARE, "z": [4, 8]}]}]
    joint = {"kind": "fasten", "part": "pin", "into": "body", "axis": [0, 3, 4], "fit": "press", "press_mm": 0.2}
    read = read_assembly(write(tmp_path, assembly(parts=parts, joints=[joint])))
    assert read.joints == (Joint("fasten", "pin", "body", (0.0, 0.6, 0.8), 0.2),)  # 3-4-5 triangle


def test_a_sequence(tmp_path):
    plate = {"part": "body", "file": "p/####.png", "px_per_mm": 10, "pivot_px": [1, 2], "frames": [1, 180]}
    plate |= {"frame_rate": "60", "turntable": {"axis": [0, 2, 0], "per_frame": 2}, "view": {"elevation": 10}}
    (read,) = read_assembly(write(tmp_path, assembly(plates=[plate]))).plates
    assert (read.frames, read.frame_rate, read.view) == ((1, 180), (60, 1), ViewAngle(0.0, 10.0))
    assert read.turntable == Turntable((0.0, 1.0, 0.0), 0.0, 2.0)


def test_both_files_are_judged_in_one_run(project):
    write(project, {**json.loads((project / "assembly.json").read_text(encoding="utf-8")), "touch_mm": -1})
    text = (project / "choreography.toml").read_text(encoding="utf-8")
    (project / "choreography.toml").write_text(text.replace("frames = 84", "frames = 0"), encoding="utf-8")
    with pytest.raises(ChoreoError) as error:
        read_project(project)
    errors = [
        (finding.code, Path(finding.file).name) for finding in error.value.findings if finding.severity == "error"
    ]
    assert errors == [("out-of-range", "assembly.json"), ("out-of-range", "choreography.toml")]
    (project / "choreography.toml").write_text("[", encoding="utf-8")
    with pytest.raises(ChoreoError) as error:
        read_project(project)
    assert [code for code in codes(error) if code != "missing-plate"] == ["out-of-range", "bad-toml"]


def test_an_endless_list_of_findings_is_cut(tmp_path):
    parts = [{"id": f"p{index}", "slabs": []} for index in range(300)]
    with pytest.raises(ChoreoError) as error:
        read_assembly(write(tmp_path, assembly(parts=parts)))
    assert len(error.value.findings) == 101
    assert error.value.findings[-1].what.startswith("There are 200 more")


@pytest.mark.parametrize("target", ["../outside.png", "/etc/hostname"])
def test_links_out_of_the_folder_are_refused(tmp_path, target):
    folder = tmp_path / "project"
    folder.mkdir()
    (tmp_path / "outside.png").touch()
    (folder / "plate.png").symlink_to(target)
    (folder / "inside.png").touch()
    (folder / "good.png").symlink_to("inside.png")
    (folder / "loop.png").symlink_to("loop.png")
    hero = {"file": "plate.png", "px_per_mm": 1, "pivot_px": [0, 0]}
    with pytest.raises(ChoreoError) as error:
        read_assembly(write(folder, assembly(hero=hero)))
    assert codes(error) == ["path-outside"]
    for name in ("good.png", "loop.png", "a" * 300 + ".png"):
        read_assembly(write(folder, assembly(hero={**hero, "file": name})))


def test_a_sequence_may_not_lead_out_either(tmp_path):
    folder = tmp_path / "project"
    folder.mkdir()
    (folder / "p").symlink_to(tmp_path)
    plate = {"part": "body", "file": "p/##.png", "px_per_mm": 10, "pivot_px": [1, 2], "frames": [1, 9]}
    with pytest.raises(ChoreoError) as error:
        read_assembly(write(folder, assembly(plates=[plate])))
    assert codes(error) == ["path-outside"]


def test_an_absolute_path_is_refused_even_into_the_folder(tmp_path):
    hero = {"file": str(tmp_path / "hero.png"), "px_per_mm": 1, "pivot_px": [0, 0]}
    with pytest.raises(ChoreoError) as error:
        read_assembly(write(tmp_path, assembly(hero=hero)))
    assert codes(error) == ["path-outside"]


def test_things_that_are_no_files(tmp_path):
    os.mkfifo(tmp_path / "pipe.json")
    (tmp_path / "loop.json").symlink_to("loop.json")
    (tmp_path / "folder.json").mkdir()
    (tmp_path / "empty.json").touch()
    for name, code in {
        "missing.json": "no-such-file",
        "pipe.json": "not-a-file",
        "loop.json": "unreadable",
        "folder.json": "not-a-file",
        "empty.json": "empty-file",
        "a" * 300: "unreadable",
        "nul\0.json": "unreadable",
        "empty.json/below": "unreadable",
    }.items():
        with pytest.raises(ChoreoError) as error:
            read_assembly(tmp_path / name)
        assert codes(error) == [code], name
        assert error.value.exit_code == 2


def test_a_file_that_is_too_large(tmp_path):
    with (tmp_path / "large.json").open("wb") as stream:
        stream.truncate(64 * 2**20 + 1)
    with pytest.raises(ChoreoError) as error:
        read_assembly(tmp_path / "large.json")
    assert codes(error) == ["file-too-large"]


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    path = write(tmp_path, assembly())

    def refused(*_arguments, **_options):  # as for a file without permission; root could read even that
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(ChoreoError) as error:
        read_assembly(path)
    assert codes(error) == ["unreadable"]


def test_an_empty_folder(tmp_path):
    with pytest.raises(ChoreoError) as error:
        read_project(tmp_path)
    assert codes(error) == ["no-such-file"]
    assert error.value.findings[0].file.endswith("choreography.toml")


def test_springs_become_easings_wherever_an_easing_may_stand(project):
    """Critical damping is 2 sqrt(100 x 4) = 40; twice the mass, stiffness and damping is the same spring."""
    text = (project / "choreography.toml").read_text(encoding="utf-8")
    text = text.replace("azimuth = 60", "azimuth = 60, easing = { mass = 4, stiffness = 100, damping = 20 }")
    text = text.replace("  frames = 84\n", "  frames = 84\n  easing = { mass = 8, stiffness = 200, damping = 40 }\n")
    text = text.replace("  frames = 48\n", "  frames = 48\n  easing = { stiffness = 25, damping = 10 }\n")
    (project / "choreography.toml").write_text(text, encoding="utf-8")
    burst, back = read_project(project).choreography.shots
    half = spring_text(4, 100, 20)
    assert half.startswith("linear(0 0%, ")
    assert burst.orbit is not None
    assert (burst.orbit.easing, burst.phases[1].default.easing) == (half, half)
    assert back.phases[0].default.easing == spring_text(1, 25, 10)
    assert parse_easing(back.phases[0].default.easing).extent == (0.0, 1.0)


def test_clip_ends_an_assemble_at_first_contact_and_leaves_an_explode_its_overshoot(project):
    text = (project / "choreography.toml").read_text(encoding="utf-8")
    text = re.sub(r'easing = "ease-in-out"', 'easing = { stiffness = 100, damping = 8 }\nsettle = "clip"', text)
    text = re.sub("(  beats = .*\n)", r'\1    [shot.phase.part.lens]\n    settle = "free"\n', text)
    (project / "choreography.toml").write_text(text, encoding="utf-8")
    burst, back = read_project(project).choreography.shots
    spring = spring_text(1, 100, 8)
    assert burst.phases[1].default == PartMotion(spring, 20, 0, clip=True)
    assert back.phases[0].default == PartMotion(clipped_easing(spring, "assemble"), 20, 0, clip=True)
    assert back.phases[0].motion("lens") == PartMotion(spring, 20, 0, clip=False)
    assert parse_easing(back.phases[0].default.easing).extent == (0.0, 1.0)


def test_a_bow_holds_for_the_shot(project):
    text = (project / "choreography.toml").read_text(encoding="utf-8")
    (project / "choreography.toml").write_text(
        text.replace("travel_mm", "bow_mm = -7\n    travel_mm"), encoding="utf-8"
    )
    burst, back = read_project(project).choreography.shots
    assert (burst.pins["lens"].bow_mm, back.pins) == (-7.0, {})
