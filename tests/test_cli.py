"""The command line: exit codes, words and JSON, all or nothing, same bytes, no tracebacks."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import choreo.frames.compiled
import choreo.write.files
from choreo.cli import main
from choreo.errors import Finding
from choreo.write.dump import dump_text, file_name

ROOT = Path(__file__).resolve().parents[1]

ASSEMBLY = {
    "format": "choreo/assembly",
    "version": 1,
    "name": "Boxes (invented)",
    "parts": [
        {"id": "base", "label": "Base", "colour": "#888888", "offset": [0, 0, 0],
         "slabs": [{"outline": [[-30, -20], [30, -20], [30, 20], [-30, 20]], "z": [0, 10]}]},
        {"id": "lid", "label": "Lid", "colour": "#aa8866", "offset": [0, 0, 0],
         "slabs": [{"outline": [[-25, -15], [25, -15], [25, 15], [-25, 15]], "z": [10, 14]}]},
    ],
    "joints": [{"kind": "insert", "part": "lid", "into": "base", "axis": [0, 0, 1]}],
}  # fmt: skip
CHOREOGRAPHY = """
format = "choreo/choreography"
version = 1
assembly = "assembly.json"
frame_rate = "24"
resolution = [1920, 1080]
safe_area = "ebu-r95-graphics"
[[shot]]
name = "one"
view = { projection = "orthographic", azimuth = 60, elevation = 20, px_per_mm = "fit" }
  [[shot.phase]]
  kind = "explode"
  frames = 24
[[shot]]
name = "two"
view = { projection = "orthographic", azimuth = 0, elevation = 0, px_per_mm = "fit" }
  [[shot.phase]]
  kind = "assemble"
  frames = 24
"""
MADE = ["report.json", "strip.svg", "tracks.json"]


@pytest.fixture
def project(tmp_path):
    folder = tmp_path / "boxes"
    write(folder)
    return folder


def write(folder, assembly=ASSEMBLY, choreography=CHOREOGRAPHY):
    folder.mkdir(exist_ok=True)
    (folder / "assembly.json").write_text(json.dumps(assembly), encoding="utf-8")
    (folder / "choreography.toml").write_text(choreography, encoding="utf-8")


def changed(**keys):
    return {**ASSEMBLY, **keys}


def run(capsys, *arguments):
    """Exit code, standard output, standard error; argparse's own exits count as exit codes."""
    try:
        code = main([str(argument) for argument in arguments])
    except SystemExit as done:
        code = done.code
    said = capsys.readouterr()
    assert "Traceback" not in said.out + said.err
    return code, said.out, said.err


