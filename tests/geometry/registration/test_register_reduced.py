"""Content registration on smaller pictures: within a tenth of a px of the whole, and what hides a part."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from plates_on_hero import box, farthest_apart, matte, painted, texture

from choreo.geometry.registration import reduced
from choreo.geometry.registration.content import register_content
from choreo.geometry.registration.similarity import apply, inverse
from choreo.geometry.solids.solid import build_solid
from choreo.geometry.visibility.nearer import nearer_areas
from choreo.model.assembly import Hero, Slab, ViewAngle
from choreo.model.registration import Similarity

SIZE, HERO_SIZE = (400, 360), (640, 560)
TRUE = Similarity(0.98, 0.6, (118.3, 94.7))
START = Similarity(0.985, 0.2, (123.0, 90.0))
SQUARE = box(20, 20, 380, 340)


@pytest.fixture(scope="module")
def pictures():
    """A texture with waves of 70 to 700 px, known at every place: the plate reads it, the hero reads it shifted."""
    plate = painted(SIZE, lambda p: texture(p / 4), 0.01, 1)
    hero = painted(HERO_SIZE, lambda p: texture(apply(inverse(TRUE), p) / 4), 0.01, 2)
    codes = [np.rint(np.clip(one, 0, 1) * 65535).astype(np.uint16) for one in (plate, hero)]
    return codes[0], matte(SIZE, [SQUARE]), codes[1]


@pytest.mark.parametrize("most", [400_000, 30_000, 8_000])
def test_to_a_tenth_of_a_px_however_much_it_is_reduced(pictures, monkeypatch, most):
    monkeypatch.setattr(reduced, "_MOST_PX", most)
    found = reduced.register_reduced(*pictures, START)
    assert found.trouble == ""
    assert found.sd_px <= 0.05
    assert farthest_apart(found.transform, TRUE, SQUARE) < 0.1


def test_what_cannot_be_known_at_that_size_is_looked_at_larger(monkeypatch):
    """Waves of 9 to 60 px are gone at an eighth; at a quarter of the size they are there."""
    plate, hero = painted(SIZE, texture), painted(HERO_SIZE, lambda p: texture(apply(inverse(TRUE), p)))
    seen = []
    real = reduced._at_level
    monkeypatch.setattr(reduced, "_MOST_PX", 8_000)
    monkeypatch.setattr(reduced, "_at_level", lambda *a: seen.append((a[-1], real(*a))) or seen[-1][1])
    near = Similarity(0.98, 0.6, (119.3, 94.0))
    found = reduced.register_reduced(plate, matte(SIZE, [SQUARE]), hero, near)
    assert [level for level, _ in seen] == [3, 2]
    assert farthest_apart(found.transform, TRUE, SQUARE) < 0.1


def test_words_and_places_count_in_px_of_the_whole(pictures):
    """A grid that says nothing new: the same answer as without it."""
    colour, alpha, hero = (np.asarray(one / 65535 if one.dtype == np.uint16 else one / 255) for one in pictures)
    whole = register_content(colour, alpha, hero, START)
    cut = register_content(
        colour[8:], alpha[8:], hero[16:, 8:], START,
        plate_grid=Similarity(1.0, 0.0, (0.0, 8.0)), hero_grid=Similarity(1.0, 0.0, (8.0, 16.0)),
    )  # fmt: skip
    assert farthest_apart(whole.transform, cut.transform, SQUARE) < 0.01


def test_what_hides_a_part_is_not_compared(pictures):
    """Half of the hero's part is something else: more than can be distrusted, so it has to be told."""
    colour, alpha, hero = pictures
    hero = hero.copy()
    other = painted(HERO_SIZE, lambda p: texture(p / 4 + 5000))
    hero[:, 290:] = np.rint(np.clip(other, 0, 1) * 65535)[:, 290:]
    found = reduced.register_reduced(colour, alpha, hero, START, hidden=shapely.box(290, 0, 640, 560))
    assert farthest_apart(found.transform, TRUE, SQUARE) < 0.1


def test_nothing_opaque():
    found = reduced.register_reduced(np.zeros((9, 9, 3)), np.zeros((9, 9)), np.zeros((9, 9, 3)), START)
    assert found.trouble


def block(x0, x1, z0, z1):
    return build_solid([Slab(((x0, 0), (x1, 0), (x1, 10), (x0, 10)), (), (z0, z1))])


def test_nearer_parts_by_hand():
    # Plan view, 2 px a mm, origin at (100, 50): a block of x 5 to 15 lies before one of x 0 to 10, and not behind it.
    solids = {"back": block(0, 10, 0.0, 4.0), "front": block(5, 15, 4.0, 8.0), "aside": block(40, 50, 9.0, 12.0)}
    hero = Hero("h.png", 2.0, (100.0, 50.0), ViewAngle())
    assert nearer_areas("back", solids, hero, 0.05).bounds == pytest.approx((110, 30, 130, 50))
    assert nearer_areas("front", solids, hero, 0.05).is_empty


def test_of_a_part_that_stands_in_another_only_what_it_hides_counts():
    # By hand, 2 px a mm: a pin of x 4 to 6 stands out of a cup of x 0 to 10, whose bar of y 0 to 2 lies over its foot.
    square = lambda x0, y0, x1, y1, z0, z1: Slab(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), (), (z0, z1))  # noqa: E731
    cup = build_solid([square(0, 0, 10, 10, 0.0, 1.0), square(0, 0, 10, 2, 3.0, 4.0)])
    pin = build_solid([square(4, 1, 6, 9, 1.0, 3.0), square(4, 5, 6, 9, 3.0, 6.0)])
    found = nearer_areas("pin", {"cup": cup, "pin": pin}, Hero("h.png", 2.0, (100.0, 50.0), ViewAngle()), 0.05)
    # Of its foot, y 1 to 2 is under the bar: 50 - 2 y.
    assert found.bounds == pytest.approx((108, 46, 112, 48))
