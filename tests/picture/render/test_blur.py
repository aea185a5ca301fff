"""Blur with steps of each part's own, against means of whole pictures, and against what must be so."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scenes import SIZE, box, part, renderer, shot_of

from choreo.geometry.cameras.camera import orthographic_camera
from choreo.model.tracks import Key
from choreo.picture.render import frame as frame_module
from choreo.picture.render.blur import ERROR, STILL_PX, Exposure, exposure, samples_for

KEYS = (Key(0, 0.0), Key(4, 1.0))


def scene(moves, z=None):
    """Boxes that move at so many px a frame, 2 px a mm, y down; all of a frame is exposed."""
    parts, routes = [], {}
    for number, (name, (ring, colour, way)) in enumerate(moves.items()):
        parts.append(part(name, box(*ring), z or (3 * number, 3 * number + 1), colour))
        routes[name] = [[0, 0, 0], [2 * way[0], -2 * way[1], 0]]
    shot = shot_of(parts, tuple(moves), routes=routes, keys=dict.fromkeys(moves, KEYS))
    return parts, shot


def every_instant(times):
    """An exposure that shows all parts at each of many instants."""

    def made(frame, span, ways):
        return Exposure(tuple(frame + span * ((step + 0.5) / times - 0.5) for step in range(times)), {})

    return made


@given(st.dictionaries(st.sampled_from("abcdef"), st.floats(0, 130), min_size=1), st.integers(0, 90))
def test_own_times_keep_the_middle_and_the_bound(ways, frame):
    found = exposure(frame, 0.5, ways)
    count = len(found.times)
    assert np.mean(found.times) == pytest.approx(frame, abs=1e-9)
    for name, way in ways.items():
        times = found.own.get(name, found.times)
        assert len(times) == count
        assert np.mean(times) == pytest.approx(frame, abs=1e-9)
        assert list(times) == sorted(times)
        # A step stands for the times about it: none of them is farther away than half of what the bound allows.
        assert np.abs(np.subtract(times, found.times)).max() <= 0.5 / (2 * samples_for(way)) - 0.25 / count + 1e-9
        if way <= STILL_PX:
            assert set(times) == {float(frame)}


@pytest.mark.parametrize("way", [(20.0, 2.0), (-33.0, 1.1), (7.0, -0.7)])
def test_what_slides_along_an_edge_shows_no_gap(way):
    """Both go down a little, and one of them, whose steps are many, along the other: nothing shines through between."""
    start = -way[0]  # so that it is in the middle on frame 2
    moves = {
        "slow": ((-28, -18, 28, 2), "#ffffff", (0, way[1])),
        "fast": ((start - 22, 2, start + 22, 16), "#ffffff", way),
    }
    parts, shot = scene(moves)
    picture = renderer(parts, shutter=360.0).picture(shot, 2)
    # Where both are all the while.
    half = 44 - int(abs(way[0]) / 2) - 2
    inside = picture[25:65, 60 - half : 60 + half, 3]
    assert inside.size > 1000
    assert inside.min() > 1 - ERROR


@pytest.mark.parametrize(
    ("slow", "fast"),
    [((0.6, 0.3), (14.0, 6.0)), ((1.7, -2.0), (-31.0, 2.0)), ((0.0, 0.0), (9.0, 9.0)), ((5, 0), (17, 0))],
)
def test_crossing_edges_are_as_in_the_mean_of_whole_pictures(slow, fast, monkeypatch):
    moves = {
        "under": ((-20, -15, 14, 13), "#ff2000", slow),
        "over": ((-7, -18, 5, 11), "#00ff80", fast),
        "still": ((-24, -4, -2, 3), "#2040ff", (0, 0)),
    }
    parts, shot = scene(moves)
    monkeypatch.setattr(frame_module, "lenders", lambda moments, _: list(moments))  # that is another test's
    view = renderer(parts, shutter=360.0)
    moments = view._moments(shot, 2)
    kinds = [len({id(moment.parts[name]) for moment in moments}) for name in moves]
    assert kinds[0] < kinds[1], "the slow part takes fewer steps"
    found = view.picture(shot, 2)
    monkeypatch.setattr(frame_module, "exposure", every_instant(4 * len(moments)))
    true = renderer(parts, shutter=360.0).picture(shot, 2)
    off = np.abs(found - true).max(axis=2)
    # One edge is off by ERROR at most; where two cross, both are.
    assert off.max() <= 2 * ERROR + 1e-3
    assert (off > ERROR + 1e-3).sum() <= 40


def test_parts_with_one_outline_stay_one_under_blur():
    """One hidden exactly by another, that is turned toward it by the camera alone: the hidden one never peeps out."""
    camera = np.stack([orthographic_camera(0, 0, (-2.0 * k, 0.4 * k, 0), 2.0, SIZE).matrix for k in range(4)])
    ring = box(-10.2, -7.7, 9.9, 8.3, 23)
    fast = part("fast", box(-40, -12, -30, 12), (8, 9), "#ffffff")
    parts = [part("far", ring, (0, 1), "#ff0000"), part("near", ring, (4, 5), "#00ff00"), fast]
    shot = shot_of(
        parts, ("far", "near", "fast"), routes={"fast": [[0, 0, 0], [20, 0, 0]]}, keys={"fast": KEYS}, camera=camera
    )
    view = renderer(parts, shutter=360.0)
    assert view.coverage(shot, 1, "far").max() < 1e-5
    moments = view._moments(shot, 1)
    assert all(moment.parts["far"].time == moment.parts["near"].time for moment in moments)


def test_the_order_of_asking_does_not_matter():
    moves = {"under": ((-20, -15, 14, 13), "#ff2000", (1, 1)), "over": ((-7, -18, 5, 11), "#00ff80", (9, 3))}
    parts, shot = scene(moves)
    fresh = [renderer(parts, shutter=180.0).picture(shot, frame).tobytes() for frame in range(4)]
    for order in itertools.permutations(range(4)):
        view = renderer(parts, shutter=180.0)
        assert all(view.picture(shot, frame).tobytes() == fresh[frame] for frame in order)
