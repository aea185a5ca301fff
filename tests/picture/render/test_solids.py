"""Shaded solids against a caster of rays that tries every plane; and the outline against shapely's area."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from ray_referee import first_met
from shapely import affinity

from choreo.geometry.cameras.camera import orthographic_camera, perspective_camera
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.geometry.solids.solid import Band, Solid
from choreo.picture.render.coverage import Window
from choreo.picture.render.facets import facets_of
from choreo.picture.render.solids import _axes, shading, solid_tile, tone

FRAME = Window(0, 0, 220, 160)
SIZE = (FRAME.width, FRAME.height)


def comb():
    """Not convex, with holes, one band wider than the next and one flush: invented."""
    base = shapely.box(-20, -12, 20, 12).difference(shapely.box(-6, 2, 4, 20)).difference(shapely.box(8, -8, 14, 3))
    tower = shapely.Point(-12, -2).buffer(7, quad_segs=5).difference(shapely.Point(-12, -2).buffer(4, quad_segs=4))
    rim = affinity.rotate(shapely.box(5, -10, 19, 6), 14).difference(affinity.rotate(shapely.box(8, -7, 15, 2), 14))
    return Solid((Band(-4, 0, base), Band(0, 5, shapely.union(tower, rim)), Band(5, 6, tower), Band(8, 10, tower)))


def cup():
    """A tube with a floor, seen into: its inner walls stand all around the eye."""
    outer = shapely.Point(0, 0).buffer(15, quad_segs=6)
    return Solid((Band(0, 2, outer), Band(2, 12, outer.difference(shapely.Point(0, 0).buffer(12, quad_segs=6)))))


def star():
    points = [(np.cos(t) * r, np.sin(t) * r) for t, r in zip(np.arange(14) * np.pi / 7, [18, 12] * 7, strict=True)]
    hole = [(x * 0.6, y * 0.6) for x, y in points]
    return Solid((Band(-5, 5, shapely.Polygon(points, [hole])),))


CAMERAS = {
    "plan": orthographic_camera(0, 0, (0, 0, 0), 3.1, SIZE),
    "slanting": orthographic_camera(35, 25, (0, 0, 0), 3.1, SIZE),
    "from behind": orthographic_camera(200, -30, (0, 0, 0), 3.1, SIZE),
    "level": orthographic_camera(90, 0, (0, 0, 0), 3.1, SIZE),
    "level, aside": orthographic_camera(73, 12, (0, 0, 0), 3.1, SIZE),
    "close": perspective_camera(20, 15, (0, 0, 0), 90, 50, (36, 24), SIZE),
    "into it": perspective_camera(0, 0, (0, 0, 0), 60, 35, (36, 24), SIZE),
    "close from behind": perspective_camera(150, 40, (0, 0, 0), 80, 40, (36, 24), SIZE),
    "above and below": perspective_camera(90, 3, (0, 0, 2), 90, 50, (36, 24), SIZE),
}


def calm_pixels(plane):
    """Pixels with one and the same surface in the 5 x 5 pixels around them."""
    filled = np.pad(np.where(np.isnan(plane), 99.0, plane), ((2, 2), (2, 2), (0, 0)), constant_values=98.0)
    blocks = np.lib.stride_tricks.sliding_window_view(filled, (5, 5), axis=(0, 1))
    return (np.ptp(blocks, axis=(3, 4)).max(axis=2) < 1e-9) & ~np.isnan(plane[..., 0])


@pytest.mark.parametrize("make", [comb, cup, star])
@pytest.mark.parametrize("name", CAMERAS)
def test_every_pixel_shows_what_its_line_of_sight_meets_first(name, make):
    camera, solid, shift = CAMERAS[name], make(), np.array([1.3, -0.7, 0.4])
    normal, plane = first_met(solid, camera, shift, FRAME)
    wanted = tone(np.nan_to_num(normal), _axes(camera))
    found = shading(facets_of(solid), camera, shift, FRAME, line=0.0)
    # Where the 5 x 5 pixels around see one surface, no edge is near.
    calm = calm_pixels(plane)
    assert calm.sum() > 150
    wrong = np.abs(found - wanted)[calm] > 1e-6
    assert not wrong.any(), f"{wrong.sum()} of {calm.sum()} pixels"


def test_the_alpha_of_a_solid_is_the_exact_area_of_its_outline():
    camera, solid = CAMERAS["close"], comb()
    outline = silhouettes(solid, camera, np.zeros(3))[0]
    tile = solid_tile(facets_of(solid), outline, "#5b6770", camera, np.zeros(3), FRAME)
    assert tile is not None
    assert tile.picture[..., 3].sum() == pytest.approx(outline.area, rel=1e-6)


def test_the_border_of_the_frame_is_no_edge_of_a_part():
    camera, solid = CAMERAS["plan"], comb()
    outline = silhouettes(solid, camera, np.zeros(3))[0]
    small = Window(70, 60, 90, 50)
    whole, cut = (
        solid_tile(facets_of(solid), outline, "#5b6770", camera, np.zeros(3), frame) for frame in (FRAME, small)
    )
    assert cut.window == small
    assert np.abs(cut.picture - whole.picture[small.within(whole.window)]).max() < 1e-6


def test_flush_bands_show_no_joint():
    # One block, cut in two along z over a dark cavity; the joint lies within a row of pixels.
    section = shapely.box(-10, -10, 10, 10).difference(shapely.box(-7, -7, 7, 7))
    whole, halves = Solid((Band(0, 10, section),)), Solid((Band(0, 4.37, section), Band(4.37, 10, section)))
    for name in ("slanting", "close", "close from behind", "from behind"):
        one, two = (shading(facets_of(solid), CAMERAS[name], np.zeros(3), FRAME) for solid in (whole, halves))
        calm = calm_pixels(first_met(whole, CAMERAS[name], np.zeros(3), FRAME)[1])
        assert two[calm] == pytest.approx(one[calm], abs=1e-9), name