def snapshot(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


# --- Exit 0 -------------------------------------------------------------------------------------------------------


def test_compile_writes_three_files_and_names_them(project, capsys):
    code, out, err = run(capsys, "compile", project)
    assert (code, err) == (0, "")
    assert sorted(path.name for path in (project / "out").iterdir()) == MADE
    for name in MADE:
        assert str(project / "out" / name) in out
    tracks = json.loads((project / "out" / "tracks.json").read_text(encoding="utf-8"))
    assert [shot["name"] for shot in tracks["shots"]] == ["one", "two"]
    assert [shot["start_frame"] for shot in tracks["shots"]] == [0, 24]


def test_the_choreography_file_itself_will_do(project, tmp_path, capsys):
    code, *_ = run(capsys, "compile", project / "choreography.toml", "--out", tmp_path / "there")
    assert code == 0
    assert sorted(path.name for path in (tmp_path / "there").iterdir()) == MADE
    assert not (project / "out").exists()


def test_check_says_in_which_order_it_comes_apart(project, capsys):
    code, out, err = run(capsys, "check", project)
    assert (code, err) == (0, "")
    assert "Boxes (invented): 2 parts, 1 contact" in out
    assert out.index("Lid [lid] leaves along") < out.index("Base [base] stays")
    assert not (project / "out").exists()


def test_answers_for_programs(project, capsys):
    code, out, err = run(capsys, "check", project, "--json")
    said = json.loads(out)
    assert (code, err, said["ok"], said["body"]) == (0, "", True, "base")
    assert said["removal"][0]["part"] == "lid"
    assert said["removal"][0]["direction"] == [0.0, 0.0, 1.0]
    code, out, err = run(capsys, "compile", project, "--json", "--prove")
    said = json.loads(out)
    assert (code, err, said["ok"], said["shots"]) == (0, "", True, ["one", "two"])
    assert all(Path(file).is_file() for file in said["files"])


def test_one_shot_keeps_its_place_in_the_film(project, capsys):
    assert run(capsys, "compile", project, "--shot", "two")[0] == 0
    (shot,) = json.loads((project / "out" / "tracks.json").read_text(encoding="utf-8"))["shots"]
    assert (shot["name"], shot["start_frame"]) == ("two", 24)


def test_dumps_are_json_that_a_strict_reader_takes(project, capsys):
    assert run(capsys, "compile", project, "--dump", "all")[0] == 0
    dumps = sorted((project / "out" / "dump").iterdir())
    assert "removal.json" in [path.name for path in dumps]
    assert "schedule-of-one.json" in [path.name for path in dumps]
    for path in dumps:
        json.loads(path.read_text(encoding="utf-8"), parse_constant=pytest.fail)  # no NaN, no Infinity: RFC 8259
    only = project / "only"
    assert run(capsys, "compile", project, "--out", only, "--dump", "contacts", "--dump", "layout of one")[0] == 0
    assert sorted(path.name for path in (only / "dump").iterdir()) == ["contacts.json", "layout-of-one.json"]


def test_a_dump_of_anything():
    import numpy as np
    import shapely

    found = json.loads(
        dump_text(
            {
                ("a", "b"): np.array([1.0, np.inf]), "box": shapely.box(0, 0, 1, 1), "number": np.float64("nan"),
                "finding": Finding("code", "what"), "more": (1, None, True, np.int64(3)), "else": object(),
            }
        ),
        parse_constant=pytest.fail,
    )  # fmt: skip
    assert found["a / b"] == [1.0, "inf"]
    assert found["box"].startswith("POLYGON")
    assert found["finding"]["what"] == "what"
    assert found["more"] == [1, None, True, 3]
    assert file_name("layout of ../x") == "layout-of-x.json"


# --- Exit 1 -------------------------------------------------------------------------------------------------------


def test_an_interlocked_assembly_has_no_solution(project, capsys):
    # A lid that is walled in: a floor below it, a wall around it, a roof above it, all one part.
    outer, hole = [[-30, -20], [30, -20], [30, 20], [-30, 20]], [[-25, -15], [-25, 15], [25, 15], [25, -15]]
    floor, roof = {"outline": outer, "z": [0, 10]}, {"outline": outer, "z": [14, 20]}
    case = {**ASSEMBLY["parts"][0], "slabs": [floor, {"outline": outer, "holes": [hole], "z": [10, 14]}, roof]}
    write(project, changed(parts=[case, ASSEMBLY["parts"][1]]))
    for command in ("check", "compile"):
        code, out, err = run(capsys, command, project)
        assert (code, out) == (1, "")
        assert "error[interlocked]" in err
        assert "nothing was written" in err
        assert (project / "out").exists() == (command == "compile")
    assert [path.name for path in (project / "out").iterdir()] == ["interlock.svg"]


def test_all_shots_say_what_is_wrong_with_them(project, capsys):
    write(project, choreography=CHOREOGRAPHY.replace("frames = 24", "frames = 12"))
    code, out, err = run(capsys, "compile", project, "--json")
    findings = json.loads(out)["findings"]
    assert (code, err, json.loads(out)["ok"], json.loads(out)["exit"]) == (1, "", False, 1)
    assert [finding["code"] for finding in findings] == ["too-little-time"] * 2
    assert ['"one"' in findings[0]["what"], '"two"' in findings[1]["what"]] == [True, True]


# --- Exit 2 -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "arguments",
    [(), ("dance",), ("compile",), ("compile", "x", "--loud"), ("check", "x", "--prove"), ("compile", "x", "y")],
)
def test_a_command_line_that_makes_no_sense(arguments, capsys):
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    assert "usage: choreo" in err


def test_an_option_of_another_command_is_answered_with_the_usage_of_this_one(capsys):
    code, out, err = run(capsys, "still", "x", "--frame", "3", "--shot", "return")
    assert (code, out) == (2, "")
    assert err.startswith("usage: choreo still ")
    assert "--frame N" in err
    assert err.endswith("unrecognized arguments: --shot return\n")


def test_a_project_that_is_not_there(tmp_path, capsys):
    for command in ("check", "compile"):
        code, out, err = run(capsys, command, tmp_path / "nowhere")
        assert (code, out) == (2, "")
        assert str(tmp_path / "nowhere") in err
        code, out, _ = run(capsys, command, tmp_path / "nowhere", "--json")
        assert json.loads(out)["exit"] == code == 2


def test_a_folder_without_files(tmp_path, capsys):
    code, _, err = run(capsys, "compile", tmp_path)
    assert code == 2
    assert "choreography.toml" in err


