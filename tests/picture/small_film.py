"""A small film for the tests of pictures: a tin with a lid and a knob, invented, seen straight from the front.

10 px a mm, the origin in the middle of a frame of 640 x 360 px. Everything about it can be worked out by hand.
"""

from __future__ import annotations

import numpy as np

from choreo.geometry.solids.solid import Solid, build_solid
from choreo.model.assembly import Assembly, Part, Ring, Slab
from choreo.model.plan import Region
from choreo.model.report import MoveReport, PartReport, Report, ShotReport
from choreo.model.tracks import Holdout, Key, Masking, OrderSpan, PartTrack, ShotTracks, Tracks
from choreo.motion.law import evaluate_keys
from choreo.motion.path import lengths, position

RESOLUTION = (640, 360)
MATRIX = np.array([[10.0, 0, 0, 320], [0, -10.0, 0, 180], [0, 0, 0, 1]])
MARGINS = (32.0, 18.0, 32.0, 18.0)
DIGESTS = ("sha256:" + "0123456789abcdef" * 4, "sha256:" + "fedcba9876543210" * 4)


def rect(x0: float, y0: float, x1: float, y1: float) -> Ring:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


TIN = Part("tin", "Tin", "#5b6770", (0, 0, 0), (Slab(rect(-6, -4, 6, 4), (), (0, 5)),))
LID = Part("lid", "Lid", "#c23b22", (0, 0, 0), (Slab(rect(-5, -3, 5, 3), (rect(-1, -1, 1, 1),), (5, 6)),))
KNOB = Part("knob", "Knob", "#1f2a30", (0, 0, 0), (Slab(rect(-2, -2, 2, 2), (), (6, 8)),), "A turned piece of wood.")
ROUTES = {
    "tin": [[0, 0, 0]],
    "lid": [[0, 0, 0], [0, 0, 4], [16, 0, 4]],
    "knob": [[0, 0, 0], [0, 0, 4], [0, 10, 4]],
}
BURST = {"knob": (4, 14), "lid": (8, 18)}
RETURN = {"lid": (0, 10), "knob": (6, 16)}


def solids(parts: tuple[Part, ...] = (TIN, LID, KNOB)) -> dict[str, Solid]:
    return {part.id: build_solid(part.slabs, part.offset) for part in parts}


def keys(move: tuple[int, int] | None, kind: str) -> tuple[Key, ...]:
    if move is None:
        return (Key(0, 0.0),)
    first, last = (0.0, 1.0) if kind == "explode" else (1.0, 0.0)
    return (Key(move[0], first), Key(move[1], last))


def shot(name: str, kind: str, moves: dict[str, tuple[int, int]], frames: int, start: int, hero: float) -> ShotTracks:
    parts = []
    for part_id, route in ROUTES.items():
        own = keys(moves.get(part_id), kind)
        where = position(route, evaluate_keys(own, np.arange(frames)))
        screen = where[:, :2] * [10.0, -10.0] + MATRIX[:2, 3]
        ones = np.ones(frames)
        parts.append(PartTrack(part_id, np.array(route, float), own, where, screen, 10 * ones, ones, (None,) * frames))
    opacity = np.zeros(frames)
    opacity[-1] = hero
    cameras = np.tile(MATRIX, (frames, 1, 1))
    masking = Masking((OrderSpan(0, frames - 1, ("tin", "lid", "knob")),), ())
    return ShotTracks(name, start, frames, cameras, tuple(parts), opacity, masking)


def about(of: ShotTracks, kind: str, moves: dict[str, tuple[int, int]], phase: int) -> ShotReport:
    numbers = {"knob": 1, "lid": 2}
    parts = tuple(
        PartReport(
            part_id,
            numbers.get(part_id),
            None,
            None,
            float(lengths(route)[-1]),
            tuple(np.diff(lengths(route)).tolist()),
            16.0,
            9,
            None,
            tuple(MoveReport(phase, kind, *moves[part_id], moves[part_id][0], "") for _ in [0] if part_id in moves),
        )
        for part_id, route in ROUTES.items()
    )
    return ShotReport(of.name, of.frames, 40.0, 10.0, None, 0, 0, "lid", parts)


def film() -> tuple[Assembly, dict[str, Solid], Tracks, Report]:
    assembly = Assembly("Tin with a knob (invented)", 0.05, (TIN, LID, KNOB))
    burst = shot("burst", "explode", BURST, 26, 0, 0.0)
    back = shot("return", "assemble", RETURN, 24, 26, 1.0)
    reports = (about(burst, "explode", BURST, 1), about(back, "assemble", RETURN, 0))
    tracks = Tracks(*DIGESTS, (24000, 1001), RESOLUTION, (burst, back))
    return assembly, solids(), tracks, Report(assembly.name, "tin", ("knob", "lid"), reports)


def held(region: Ring) -> Masking:
    """The lid drawn over everything, and left out where the region says."""
    return Masking((OrderSpan(0, 25, ("tin", "knob", "lid")),), (Holdout("lid", 0, 25, (Region(region),), ("knob",)),))
