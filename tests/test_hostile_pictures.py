"""Pictures from anywhere: whatever is wrong with one is a finding, in every place where a picture is read."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys

import pytest
from hostile_pictures import BYTES, NODES, SOUND, lay
from photographed_project import write_project
from test_architecture import ROOT

from choreo.cli import main


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    return write_project(tmp_path_factory.mktemp("sound") / "p")


@pytest.fixture
def folder(sound, tmp_path):
    """A folder of two plates and a still."""
    for name in ("shell", "cap", "hero"):
        shutil.copy(sound / "plates" / f"{name}.png", tmp_path / f"{name}.png")
    return tmp_path


def findings(capsys, *arguments):
    """Exit code, and codes of what is said; the usual remarks about plates that are shown large are left out."""
    code = main([*map(str, arguments), "--json"])
    said = json.loads(capsys.readouterr().out)
    listed = [*said.get("findings", ()), *said.get("warnings", ())]
    return code, [one["code"] for one in listed if one["code"] not in {"plate-enlarged", "no-plate"}]


def put(path, name):
    """Put something hostile there, and return the code that its finding should have."""
    path.unlink(missing_ok=True)
    if name in BYTES:
        return lay(path, name)
    NODES[name][0](path)
    return NODES[name][1]


def new(capsys, folder, *more):
    return findings(capsys, "new", folder, "--scale", "shell=16mm", *more)


@pytest.mark.parametrize("name", [*BYTES, *NODES])
def test_among_plates(folder, name, capsys):
    code = put(folder / "cap.png", name)
    found = new(capsys, folder)
    assert found == (2, [code or "unreadable"])
    assert not (folder / "assembly.json").exists()


@pytest.mark.parametrize("name", [*BYTES, *NODES])
def test_as_the_still_of_a_new_project(folder, name, capsys):
    code = put(folder / "hero.png", name)
    if name == "without alpha":  # it may be so; but this one is of another frame, and shows nothing of the plates
        code = "plate-not-found"
    exit_code, said = new(capsys, folder, "--hero", "hero.png")
    assert exit_code == 2
    assert set(said) == {code or "unreadable"}


@pytest.mark.parametrize("role", ["cap", "hero"])
@pytest.mark.parametrize("name", [*BYTES, *NODES])
def test_in_a_project_it_is_one_warning(sound, tmp_path, name, role, capsys):
    project = tmp_path / "p"
    shutil.copytree(sound, project)
    code = put(project / "plates" / f"{role}.png", name)
    exit_code, said = findings(capsys, "check", project)
    if name == "a link that leads out":  # a project that reaches out of its folder is wrong as a whole
        assert (exit_code, said) == (2, ["path-outside"])
        return
    if name in NODES:
        code = "missing-plate"
    if (name, role) == ("without alpha", "hero"):
        code = "hero-without-matte"
    assert (exit_code, said) == (0, [code])


@pytest.mark.parametrize("name", [*BYTES, *NODES])
def test_as_an_outline_it_is_wrong_input(sound, tmp_path, name, capsys):
    project = tmp_path / "p"
    shutil.copytree(sound, project)
    data = json.loads((project / "assembly.json").read_text())
    data["parts"][1]["slabs"][0]["outline"] = {"matte": "cap.png", "px_per_mm": 10, "pivot_px": [90, 80]}
    (project / "assembly.json").write_text(json.dumps(data))
    code = put(project / "cap.png", name)
    assert findings(capsys, "check", project) == (2, [code or "unreadable"])


@pytest.mark.parametrize(
    ("hero", "code"),
    [
        ("../outside.png", "path-outside"),
        ("/etc/hostname", "path-outside"),
        ("..", "path-outside"),
        ("a\\b.png", "path-outside"),
        ("", "path-outside"),
        ("\udcff.png", "not-utf-8"),
        ("a\nb.png", "not-utf-8"),
        ("shot.####.png", "not-a-sequence"),
    ],
)
def test_names_of_the_still(folder, hero, code, capsys):
    (folder.parent / "outside.png").write_bytes(SOUND)
    assert new(capsys, folder, "--hero", hero) == (2, [code])


def test_a_still_that_lies_beside_the_folder(folder, capsys, monkeypatch):
    (folder.parent / "beside.png").write_bytes(SOUND)
    monkeypatch.chdir(folder.parent)
    assert new(capsys, folder, "--hero", "beside.png") == (2, ["no-such-file"])
    assert main(["new", str(folder), "--scale", "shell=16mm", "--hero", "beside.png"]) == 2
    said = capsys.readouterr().err
    assert "beside.png in the folder of the plates" in said
    assert "Copy it into that folder" in said


def test_a_still_in_a_folder_below_and_by_a_roundabout_name(folder, capsys):
    (folder / "stills").mkdir()
    (folder / "hero.png").rename(folder / "stills" / "hero.png")
    assert new(capsys, folder, "--hero", "./stills/hero.png")[0] == 0
    assert json.loads((folder / "assembly.json").read_text())["hero"]["file"] == "stills/hero.png"


@pytest.mark.skipif(os.name == "nt", reason="names there are always text")
def test_a_name_that_is_no_text_is_said_and_breaks_no_terminal(folder):
    """Through a real process: what is printed must be fit for a pipe that takes UTF-8 only."""
    shutil.copy(folder / "cap.png", os.fsencode(folder) + b"/\xff\x1b[31m.png")
    command = [sys.executable, "-m", "choreo", "new", os.fspath(folder), "--scale", "shell=16mm"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, check=False)
    assert done.returncode == 2
    assert b"Traceback" not in done.stderr
    assert b"\x1b" not in done.stdout + done.stderr
    (done.stdout + done.stderr).decode("utf-8")
