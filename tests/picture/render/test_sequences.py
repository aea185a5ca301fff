"""Names of sequences, the one order of a film, and mattes of single shapes against areas cut by GEOS."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
import shapely
from PIL import Image
from scenes import SIZE, box, part, renderer, shot_of

from choreo.frames.layers import LayerFiles
from choreo.frames.mattes import MatteFiles, coded
from choreo.frames.sequences import Numbering, constant_order, film_files
from choreo.model.tracks import Masking, OrderSpan, Tracks

ONE, TWO = ("a", "b", "c"), ("c", "a", "b")


def film(*shots):
    """Shots of spans (order, frames) one after another."""
    out, start = [], 0
    parts = [part(name, box(-1, -1, 1, 1), (0, 1)) for name in ONE]
    for spans in shots:
        frames = sum(count for _, count in spans)
        ends = np.cumsum([count for _, count in spans])
        orders = tuple(
            OrderSpan(int(end - n), int(end) - 1, order) for (order, n), end in zip(spans, ends, strict=True)
        )
        shot = replace(shot_of(parts, ONE, frames=frames), name=f"s{len(out)}", start_frame=start)
        out.append(replace(shot, masking=Masking(orders, ())))
        start += frames
    return Tracks("", "", (24, 1), SIZE, tuple(out))


def test_the_order_that_holds_longest_is_the_one_for_all():
    assert constant_order(film([(ONE, 5), (TWO, 4)])) == ONE
    assert constant_order(film([(ONE, 5), (TWO, 4)], [(TWO, 2)])) == TWO
    assert constant_order(film([(TWO, 3), (ONE, 3)])) == TWO
    assert constant_order(film([(("c", "a"), 3), (ONE, 2)])) == ("c", "a", "b")


def test_numbers_are_the_films_whatever_is_asked_for():
    tracks = film([(ONE, 5)], [(ONE, 3)])
    numbering = Numbering(1001, "exr")
    assert numbering.name("a", tracks.shots[0], 0) == "a/a.1001.exr"
    assert numbering.name("a", tracks.shots[1], 2) == "a/a.1008.exr"
    assert numbering.pattern("a") == "a/a.####.exr"
    assert Numbering(9999, "png").name("a", tracks.shots[0], 1) == "a/a.10000.png"
    files = film_files(tracks, ("a", "b"), 0, ("exr", "png"))
    assert len(files) == 2 * 2 * 8
    assert "b/b.0007.png" in files


def test_every_frame_has_all_files_whatever_shows():
    away = [part("a", box(-1, -1, 1, 1), (0, 1)), part("b", box(500, 500, 510, 510), (2, 3))]
    view, shot = renderer(away), shot_of(away, ("a", "b"))
    for kind in ("exr", "png16", "png8"):
        for draw in (LayerFiles(("b", "a"), kind, 1), MatteFiles(("a", "b"), kind, 1)):
            assert set(draw(view, shot, 2)) == set(draw.names(shot, 2))
            assert draw(view, shot, 2) == draw(view, shot, 2)


@pytest.mark.parametrize(("kind", "top"), [("png8", 255), ("png16", 65535)])
@pytest.mark.parametrize("turn", [0.0, 13.0, 45.0])
def test_a_matte_is_the_area_that_a_shape_has_in_each_pixel(kind, top, turn):
    # The referee cuts each pixel's square out of the polygon with GEOS.
    ring = box(-7.13, -4.37, 8.29, 6.11, turn)
    view, shot = renderer([part("a", ring, (0, 1))]), shot_of([part("a", ring, (0, 1))], ("a",))
    [data] = MatteFiles(("a",), kind, 1, by_id=False)(view, shot, 0).values()
    matte = np.asarray(Image.open(io.BytesIO(data))).astype(float)
    outline = shapely.Polygon([(60 + 2 * x, 45 - 2 * y) for x, y in ring])
    columns, rows = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    pixels = shapely.box(columns, rows, columns + 1, rows + 1)
    exact = shapely.area(shapely.intersection(pixels, outline))
    assert np.abs(matte - exact * top).max() <= 0.5 + 1e-3 + 1e-6 * top


def test_codes_of_mattes_by_hand():
    assert coded(np.array([0, 0.5, 1, 0.001], dtype=np.float32), 8).tolist() == [0, 128, 255, 0]
    assert coded(np.array([0, 0.5, 1], dtype=np.float32), 16).tolist() == [0, 32768, 65535]
