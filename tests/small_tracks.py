"""Small tracks for the tests of writers: invented data, two parts, a few frames."""

from __future__ import annotations

import numpy as np

from choreo.model.plan import Region
from choreo.model.tracks import FilmSection, Holdout, Key, Masking, OrderSpan, PartTrack, ShotTracks, Tracks
from choreo.motion.law import evaluate_keys
from choreo.motion.path import position

FRAMES = 9
DIGESTS = ("sha256:" + "0123456789abcdef" * 4, "sha256:" + "fedcba9876543210" * 4)
TRIANGLE = ((10.123456, 20.0), (30.0, 20.00004), (30.0, 45.5))
SPECK = ((1.0, 1.0), (1.00001, 1.0), (1.0, 1.00001))
"""Smaller than masks are fine."""


def part(part_id: str, route: list[list[float]], easing: str) -> PartTrack:
    keys = (Key(1, 0.0, easing), Key(7, 1.0))
    where = position(route, evaluate_keys(keys, np.arange(FRAMES)))
    screen = where[:, :2] * [10.0, -10.0] + [960.0, 540.0]
    plates = tuple(None if part_id == "lid" else float(n) for n in range(FRAMES))
    return PartTrack(part_id, np.array(route), keys, where, screen, np.full(FRAMES, 10.0), np.ones(FRAMES), plates)


def small_tracks() -> Tracks:
    cameras = np.tile([[10.0, 0.0, 0.0, 960.0], [0.0, -10.0, -0.0, 540.0], [0.0, 0.0, 0.0, 1.0]], (FRAMES, 1, 1))
    lid = part("lid", [[0, 0, 0], [0, 0, 1 / 3], [10 / 7, 2 / 3, 1 / 3]], "cubic-bezier(0.3, 0, 0.1, 1)")
    box = PartTrack(
        "box",
        np.zeros((1, 3)),
        (Key(0, 0.0),),
        np.zeros((FRAMES, 3)),
        np.full((FRAMES, 2), 7.0),
        np.full(FRAMES, 10.0),
        np.ones(FRAMES),
        (None,) * FRAMES,
    )
    turned = part("knob", [[0, 0, 0], [-12.5, 0, 0]], "min-jerk")
    masking = Masking(
        (OrderSpan(0, 3, ("box", "lid", "knob")), OrderSpan(4, 8, ("box", "knob", "lid"))),
        (
            Holdout("lid", 2, 3, (Region(TRIANGLE, (((24.0, 22.0), (28.0, 22.0), (28.0, 26.0)), SPECK)),), ("box",)),
            Holdout("knob", 4, 4, (Region(SPECK),), ("lid",)),
        ),
    )
    shot = ShotTracks("burst", 0, FRAMES, cameras, (box, lid, turned), np.linspace(0, 1, FRAMES), masking)
    later = ShotTracks(
        "return", FRAMES, FRAMES, cameras, (box, lid, turned), np.zeros(FRAMES), Masking(masking.orders, ())
    )
    sections = (FilmSection("opening", 0, 3), FilmSection("rest", 4, 2 * FRAMES - 1))
    return Tracks(*DIGESTS, (24000, 1001), (1920, 1080), (shot, later), sections)
