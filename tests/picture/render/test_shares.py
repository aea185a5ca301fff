"""Who is seen in how much of a pixel: against true areas of visible regions, and no seams where edges meet."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
import shapely
from scenes import SIZE, box, holdout, part, renderer, shot_of

from choreo.compile import compile_film
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.picture.panels import pictures
from choreo.picture.render.colour import from_codes, over, to_8_bit, to_16_bit
from choreo.picture.render.coverage import Window, coverage
from choreo.picture.render.frame import Renderer
from choreo.picture.render.plates import PlateImage
from choreo.read.project import read_project

DEMO = Path(__file__).resolve().parents[3] / "demo_assemblies" / "headlamp"
ONE_CODE = 1 / 255


@pytest.fixture(scope="module")
def headlamp():
    project = read_project(DEMO)
    return project.assembly, compile_film(project.assembly, project.choreography)


def stacked(tiles, shape):
    out = np.zeros(shape, dtype=np.float32)
    for tile in tiles:
        out[tile.window.slices] = over(tile.picture, out[tile.window.slices])
    return out


def matte_plate(shape, scale=2.0, colour=(0.2, 0.5, 0.1)):
    """A plate at 1:1 whose alpha is the exact area of a shape in px of the frame; its pivot is the frame's middle."""
    alpha = coverage(shape, Window(0, 0, *SIZE)).astype(np.float32)
    picture = np.stack([*(alpha * np.float32(c) for c in colour), alpha], axis=2)
    return PlateImage(picture, scale, (SIZE[0] / 2, SIZE[1] / 2))


@pytest.mark.parametrize(("shot", "frames"), [(0, (0, 18, 25, 30, 40)), (1, (60, 90, 122))])
def test_a_part_is_seen_in_the_true_area_of_its_visible_region(headlamp, shot, frames):
    # The strip cuts whole regions with GEOS, order and holdouts worked in: another way to the same truth.
    assembly, film = headlamp
    one, solids, size = film.tracks.shots[shot], film.apart.solids, film.tracks.resolution
    view = Renderer(assembly, solids, size, shutter=0)
    for frame, seen in zip(frames, pictures(solids, one, frames, size, [1.0] * len(frames)), strict=True):
        regions = {each.part: each.region for each in seen}
        layers = view.layers(view.moment(one, float(frame)))
        assert {each.part for each in layers} >= set(regions)
        for layer in layers:
            region = regions.get(layer.part, shapely.Polygon())
            assert np.abs(layer.share - coverage(region, layer.tile.window)).max() < 1e-3, (frame, layer.part)


@pytest.mark.parametrize(("shot", "frame"), [(0, 18), (0, 30), (1, 60)])
def test_layers_in_any_order_stack_to_the_frame(headlamp, shot, frame):
    assembly, film = headlamp
    one = film.tracks.shots[shot]
    view = Renderer(assembly, film.apart.solids, film.tracks.resolution, shutter=0, size="half")
    whole = view.frame(one, frame)
    for order in (assembly.ids, assembly.ids[::-1], assembly.ids[5:] + assembly.ids[:5]):
        tiles = view.stack(one, frame, order)
        assert np.abs(to_8_bit(stacked(tiles, whole.shape)).astype(int) - whole).max() <= 1
        # As files of 16 bits, straight sRGB, they do it as well.
        files = [type(tile)(tile.window, from_codes(to_16_bit(tile.picture))) for tile in tiles]
        found = to_8_bit(stacked(files, whole.shape)).astype(int)
        seen = whole[..., 3] > 0
        assert np.abs(found - whole)[seen].max() <= 1


@pytest.mark.parametrize("turn", [0.0, 17.3, 45.0])
@pytest.mark.parametrize("order", [("a", "b"), ("b", "a")])
@pytest.mark.parametrize("plates", [False, True])
def test_parts_that_abut_show_no_background_between_them(turn, order, plates):
    a, b = (
        part(n, box(x, -15, x + 14.13, 15, turn), (0, 2), c)
        for n, x, c in (("a", -14.0, "#808080"), ("b", 0.13, "#808080"))
    )
    given = {}
    if plates:
        shapes = {
            each.id: shapely.Polygon([(60 + 2 * x, 45 - 2 * y) for x, y in each.slabs[0].outline]) for each in (a, b)
        }
        given = {name: matte_plate(shape, colour=(0.2, 0.2, 0.2)) for name, shape in shapes.items()}
    view, shot = renderer([a, b], plates=given), shot_of([a, b], order)
    picture = view.picture(shot, 0)
    inner = shapely.Polygon([(60 + 2 * x, 45 - 2 * y) for x, y in box(-12, -13, 12, 13, turn)])
    inside = coverage(inner, Window(0, 0, *SIZE)) >= 1
    assert inside.sum() > 2000
    assert (picture[inside][:, 3] > 1 - 1e-5).all()
    if plates:
        assert np.ptp(to_8_bit(picture)[inside].astype(int), axis=0).max() <= 1
    again = stacked(view.stack(shot, 0, order[::-1]), picture.shape)
    assert np.abs(again - picture).max() < 1e-5