@pytest.mark.parametrize(("option", "name"), [("--shot", "three"), ("--dump", "lunch")])
def test_a_shot_or_stage_that_is_not_there_lists_what_is(project, capsys, option, name):
    code, _, err = run(capsys, "compile", project, option, name)
    assert code == 2
    assert f'"{name}"' in err
    assert ("one, two" if option == "--shot" else "removal") in err
    assert not (project / "out").exists()


def test_everything_that_is_wrong_with_both_files_at_once(project, capsys):
    write(project, changed(parts=[]), CHOREOGRAPHY.replace("frames = 24", "frames = 0"))
    code, out, _ = run(capsys, "check", project, "--json")
    findings = json.loads(out)["findings"]
    assert code == 2
    assert {Path(finding["file"]).name for finding in findings} == {"assembly.json", "choreography.toml"}
    assert all(finding["line"] for finding in findings)
    code, _, err = run(capsys, "check", project)
    assert f"({len(findings)} findings)" in err


def test_parts_that_overlap_at_rest(project, capsys):
    parts = json.loads(json.dumps(ASSEMBLY["parts"]))
    parts[1]["slabs"][0]["z"] = [8, 14]
    write(project, changed(parts=parts))
    code, _, err = run(capsys, "check", project)
    assert code == 2
    assert '"base"' in err
    assert '"lid"' in err


@pytest.mark.parametrize("out", ["a file", "under a file"])
def test_an_output_folder_that_cannot_be(project, tmp_path, capsys, out):
    (tmp_path / "taken").write_text("mine", encoding="utf-8")
    target = tmp_path / "taken" / ("" if out == "a file" else "deep")
    code, _, err = run(capsys, "compile", project, "--out", target)
    assert code == 2
    assert "nothing was written" in err
    assert (tmp_path / "taken").read_text(encoding="utf-8") == "mine"


HOSTILE = ["\x1b[31mred", "two\nlines", "x" * 5000, "💥", "<svg onload=1>", "../../etc", "\u202egnp", "%s%n{0}"]


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_do_not_reach_the_terminal(project, capsys, name):
    write(project, changed(name=name, joints=[{"kind": "insert", "part": name, "into": "base", "axis": [0, 0, 1]}]))
    for arguments in (("check", project), ("compile", project, "--shot", name)):
        code, out, err = run(capsys, *arguments)
        assert code == 2
        assert "\x1b" not in out + err
        assert "\u202e" not in out + err
        assert max(len(line) for line in err.splitlines()) < 1000
    code, out, _ = run(capsys, "check", project, "--json")
    assert json.loads(out)["exit"] == code == 2


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_arguments_do_not_reach_the_terminal(project, capsys, name):
    code, out, err = run(capsys, "compile", project, "--shot", name)
    assert code == 2
    assert "\x1b" not in out + err
    assert "\u202e" not in out + err
    assert max(len(line) for line in err.splitlines()) < 1000
    for arguments in (("check", project / name), (name, project), ("check", project, "--" + name)):
        code, out, err = run(capsys, *arguments)
        assert code == 2
        assert "\x1b" not in out + err
        assert "\u202e" not in out + err


# --- All or nothing (G9) --------------------------------------------------------------------------------------------


def test_a_failing_compile_leaves_the_last_output(project, capsys):
    assert run(capsys, "compile", project)[0] == 0
    before = snapshot(project / "out")
    write(project, choreography=CHOREOGRAPHY.replace("frames = 24", "frames = 12"))
    assert run(capsys, "compile", project)[0] == 1
    assert snapshot(project / "out") == before
    write(project, choreography="not TOML")
    assert run(capsys, "compile", project)[0] == 2
    assert snapshot(project / "out") == before


def test_a_disk_that_fails_half_way_leaves_the_last_output(project, capsys, monkeypatch):
    assert run(capsys, "compile", project)[0] == 0
    before = snapshot(project / "out")
    write(project, changed(name="Other boxes (invented)"))
    replaced = []
    real = os.replace

    def replace(source, target, **kw):
        replaced.append(target)
        if len(replaced) == 2:
            raise OSError(28, "No space left on device")
        return real(source, target, **kw)

    monkeypatch.setattr(choreo.write.files.os, "replace", replace)
    code, _, err = run(capsys, "compile", project)
    assert code == 2
    assert "No space left on device" in err
    assert snapshot(project / "out") == before


def test_other_files_in_the_output_folder_stay(project, capsys):
    (project / "out").mkdir()
    (project / "out" / "notes.txt").write_text("mine", encoding="utf-8")
    assert run(capsys, "compile", project)[0] == 0
    assert (project / "out" / "notes.txt").read_text(encoding="utf-8") == "mine"


# --- Defects and interruptions ----------------------------------------------------------------------------------------


