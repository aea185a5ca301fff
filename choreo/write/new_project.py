"""The two files of a new project, from plates that are traced and placed.

Photographs know no depth: layers stand in for it, so that each part can leave toward the viewer and the project
compiles at once; real depths and joints are for the user to add.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.model.assembly import Point
from choreo.model.new_plates import PlacedHero, PlacedPlate
from choreo.model.plan import Floats
from choreo.write.json_text import readable
from choreo.write.numbers import plain_number

LAYER_MM = 4.0
_MM_DIGITS = 3
"""Outlines in thousandths of a mm: finer than any plate can show."""
_PX_DIGITS = 3
_SCALE_DIGITS = 6
_TURN_DIGITS = 4
"""Degrees."""
_MOVE, _STAGGER, _HOLD, _LOOK = 20, 8, 12, 36


def assembly_text(name: str, plates: Sequence[PlacedPlate], hero: PlacedHero | None) -> str:
    """Return the content of `assembly.json`.

    Parameters
    ----------
    name : str
        Of the product.
    plates : sequence of PlacedPlate
        Back to front.
    hero : PlacedHero, optional

    """
    content: dict[str, Any] = {
        "format": "choreo/assembly",
        "version": 1,
        "name": name,
        "layer_mm": plain_number(LAYER_MM, _MM_DIGITS),
        "parts": [_part(plate) for plate in plates],
        "plates": [_plate(plate) for plate in plates if not plate.keyed],
    }
    content = {key: value for key, value in content.items() if value != []}
    if hero is not None:
        content["hero"] = _picture(hero.file, hero.px_per_mm, hero.pivot_px, 0.0)
    return readable(content) + "\n"


def choreography_text(
    name: str, parts: Sequence[str], *, resolution: tuple[int, int] = (1920, 1080), hero: bool = False
) -> str:
    """Return the content of a `choreography.toml` that compiles at once, with a word on every line that matters.

    Parameters
    ----------
    name : str
        Of the product.
    parts : sequence of str
        Ids, back to front.
    resolution : (width, height)
        px.
    hero : bool
        Whether a hero still takes over at both ends.

    """
    moving = max(len(parts) - 1, 1)
    frames = (moving - 1) * _STAGGER + _MOVE + 1
    example = parts[-1]
    handoff = _HANDOFF_LINES if hero else ""
    return _TEMPLATE.format(
        name=_one_line(name),
        width=resolution[0],
        height=resolution[1],
        move=_MOVE,
        stagger=_STAGGER,
        hold=_HOLD,
        look=_LOOK,
        frames=frames,
        sum=f"{moving - 1} x {_STAGGER} + {_MOVE} + 1 = {frames}",
        moving=moving,
        example=example,
        handoff=handoff,
    )


def _part(plate: PlacedPlate) -> dict[str, Any]:
    found: dict[str, Any] = {
        "id": plate.id,
        "label": plate.label,
        "colour": plate.colour,
        "offset": [*_short(plate.offset_mm, _offset_digits(plate)), 0],
        "slabs": [_slab(plate, polygon) for polygon in plate.polygons],
    }
    if plate.keyed:
        found["stand_in"] = (
            f"outline keyed roughly from a {plate.keyed} screen, for planning only: key {plate.file} properly"
        )
    return found


def _slab(plate: PlacedPlate, polygon: BaseGeometry) -> dict[str, Any]:
    holes = [_ring(plate, ring) for ring in polygon.interiors]
    return {"outline": _ring(plate, polygon.exterior), **({"holes": holes} if holes else {}), "layer": plate.layer}


def _ring(plate: PlacedPlate, ring: BaseGeometry) -> list[list[float]]:
    px = shapely.get_coordinates(ring)[:-1]
    turn = np.radians(_turn(plate))
    level = (px - np.array(plate.pivot_px)) @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    mm: Floats = level * np.array([1.0, -1.0]) / plate.px_per_mm
    points = [_short(point, _MM_DIGITS) for point in mm.tolist()]
    return [point for point, before in zip(points, [points[-1], *points[:-1]], strict=True) if point != before]


def _plate(plate: PlacedPlate) -> dict[str, Any]:
    found = {"part": plate.id, **_picture(plate.file, plate.px_per_mm, plate.pivot_px, _turn(plate))}
    return found if plate.frames is None else {**found, "frames": list(plate.frames)}


def _picture(file: str, px_per_mm: float, pivot_px: Point, turn: float) -> dict[str, Any]:
    numbers = {
        "file": file,
        "px_per_mm": plain_number(px_per_mm, _SCALE_DIGITS),
        "pivot_px": _short(pivot_px, _PX_DIGITS),
    }
    return {**numbers, "turn": plain_number(turn, _TURN_DIGITS)} if turn else numbers


def _turn(plate: PlacedPlate) -> float:
    return float(round(plate.turn, _TURN_DIGITS))


def _offset_digits(plate: PlacedPlate) -> int:
    """Enough for a hundredth of a px; a thousandth of a mm at least."""
    return max(_MM_DIGITS, math.ceil(math.log10(50 * plate.px_per_mm)))


def _short(values: Sequence[float], digits: int) -> list[float]:
    return [plain_number(value, digits) for value in values]


def _one_line(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


_HANDOFF_LINES = """
  [shot.handoff]
  frames = 8          # the hero still fades in over the stack in so many frames, part by part as they come home
  # each_part = false # it waits until all are home; for stills with long shadows
"""

_TEMPLATE = """\
# {name}: how it bursts apart and comes back together.
#
# This file was written from the plates as a start, and is yours from here on. Save it, compile, look at the strip:
#     choreo compile .
# All times are frames, all lengths mm, all angles degrees.

format = "choreo/choreography"
version = 1
assembly = "assembly.json"
frame_rate = "24"                 # or "25", "24000/1001", ...
resolution = [{width}, {height}]
safe_area = "ebu-r95-graphics"    # or margins of your own: [0.05, 0.05, 0.05, 0.05], left top right bottom

[defaults]
easing = "ease-in-out"   # or "linear", "min-jerk", "cubic-bezier(0.3, 0, 0.1, 1)"
move = {move}                # frames one part takes
stagger = {stagger}              # frames between two parts that start one after another
gap_px = 24              # clear space between the parts once they rest
clearance_mm = 0.5       # air between moving parts that do not slide along each other


# Shot 1: the product bursts. {moving} parts move: {sum} frames.
[[shot]]
name = "burst"
view = {{ projection = "orthographic", azimuth = 0, elevation = 0, px_per_mm = "fit" }}

  [[shot.phase]]
  kind = "hold"
  frames = {hold}

  [[shot.phase]]
  kind = "explode"
  frames = {frames}

    # One part may have a mind of its own; take the marks away to try it.
    # [shot.phase.part.{example}]
    # easing = "min-jerk"
    # delay = 6

  [[shot.phase]]
  kind = "hold"            # the exploded picture; long enough to read
  frames = {look}
{handoff}

# Shot 2: it comes back together.
[[shot]]
name = "return"
view = {{ projection = "orthographic", azimuth = 0, elevation = 0, px_per_mm = "fit" }}

  [[shot.phase]]
  kind = "hold"
  frames = {hold}

  [[shot.phase]]
  kind = "assemble"
  frames = {frames}
  easing = "ease-out"

  [[shot.phase]]
  kind = "hold"
  frames = {hold}
{handoff}"""
