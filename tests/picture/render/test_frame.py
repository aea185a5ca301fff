"""Frames: hero, blur and memory."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pictures import coverage as rasterised
from scenes import SIZE, box, part, renderer, shot_of

from choreo.geometry.cameras.camera import orthographic_camera, perspective_camera
from choreo.model.assembly import Slab
from choreo.model.tracks import Key, Spin
from choreo.picture.render import frame as frame_module
from choreo.picture.render.blur import ERROR, samples_for
from choreo.picture.render.colour import to_linear
from choreo.picture.render.moment import moment_at
from choreo.picture.render.plates import PlateImage

BLOCK = part("block", box(-10, -12, -4, 12), (0, 2), "#a0a0a0")


def moving(px_a_frame, hero=None):
    """A block that slides to the right, 2 px a mm."""
    route = {"block": [[0, 0, 0], [4 * px_a_frame / 2, 0, 0]]}
    return shot_of([BLOCK], ("block",), routes=route, keys={"block": (Key(0, 0.0), Key(4, 1.0))}, hero=hero)


def ramp(edge, way, x):
    """Exact: the mean over a pixel of how long an edge at `edge` - way/2 .. + way/2 has passed it, by integration."""
    fine = (np.arange(4000) + 0.5) / 4000
    places = edge + way * (fine - 0.5)
    return np.array([np.clip(column + 1 - places, 0, 1).mean() for column in x])


@pytest.mark.parametrize("px", [0.4, 3.0, 11.0, 37.0])
@pytest.mark.parametrize("shutter", [90.0, 180.0, 360.0])
def test_an_edge_is_blurred_into_the_ramp_of_a_box(px, shutter):
    view, shot = renderer([BLOCK], shutter=shutter), moving(px)
    row = view.picture(shot, 1)[45, :, 3]
    left = 60 + 2 * -10 + px
    way, columns = px * shutter / 360, np.arange(SIZE[0])
    exact = ramp(left, way, columns) - ramp(left + 12, way, columns)
    assert np.abs(row - exact).max() <= ERROR + 1e-3


@pytest.mark.parametrize("shutter", [0.0, 180.0, 360.0])
def test_blur_keeps_all_light_and_its_place(shutter):
    view, shot = renderer([BLOCK], shutter=shutter), moving(9.0)
    picture = view.picture(shot, 2).astype(np.float64)
    assert picture[..., 3].sum() == pytest.approx(12 * 48, rel=1e-5)
    columns = np.arange(SIZE[0]) + 0.5
    assert (picture[..., 3] * columns).sum() / picture[..., 3].sum() == pytest.approx(60 - 14 + 18, abs=1e-3)


def test_samples_follow_the_bound():
    # A ramp of d px drawn in n steps is off by d / (8 n^2) at most, while a step is no longer than a pixel.
    for way in (0.1, 1.0, 7.5, 40.0):
        count = samples_for(way)
        assert way / count <= 1
        assert way / (8 * count**2) <= ERROR
    assert samples_for(0.0) == 1


def test_a_part_that_spins_where_it_stands_is_blurred():
    # Against an independent rasteriser: the mean of many finely sampled pictures of the bar, each turned a little more.
    bar = part("bar", box(-18, -2, 18, 2), (0, 2), "#a0a0a0")
    keys, degrees = (Key(0, 0.0), Key(4, 1.0)), 90.0
    shot = shot_of([bar], ("bar",), routes={"bar": [[0, 0, 0], [0, 0, 1]]}, keys={"bar": keys})
    shot = replace(shot, parts=(replace(shot.parts[0], spin=Spin(degrees, 0.0), turn=np.zeros(4)),))
    row = renderer([bar], shutter=180.0).picture(shot, 2)[..., 3]
    total = np.zeros(SIZE[::-1])
    times = 2 + 0.5 * ((np.arange(160) + 0.5) / 160 - 0.5)
    for time in times:
        u = time / 4
        angle = math.radians(degrees * u * u * (3 - 2 * u))
        turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
        ring = np.array(box(-18, -2, 18, 2)) @ turn * [2, -2] + [60, 45]
        total += rasterised(SIZE, [ring], factor=4)
    exact = total / len(times)
    assert exact.max() > 0.9
    assert ((exact > 0.05) & (exact < 0.6)).sum() > 300, "most of it is blurred"
    assert np.abs(row - exact).max() <= 0.02


def test_what_moves_together_shows_no_gap_in_its_blur():
    # Blurring each layer for itself and stacking them would let a quarter of the background through.
    two = [part("left", box(-10, -12, -4, 12), (0, 2)), part("right", box(-4, -12, 2, 12), (0, 2))]
    ways = {each.id: [[0, 0, 0], [20, 0, 0]] for each in two}
    keys = {each.id: (Key(0, 0.0), Key(4, 1.0)) for each in two}
    view, shot = renderer(two, shutter=180.0), shot_of(two, ("left", "right"), routes=ways, keys=keys)
    row = view.picture(shot, 1)[45, :, 3]
    full = np.flatnonzero(row > 1 - 1e-4)
    assert len(full) == full[-1] - full[0] + 1 >= 18
    assert (np.diff(row[: full[0]]) >= -1e-6).all()


def test_the_camera_between_frames_keeps_to_its_orbit():
    cameras = np.stack([orthographic_camera(3.0 * k, 20, (0, 0, 0), 2.0, SIZE).matrix for k in range(6)])
    shot = shot_of([BLOCK], ("block",), frames=6, camera=cameras)
    place = np.array([12.0, 5.0, 9.0])
    for time in (2.25, 3.5):
        true = orthographic_camera(3.0 * time, 20, (0, 0, 0), 2.0, SIZE).project(place)[0]
        found = moment_at(shot, time, {"block": np.zeros(3)}).camera.project(place)[0]
        assert found == pytest.approx(true, abs=1e-3)


def hero_plate():
    picture = np.zeros((40, 60, 4), dtype=np.float32)
    picture[5:35, 5:55] = (0.9, 0.1, 0.1, 1.0)
    return PlateImage(picture, 2.0, (30.0, 20.0))


def test_the_hero_comes_in_by_light_and_alpha_never_dips():
    shot = moving(0.0, hero=(0.0, 0.25, 0.5, 1.0))
    view = renderer([BLOCK], hero=hero_plate())
    before, *during, after = (view.picture(shot, frame) for frame in range(4))
    y, x = 45, 60 - 14  # where both are
    for share, picture in zip((0.25, 0.5), during, strict=True):
        assert picture[y, x] == pytest.approx((1 - share) * before[y, x] + share * after[y, x], abs=1e-6)
        assert picture[y, x, 3] == pytest.approx(1, abs=1e-6)
        assert picture[y, 80, 3] == pytest.approx(share)  # hero alone
        assert picture[25, x, 3] == pytest.approx(1)  # the stack alone stays whole
    assert after[y, x] == pytest.approx([0.9, 0.1, 0.1, 1.0])


@pytest.mark.parametrize(("size", "share"), [("full", 1), ("half", 2)])
def test_a_plate_is_moved_grown_and_turned_into_register(size, share):
    """By hand: a bar of 40 x 8 px to the right of its pivot at (60, 45), turned a quarter clockwise, half as large."""
    picture = np.zeros((60, 100, 4), dtype=np.float32)
    picture[26:34, 40:80] = 1.0
    view = renderer([BLOCK], plates={"block": PlateImage(picture, 2.0, (40.0, 30.0))}, size=size)
    shot = moving(0.0)
    rows = np.array([[0, 0, 1, 0], [3, -2, 1, 0], [4, 8, 0.5, 90], [0, 0, 1, 0]], dtype=float)
    shot = replace(shot, parts=(replace(shot.parts[0], register=rows),))
    grid = np.indices((view.window.height, view.window.width))[::-1] + 0.5
    for frame, middle, area in ((0, (80, 45), 320), (1, (83, 43), 320), (2, (64, 63), 80)):
        alpha = view.picture(shot, frame)[..., 3]
        assert alpha.sum() == pytest.approx(area / share**2, rel=0.1)
        assert (grid * alpha).sum(axis=(1, 2)) / alpha.sum() == pytest.approx(np.array(middle) / share, abs=0.05)


def test_codes_of_a_frame_are_those_of_the_part():
    view, shot = renderer([BLOCK]), moving(0.0)
    codes = view.frame(shot, 0)
    assert codes.dtype == np.uint8
    assert codes[0, 0].tolist() == [0, 0, 0, 0]
    light = view.frame(shot, 0, 32)[45, 46, :3]
    assert to_linear(codes[45, 46, :3] / 255) == pytest.approx(light, abs=0.005)
    assert np.abs(view.frame(shot, 0, 16)[45, 46] / 257.0 - codes[45, 46]).max() <= 1.0


def test_the_same_frame_gives_the_same_bytes_whatever_came_before():
    shot = moving(7.0)
    fresh = [renderer([BLOCK], shutter=180.0).frame(shot, frame).tobytes() for frame in range(4)]
    view = renderer([BLOCK], shutter=180.0)
    for frame in (3, 0, 2, 2, 1, 3):
        assert view.frame(shot, frame).tobytes() == fresh[frame]
        view.coverage(shot, 0, "block")


@pytest.mark.parametrize(("size", "share"), [("full", 1), ("half", 2), ("quarter", 4)])
def test_sizes(size, share):
    view, shot = renderer([BLOCK], size=size), moving(0.0)
    picture = view.picture(shot, 0)
    assert picture.shape[:2] == (round(SIZE[1] / share), round(SIZE[0] / share))
    assert picture[..., 3].sum() == pytest.approx(12 * 48 / share**2, rel=1e-5)
    assert math.isclose(view.coverage(shot, 0, "block").sum(), picture[..., 3].sum(), rel_tol=1e-6)


@pytest.mark.parametrize("orbit", [0.0, 0.4, 40.0])
def test_lent_shading_is_that_of_every_instant(orbit, monkeypatch):
    """Blurred solids, as drawn, against the mean of pictures whose every instant was shaded for itself."""
    tub = part("tub", box(-10, -8, 10, 8), (0, 2), "#c0a060")
    rim = Slab(tuple(box(-10, -8, 10, 8)), (tuple(box(-6, -5, 6, 5)),), (2.0, 9.0))
    tub = replace(tub, slabs=(*tub.slabs, rim))
    cameras = np.stack(
        [perspective_camera(20 + orbit * frame, 15, (0, 0, 0), 250, 85, (36, 27), SIZE).matrix for frame in range(4)]
    )
    keys = {"tub": (Key(0, 0.0), Key(4, 1.0))}
    shot = shot_of([tub], ("tub",), routes={"tub": [[-6, 0, 0], [14, 3, 6]]}, keys=keys, camera=cameras)
    view = renderer([tub], shutter=180.0)
    moments = view._moments(shot, 2)
    lent = {id(moment.lit) for moment in moments if moment.lit is not None}
    assert (0 < len(lent) < len(moments) / 2) == (orbit < 8), "a part that turns a lot shades for itself"
    found = view.picture(shot, 2)
    monkeypatch.setattr(frame_module, "lenders", lambda moments, _: list(moments))
    exact = renderer([tub], shutter=180.0).picture(shot, 2)
    assert np.array_equal(found[..., 3], exact[..., 3]), "outlines are never lent"
    assert found[..., :3].max() > 0.2
    assert np.abs(found - exact).max() < 0.03
    assert np.abs(found - exact).mean() < 5e-4
