"""The checker passes what the pass makes and finds every way of spoiling it."""

import dataclasses

import numpy as np
import pytest

from choreo.checks.check_masking import check_masking
from choreo.geometry.cameras.camera import orthographic_camera, perspective_camera
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Slab
from choreo.model.plan import Region, Removal, RemovalStep
from choreo.model.tracks import Holdout, Masking, OrderSpan
from choreo.passes.masking import masking
from choreo.passes.visibility import visibility

RESOLUTION = (960, 540)


def ring(radius, count=24):
    angle = np.arange(count) * 2 * np.pi / count
    return tuple(map(tuple, (radius * np.column_stack([np.cos(angle), np.sin(angle)])).tolist()))


@pytest.fixture(scope="module")
def cup_and_cell():
    """A cell lifts out of a cup before a camera that turns: rings of two, holdouts, changes of order."""
    cup = build_solid([Slab(ring(30), (), (0.0, 2.0)), Slab(ring(30), (ring(24)[::-1],), (2.0, 20.0))])
    two_ends = [Slab(((x, -3.0), (x + 4, -3.0), (x + 4, 3.0), (x, 3.0)), (), (17.0, 18.5)) for x in (-9.0, 5.0)]
    solids = {"cup": cup, "cell": build_solid([Slab(ring(14), (), (2.0, 17.0)), *two_ends])}
    cameras = np.array(
        [perspective_camera(20 * k, 40, (0, 0, 10), 220, 50, (36, 20.25), RESOLUTION).matrix for k in range(5)]
    )
    lift = np.array([0.0, 3.0, 9.0, 25.0, 60.0])
    positions = {"cup": np.zeros((5, 3)), "cell": np.column_stack([0 * lift, 0 * lift, lift])}
    seen = visibility(list(solids.values()), cameras, np.array(list(positions.values())), 0.05)
    plan = masking(seen, list(solids), Removal((RemovalStep("cell", (0.0, 0.0, 1.0)),), "cup"))
    assert plan.holdouts
    return plan, solids, cameras, positions


def errors(plan, rest):
    return [finding for finding in check_masking(plan, *rest) if finding.severity == "error"]


def test_a_sound_plan_passes(cup_and_cell):
    assert check_masking(*cup_and_cell) == []


def test_layers_upside_down_are_found(cup_and_cell):
    plan, *rest = cup_and_cell
    orders = tuple(dataclasses.replace(s, back_to_front=s.back_to_front[::-1]) for s in plan.orders)
    (first, *_) = errors(dataclasses.replace(plan, orders=orders), rest)
    assert "but " in first.what
    assert "is nearest to the camera" in first.what


def test_a_missing_holdout_is_found(cup_and_cell):
    plan, *rest = cup_and_cell
    assert errors(dataclasses.replace(plan, holdouts=plan.holdouts[1:]), rest)


def test_a_holdout_displaced_by_some_pixels_is_found(cup_and_cell):
    plan, *rest = cup_and_cell
    moved = tuple(
        dataclasses.replace(
            h,
            region=tuple(
                Region(tuple((x, y + 8) for x, y in r.outline), tuple(tuple((x, y + 8) for x, y in o) for o in r.holes))
                for r in h.region
            ),
        )
        for h in plan.holdouts
    )
    assert errors(dataclasses.replace(plan, holdouts=moved), rest)


def test_a_frame_without_an_order_and_one_with_two_are_found(cup_and_cell):
    plan, *rest = cup_and_cell
    last = plan.orders[-1]
    short = (*plan.orders[:-1], dataclasses.replace(last, last=last.last - 1))
    (finding,) = errors(dataclasses.replace(plan, orders=short), rest)
    assert finding.what == "Frame 4 has 0 orders; every frame needs one."
    (finding,) = errors(dataclasses.replace(plan, orders=(*plan.orders, plan.orders[0])), rest)
    assert finding.what == f"Frame {plan.orders[0].first} has 2 orders; every frame needs one."


def test_an_order_that_lacks_a_part_is_found(cup_and_cell):
    plan, *rest = cup_and_cell
    orders = (dataclasses.replace(plan.orders[0], back_to_front=("cup",)), *plan.orders[1:])
    assert errors(dataclasses.replace(plan, orders=orders), rest)


def test_a_holdout_of_a_stranger_or_out_of_the_shot_is_found(cup_and_cell):
    plan, *rest = cup_and_cell
    held = plan.holdouts[0]
    for wrong in (dataclasses.replace(held, part="lid"), dataclasses.replace(held, last=99)):
        assert errors(dataclasses.replace(plan, holdouts=(wrong,)), rest)


def test_a_holdout_that_an_order_would_spare_is_found():
    # By hand: two plates, one above the other in plan view. Drawn the wrong way round and mended by a holdout
    # the picture is right, but the other order needs no holdout.
    square = ((0.0, 0.0), (20.0, 0.0), (20.0, 20.0), (0.0, 20.0))
    solids = {"low": build_solid([Slab(square, (), (0.0, 2.0))]), "high": build_solid([Slab(square, (), (5.0, 7.0))])}
    cameras = np.array([orthographic_camera(0, 0, (10, 10, 0), 10, RESOLUTION).matrix])
    still = {name: np.zeros((1, 3)) for name in solids}
    region = (Region(((380.0, 170.0), (580.0, 170.0), (580.0, 370.0), (380.0, 370.0))),)
    plan = Masking((OrderSpan(0, 0, ("high", "low")),), (Holdout("low", 0, 0, region, ("high",)),))
    (finding,) = check_masking(plan, solids, cameras, still)
    assert (finding.code, finding.severity) == ("check-holdout-not-needed", "warning")
    assert check_masking(Masking((OrderSpan(0, 0, ("low", "high")),), ()), solids, cameras, still) == []


def test_within_what_parts_may_share_neither_is_nearer():
    # By hand: two blocks side by side before a camera that sees both from their side, 10 px a mm. They share 0.4 mm,
    # a strip of 4 px, in which the one that stands 1 mm nearer is drawn beneath.
    solids = {
        "left": build_solid([Slab(((0.0, 0.0), (10.0, 0.0), (10.0, 20.0), (0.0, 20.0)), (), (0.0, 5.0))]),
        "right": build_solid([Slab(((9.6, 0.0), (20.0, 0.0), (20.0, 20.0), (9.6, 20.0)), (), (1.0, 6.0))]),
    }
    cameras = np.array([orthographic_camera(0, 0, (10, 10, 0), 10, RESOLUTION).matrix])
    rest = (solids, cameras, {name: np.zeros((1, 3)) for name in solids})
    plan = Masking((OrderSpan(0, 0, ("right", "left")),), ())
    (finding,) = check_masking(plan, *rest, points=4000)
    assert '"left", but "right" is nearest' in finding.what
    assert check_masking(plan, *rest, points=4000, touch_mm=0.4) == []
    pressed = {frozenset(("left", "right")): 0.7}
    assert check_masking(plan, *rest, points=4000, touch_mm=0.05, pressed=pressed) == []