def test_what_hides_behind_the_same_outline_does_not_shine_around_it():
    ring = box(-10.2, -7.7, 9.9, 8.3, 23)
    view = renderer([part("near", ring, (4, 5), "#20c020"), part("far", ring, (0, 1), "#c02020")])
    shot = shot_of([part("near", ring, (4, 5)), part("far", ring, (0, 1))], ("far", "near"))
    assert view.coverage(shot, 0, "far").max() < 1e-6
    assert view.coverage(shot, 0, "near").sum() == pytest.approx(4 * shapely.Polygon(ring).area, rel=1e-6)


def test_a_holdout_and_the_part_that_it_stands_behind_share_an_edge_without_a_seam():
    # The hider is drawn below: what is drawn above it is left out along its outline, and beyond its soft edge.
    hider, wide = part("hider", box(-9.3, -6.1, 8.8, 7.2, 31), (4, 5)), part("wide", box(-25, -20, 25, 20), (0, 1))
    outline = shapely.Polygon([(60 + 2 * x, 45 - 2 * y) for x, y in hider.slabs[0].outline])
    shot = shot_of([hider, wide], ("hider", "wide"), holdouts=[holdout("wide", outline, "hider")])
    for plates in ({}, {"hider": matte_plate(outline)}, {"hider": matte_plate(outline.buffer(-0.7))}):
        view = renderer([hider, wide], plates=plates)
        picture = view.picture(shot, 0)
        assert (picture[8:82, 13:107, 3] > 1 - 2e-5).all(), bool(plates)
        ordinary = view.picture(shot_of([hider, wide], ("wide", "hider")), 0)
        # Drawn in the other order, without a holdout, the same is seen.
        assert np.abs(picture - ordinary).max() < (1e-5 if len(plates) == 0 else ONE_CODE / 2)


def test_one_sees_through_a_part_that_is_half_there():
    glass, wide = part("glass", box(-9, -6, 9, 6), (4, 5)), part("wide", box(-25, -20, 25, 20), (0, 1))
    view = renderer([glass, wide])
    picture = view.picture(shot_of([glass, wide], ("wide", "glass"), opacity={"glass": 0.5}), 0)
    assert picture[45, 60, 3] == pytest.approx(1)
    outline = shapely.Polygon([(60 + 2 * x, 45 - 2 * y) for x, y in glass.slabs[0].outline])
    held = shot_of(
        [glass, wide], ("glass", "wide"), opacity={"glass": 0.5}, holdouts=[holdout("wide", outline, "glass")]
    )
    assert np.abs(view.picture(held, 0) - picture).max() < 1e-5


def test_every_order_of_four_overlapping_parts_gives_the_same_picture():
    parts = [
        part(f"p{k}", box(-8 + 5 * k, -9 + 3 * k, 7 + 5 * k, 8 + 2 * k, 11 * k), (3 * k, 3 * k + 1)) for k in range(4)
    ]
    view, shot = renderer(parts), shot_of(parts, [each.id for each in parts])
    picture = view.picture(shot, 0)
    for order in itertools.permutations([each.id for each in parts]):
        assert np.abs(stacked(view.stack(shot, 0, order), picture.shape) - picture).max() < 1e-5


def test_silhouettes_and_alpha_agree():
    one = part("one", box(-9.3, -6.1, 8.8, 7.2, 31), (0, 5))
    view, shot = renderer([one]), shot_of([one], ("one",))
    outline = silhouettes(view.solids["one"], view.moment(shot, 0.0).camera, np.zeros(3))[0]
    assert view.picture(shot, 0)[..., 3].sum() == pytest.approx(outline.area, rel=1e-6)
