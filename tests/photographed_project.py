"""The photographed product of `photographed.py` as a project on disk: PNG plates and hero, drawn independently."""

from __future__ import annotations

import json

import numpy as np
from photographed import HERO, OFFSETS, SHAPES, TRUE, hero_still, photograph
from pictures import write_png

LAYERS = {"shell": (0.0, 4.0), "cap": (4.0, 8.0), "dial": (4.0, 8.0)}

CHOREOGRAPHY = """
format = "choreo/choreography"
version = 1
frame_rate = "24"
resolution = [{width}, {height}]
safe_area = [0.02, 0.02, 0.02, 0.02]

[defaults]
move = 8
stagger = 2
gap_px = 4

[[shot]]
name = "return"
view = {{ projection = "orthographic", azimuth = {azimuth}, elevation = 0, px_per_mm = {px_per_mm} }}
  [[shot.phase]]
  kind = "assemble"
  frames = 14
  [[shot.phase]]
  kind = "hold"
  frames = 6
  [shot.handoff]
  frames = 4
  {handoff}
"""


def rgba8(photo):
    return np.rint(np.clip(np.dstack([photo.colour, photo.alpha]), 0, 1) * 255).astype(np.uint8)


def data(wrong=None):
    """The assembly with the true numbers (but no turn), or those that are given as (px_per_mm, pivot[, turn])."""
    parts, plates = [], []
    for part, shape in SHAPES.items():
        outline = (shape * [0.1, -0.1]).tolist()
        offset = [*OFFSETS[part][:2], 0]
        slab = {"outline": outline, "z": list(LAYERS[part])}
        parts.append({"id": part, "label": part.title(), "colour": "#5b6770", "offset": offset, "slabs": [slab]})
        scale, pivot, *turn = (wrong or {}).get(part, (TRUE[part].px_per_mm, TRUE[part].pivot_px))
        plates.append({"part": part, "file": f"plates/{part}.png", "px_per_mm": scale, "pivot_px": list(pivot)})
        plates[-1].update({"turn": turn[0]} if turn else {})
    hero = {"file": HERO.file, "px_per_mm": HERO.px_per_mm, "pivot_px": list(HERO.pivot_px)}
    top = {"format": "choreo/assembly", "version": 1, "name": "Invented meter"}
    return {**top, "parts": parts, "plates": plates, "hero": hero}


def write_project(folder, wrong=None, handoff="", resolution=(640, 400), px_per_mm=10, azimuth=0):
    """Return the folder, with both files and all pictures in it."""
    (folder / "plates").mkdir(parents=True)
    for index, part in enumerate(SHAPES):
        write_png(folder / "plates" / f"{part}.png", rgba8(photograph(part, seed=index)))
    write_png(folder / "plates" / "hero.png", rgba8(hero_still()))
    return write_texts(folder, wrong, handoff, resolution, px_per_mm, azimuth)


def write_texts(folder, wrong=None, handoff="", resolution=(640, 400), px_per_mm=10, azimuth=0):
    """Write both files anew; the pictures stay."""
    (folder / "assembly.json").write_text(json.dumps(data(wrong)))
    values = {"width": resolution[0], "height": resolution[1], "px_per_mm": px_per_mm}
    text = CHOREOGRAPHY.format(handoff=handoff, azimuth=azimuth, **values)
    (folder / "choreography.toml").write_text(text)
    return folder
