"""The demos' plates: what the script makes is what lies in the folder, and they meet their hero still."""

from __future__ import annotations

import importlib.util
import io
import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image

from choreo.commands.registering import Met, meet, met_data, met_words
from choreo.compile import take_apart
from choreo.read.project import read_project

DEMOS = Path(__file__).parents[1] / "demo_assemblies"
PLATED = ("headlamp",)
# By hand, from how the product is put together: what no camera can see of the finished one.
HIDDEN = {"headlamp": {"door", "cell", "board", "reflector", "seal"}}
MEASURED_AGAIN = {"headlamp": ("button", "screw_1")}


@cache
def studio(demo: str):
    """The demo's own script."""
    spec = importlib.util.spec_from_file_location(f"{demo}_plates", DEMOS / demo / "make_plates.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def session(demo: str):
    return studio(demo).SESSION


def assembly(demo: str) -> dict:
    return json.loads((DEMOS / demo / "assembly.json").read_text(encoding="utf-8"))


def pixels(content: bytes | Path) -> np.ndarray:
    """Read by another library than the compiler's."""
    with Image.open(io.BytesIO(content) if isinstance(content, bytes) else content) as image:
        assert image.mode == "RGBA"
        return np.asarray(image).astype(int)


@cache
def met(demo: str) -> Met:
    """What `check` works out of a demo."""
    project = read_project(DEMOS / demo)
    return meet(project, take_apart(project.assembly))


@pytest.mark.parametrize("demo", PLATED)
def test_the_hand_off_is_off_by_less_than_half_a_px(demo):
    assert met(demo).warnings == ()
    found = met_data(met(demo))
    parts = {part["part"]: part for part in found["parts"]}
    assert list(parts) == [part["id"] for part in assembly(demo)["parts"]]
    assert {name for name, part in parts.items() if part["verdict"] == "hidden"} == HIDDEN[demo]
    measured = {name: part["worst_px"] for name, part in parts.items() if name not in HIDDEN[demo]}
    assert all(parts[name]["verdict"] == "within" for name in measured)
    assert max(measured.values()) < 0.5
    assert found["stack"]["mean_px"] < 0.05


@pytest.mark.parametrize("demo", PLATED)
def test_the_residual_of_each_part_is_said(demo):
    stack, *said = met_words(met(demo))
    assert stack.startswith("The stack meets the hero still to 0.5 px")
    for part in assembly(demo)["parts"]:
        words = "not seen on the still" if part["id"] in HIDDEN[demo] else "within 0.5 px. It is 0.0"
        assert any(line.startswith(f"  {part['id']}: {words}") for line in said)


@pytest.mark.parametrize("demo", PLATED)
def test_the_script_makes_the_files_that_are_there(demo):
    assert session(demo).entries() == {key: assembly(demo)[key] for key in ("plates", "hero")}
    for part in MEASURED_AGAIN[demo]:
        name, content = next(studio(demo).pictures(session(demo), [part]))
        made, kept = pixels(content), pixels(DEMOS / demo / name)
        assert np.array_equal(made[..., 3], kept[..., 3])
        # One code, for a machine whose sums round otherwise.
        assert np.abs(made - kept).max() <= 1
        assert next(studio(demo).pictures(session(demo), [part])) == (name, content)


@pytest.mark.parametrize("demo", PLATED)
def test_edges_are_the_true_area(demo):
    # A parallel camera sees a stack of slabs from the front as the union of their outlines, so the alphas of all
    # pixels must add up to that area, to the rounding of each edge pixel (1/255 at most, and as often up as down).
    data = assembly(demo)
    plates = {plate["part"]: plate for plate in data["plates"] if "frames" not in plate}
    assert len(plates) == len(data["parts"])
    for part in data["parts"]:
        plate = plates[part["id"]]
        if plate["view"] != {"azimuth": 0, "elevation": 0}:
            continue
        alpha = pixels(DEMOS / demo / plate["file"])[..., 3] / 255
        area = shapely.union_all([shapely.Polygon(s["outline"], s.get("holes", ())) for s in part["slabs"]]).area
        soft = ((alpha > 0) & (alpha < 1)).sum()
        assert alpha.sum() == pytest.approx(area * plate["px_per_mm"] ** 2, abs=0.01 * soft)
        assert soft > 20


@pytest.mark.parametrize("demo", PLATED)
def test_the_folder_is_small(demo):
    assert sum(file.stat().st_size for file in (DEMOS / demo).rglob("*.png")) < 6e6
