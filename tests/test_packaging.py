"""The wheel holds all that a user needs, and works away from the checkout."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory):
    """The wheel, built from the checkout and unpacked where no checkout is near."""
    folder = tmp_path_factory.mktemp("wheel")
    script = (
        "import sys; from hatchling.builders.wheel import WheelBuilder; "
        "print(next(WheelBuilder(sys.argv[1]).build(directory=sys.argv[2], versions=['standard'])))"
    )
    built = subprocess.run(
        [sys.executable, "-c", script, str(ROOT), str(folder)], check=True, capture_output=True, text=True
    )
    target = folder / "site"
    with zipfile.ZipFile(built.stdout.strip().splitlines()[-1]) as wheel:
        wheel.extractall(target)
    return target


def run(unpacked, cwd, *arguments):
    environment = {**os.environ, "PYTHONPATH": str(unpacked)}
    return subprocess.run(
        [sys.executable, "-m", "choreo", *arguments],
        cwd=cwd,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_wheel_holds_schemas_and_demos(unpacked):
    names = sorted(path.name for path in (unpacked / "choreo" / "schemas").iterdir())
    assert names == [
        f"{name}.schema.json" for name in ("assembly", "choreography", "director", "layer-order", "sign-off", "tracks")
    ]
    for demo in ("headlamp", "headlamp_late_part", "hand_grinder", "layers_only", "interlocked"):
        assert (unpacked / "choreo" / "demo_assemblies" / demo / "choreography.toml").is_file()
        assert not (unpacked / "choreo" / "demo_assemblies" / demo / "out").exists()
    assert (unpacked / "choreo" / "demo_assemblies" / "headlamp" / "plates" / "hero.png").is_file()
    assert not list((unpacked / "choreo" / "demo_assemblies").rglob("__pycache__"))


def test_the_wheel_holds_all_of_the_review_page(unpacked):
    names = {path.name for path in (unpacked / "choreo" / "picture" / "page").iterdir()}
    assert {"page.css", "picture.js", "player.js", "marks.js", "start.js"} <= names


def test_the_wheel_compiles_its_own_demo_away_from_the_checkout(unpacked, tmp_path):
    demo = unpacked / "choreo" / "demo_assemblies" / "layers_only"
    done = run(unpacked, tmp_path, "compile", str(demo), "--out", str(tmp_path / "out"))
    assert done.returncode == 0, done.stderr
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["report.json", "strip.svg", "tracks.json"]
    # It really was the wheel that ran.
    where = subprocess.run(
        [sys.executable, "-c", "import choreo; print(choreo.__file__)"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(unpacked)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert str(unpacked) in where.stdout
