"""`choreo new` on a demo's cropped plates, as a newcomer runs it: what the still shows lies where it was drawn.

The demo's own assembly.json says where each plate belongs; the project made here knows nothing of it. The still was
drawn from the solids with shading between parts, the plates one by one.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from choreo.cli import main

DEMO = Path(__file__).resolve().parents[1] / "demo_assemblies" / "headlamp"
HIDDEN = ["board", "cell", "door", "reflector", "seal"]
"""Parts of which `choreo check` says that the still shows nothing."""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("new") / "my_plates"
    shutil.copytree(DEMO / "plates", folder)
    with pytest.MonkeyPatch.context() as patch:
        said = []
        patch.setattr("sys.stdout.write", said.append, raising=False)
        assert main(["new", str(folder), "--scale", "shell=66mm", "--hero", "hero.png", "--json"]) == 0
    return folder, json.loads((folder / "assembly.json").read_text()), json.loads("".join(said))


def shifts(data):
    """Plate px to px of the still: scale, turn and shift of each part."""
    still, offsets = data["hero"], {part["id"]: part["offset"] for part in data["parts"]}
    for plate in data["plates"]:
        x, y, _ = offsets[plate["part"]]
        origin = np.array(still["pivot_px"]) + still["px_per_mm"] * np.array([x, -y])
        scale, turn = still["px_per_mm"] / plate["px_per_mm"], np.radians(plate.get("turn", 0.0))
        matrix = scale * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        yield plate["part"], matrix, origin - matrix @ np.array(plate["pivot_px"])


def test_what_the_still_shows_lies_where_it_was_drawn(made):
    folder, data, _ = made
    drawn = {part: (matrix, shift) for part, matrix, shift in shifts(json.loads((DEMO / "assembly.json").read_text()))}
    off = {}
    for part, matrix, shift in shifts(data):
        width, height = Image.open(folder / f"{part}.png").size
        corners = np.array([[0, 0], [width, 0], [0, height], [width, height]])
        there, right = (corners @ m.T + s for m, s in ((matrix, shift), drawn[part]))
        off[part] = float(np.hypot(*(there - right).T).max())
    assert len(off) == 16
    assert {part for part, px in off.items() if px > 0.5} <= set(HIDDEN)


def test_hidden_parts_are_named_in_one_warning_and_nothing_else_is_wrong(made):
    _, data, said = made
    assert [one["code"] for one in said["warnings"]] == ["plate-unseen"]
    assert f"Not found on hero.png: {', '.join(HIDDEN)}." in said["warnings"][0]["what"]
    assert "hero" not in said["parts"]
    assert data["hero"]["px_per_mm"] == pytest.approx(10, rel=1e-3)


def test_stacked_as_the_project_says_the_plates_look_like_the_still(made):
    """Laid over each other by Pillow in the project's order; file names alone put the shell over the lens."""
    folder, data, said = made
    assert "hero.png for" in said["order"]
    still = Image.open(folder / "hero.png").convert("RGBA")
    whole = {part: shift for part, _, shift in shifts(data)}
    wrong = {}
    for name, order in (("read", said["parts"]), ("files", sorted(said["parts"]))):
        stack = Image.new("RGBA", still.size)
        for part in order:
            layer = Image.new("RGBA", still.size)
            layer.paste(Image.open(folder / f"{part}.png").convert("RGBA"), tuple(np.rint(whole[part]).astype(int)))
            stack = Image.alpha_composite(stack, layer)
        difference = np.abs(np.asarray(stack, float) - np.asarray(still, float)).max(axis=2)
        wrong[name] = float((difference > 64).mean())
    assert wrong["read"] < 0.02
    assert wrong["files"] > 0.1


def test_it_compiles(made):
    assert main(["compile", str(made[0])]) == 0
