"""One invented product in any size: a tray with stations, each a bush, a ring around it, a cap and a screw.

The same size gives the same product and the same film. Stations stand in a square grid; a size that is no
multiple of four leaves the last station with fewer parts. All data is invented.
"""

from __future__ import annotations

import math

from choreo.model.assembly import Assembly, Joint, Part, Ring, Slab
from choreo.model.choreography import Choreography, FrameRate, Orbit, PartMotion, Phase, Shot, View

FRAMES = 300
MOVE = 20
PITCH_MM = 40.0
CORNERS = 24
UP = (0.0, 0.0, 1.0)

VIEWS = {
    "plan": (View("orthographic"), None),
    "orbit": (
        View("perspective", 25.0, 35.0, focal_mm=85.0, sensor_mm=(36.0, 20.25)),
        Orbit(azimuth=20.0),
    ),
}
"""Name of a variant: its view and orbit."""


def product(count: int) -> Assembly:
    """Return the product with `count` parts, the tray included."""
    stations = math.ceil((count - 1) / 4)
    side = math.ceil(math.sqrt(stations))
    centres = [(PITCH_MM * (k % side), PITCH_MM * (k // side)) for k in range(stations)]
    rows = math.ceil(stations / side)
    low, high = -PITCH_MM / 2, (PITCH_MM * (side - 0.5), PITCH_MM * (rows - 0.5))
    outline = ((low, low), (high[0], low), high, (low, high[1]))
    tray = Part(
        "tray", "Tray", "#56636e", (0.0, 0.0, 0.0),
        (
            Slab(outline, (), (0.0, 2.0)),
            Slab(outline, tuple(_circle(8.0, at)[::-1] for at in centres), (2.0, 8.0)),
        ),
    )  # fmt: skip
    parts, joints = [tray], []
    for number, at in enumerate(centres):
        for kind in ("bush", "ring", "cap", "screw")[: count - len(parts)]:
            name = f"{kind}_{number + 1}"
            parts.append(Part(name, name, _COLOURS[kind], (*at, 0.0), _SLABS[kind]))
            joints.append(Joint("insert", name, "tray", UP))
    return Assembly(f"Tray of {count} parts (invented)", 0.05, tuple(parts), tuple(joints))


def film(count: int, variant: str) -> Choreography:
    """Return a film of `FRAMES` frames in which all parts but the tray leave one after the other."""
    view, orbit = VIEWS[variant]
    stagger = min(6, (FRAMES - 60 - MOVE - 1) // (count - 2))
    motion = PartMotion("cubic-bezier(0.3, 0, 0.1, 1)", MOVE)
    phases = (
        Phase("hold", 20),
        Phase("explode", FRAMES - 60, stagger, motion),
        Phase("hold", 40),
    )
    shot = Shot("growth", view, phases, orbit)
    return Choreography("assembly.json", FrameRate(25), (1920, 1080), (0.05, 0.05, 0.05, 0.05), 6.0, 0.3, (shot,))


def _circle(radius: float, at: tuple[float, float] = (0.0, 0.0)) -> Ring:
    turns = [2 * math.pi * k / CORNERS for k in range(CORNERS)]
    return tuple((at[0] + radius * math.cos(turn), at[1] + radius * math.sin(turn)) for turn in turns)


_COLOURS = {"bush": "#b9a05a", "ring": "#c4552d", "cap": "#8b7fa3", "screw": "#b4bdc4"}
_SLABS = {
    "bush": (
        Slab(_circle(8.0), (_circle(2.0)[::-1],), (2.0, 8.0)),
        Slab(_circle(6.0), (_circle(2.0)[::-1],), (8.0, 14.0)),
    ),
    "ring": (Slab(_circle(14.0), (_circle(6.0)[::-1],), (8.0, 12.0)),),
    "cap": (
        Slab(_circle(11.0), (_circle(6.0)[::-1],), (12.0, 14.0)),
        Slab(_circle(11.0), (_circle(2.0)[::-1],), (14.0, 17.0)),
    ),
    "screw": (
        Slab(_circle(2.0), (), (5.0, 17.0)),
        Slab(_circle(4.0), (), (17.0, 20.0)),
    ),
}