def break_compile(monkeypatch, error):
    def broken(*_, **__):
        raise error

    monkeypatch.setattr(choreo.frames.compiled, "compile_film", broken)


def test_a_defect_is_one_finding(project, capsys, monkeypatch):
    break_compile(monkeypatch, ZeroDivisionError("oh"))
    code, out, err = run(capsys, "compile", project)
    assert (code, out) == (3, "")
    assert "error[defect]" in err
    assert "ZeroDivisionError" in err
    assert "nothing was written" in err
    code, out, err = run(capsys, "compile", project, "--json")
    (finding,) = json.loads(out)["findings"]
    assert (code, err, finding["code"]) == (3, "", "defect")


def test_an_interruption_is_said(project, capsys, monkeypatch):
    break_compile(monkeypatch, KeyboardInterrupt())
    code, out, err = run(capsys, "compile", project)
    assert (code, out) == (130, "")
    assert "stopped; nothing was written" in err


# --- Processes of their own ----------------------------------------------------------------------------------------


def process(*arguments, cwd=None, **environment):
    command = [sys.executable, "-m", "choreo", *map(os.fsencode, arguments)]
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    return subprocess.run(
        command, cwd=cwd, env={**os.environ, "PYTHONPATH": path, **environment}, capture_output=True, check=False
    )


def test_same_input_same_bytes_wherever_and_whenever(project, tmp_path):
    """G8: another hash seed, another working directory, another place of the project, another locale."""
    shutil.copytree(project, tmp_path / "elsewhere")
    process("compile", project, "--dump", "all", PYTHONHASHSEED="1")
    process("compile", "elsewhere", "--dump", "all", cwd=tmp_path, PYTHONHASHSEED="4242", LC_ALL="C", TZ="Asia/Tokyo")
    one, other = snapshot(project / "out"), snapshot(tmp_path / "elsewhere" / "out")
    assert list(one) == list(other)
    assert [name for name in one if one[name] != other[name]] == []
    assert set(MADE) < set(one)


def test_help_does_not_wait_for_the_mathematics():
    script = (
        "import sys\n"
        "from choreo.cli import main\n"
        "try:\n    main(['--help'])\n"
        "except SystemExit as done:\n    assert done.code == 0\n"
        "heavy = {'numpy', 'shapely', 'networkx', 'highspy', 'jsonschema', 'scipy'} & set(sys.modules)\n"
        "sys.exit(f'imported: {sorted(heavy)}' if heavy else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(b"usage: choreo")


def test_a_terminal_without_letters_gets_numbers(project):
    write(project, changed(name="Schächtelchen 盒 (invented)"))
    done = process("check", project, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"Sch\\xe4chtelchen \\u76d2" in done.stdout
    said = json.loads(process("check", project, "--json", PYTHONIOENCODING="ascii", PYTHONUTF8="0").stdout)
    assert said["assembly"] == "Schächtelchen 盒 (invented)"


@pytest.mark.skipif(sys.platform == "win32", reason="file names are text there")
def test_a_file_name_that_is_no_text(tmp_path):
    for more in ((), ("--json",)):
        done = process("check", os.fsdecode(os.fsencode(tmp_path) + b"/\xff\xfe"), *more)
        assert done.returncode == 2
        assert b"Traceback" not in done.stderr
    assert json.loads(done.stdout)["exit"] == 2


@pytest.mark.skipif(sys.platform == "win32", reason="pipes break otherwise there")
def test_a_reader_that_leaves_early(project):
    reader, writer = os.pipe()
    os.close(reader)
    command = [sys.executable, "-m", "choreo", "check", str(project)]
    done = subprocess.run(command, cwd=ROOT, stdout=writer, stderr=subprocess.PIPE, check=False)
    os.close(writer)
    assert (done.returncode, done.stderr) == (0, b"")


def test_an_interlock_is_drawn_and_nothing_else_is_touched(tmp_path, capsys):
    shutil.copytree(ROOT / "demo_assemblies" / "interlocked", tmp_path / "trivet")
    out = tmp_path / "out"
    out.mkdir()
    (out / "tracks.json").write_text("as it was")
    code, _, err = run(capsys, "compile", tmp_path / "trivet", "--out", out)
    assert code == 1
    assert f"nothing was written but {out / 'interlock.svg'}" in err
    assert sorted(path.name for path in out.iterdir()) == ["interlock.svg", "tracks.json"]
    assert (out / "tracks.json").read_text() == "as it was"
    assert "The ring that closes" in (out / "interlock.svg").read_text()
    code, said, _ = run(capsys, "compile", tmp_path / "trivet", "--out", out, "--json")
    assert json.loads(said)["files"] == [str(out / "interlock.svg")]
