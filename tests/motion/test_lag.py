"""Forbidden lags: by arithmetic where the curves are simple, by dense sampling where they are not."""

import math
import os

import numpy as np
import pytest
import shapely
from easing_strategies import smooth
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from lag_cases import lags_of_edges, meets, polygon_diagram, stands_in

from choreo.motion.lag import forbidden_lags, merge_intervals
from choreo.motion.walk import Walk

OUTWARD = 0.011
"""Frames; the contract of `forbidden_lags`: ends are rounded outward by no more than a hundredth."""
WIDE = 0.05
"""Frames; how much too wide sampling may find an interval."""
ROUNDING = 1e-9
INF = math.inf
TEN = Walk(10, 10, "linear")
BACK = Walk(10, 10, "linear", backward=True)


def box(s0, s1, t0, t1):
    return [(s0, t0), (s1, t0), (s1, t1), (s0, t1)]


def check(found, expected):
    """Each interval holds its exact one, and reaches no more than a hundredth of a frame beyond it."""
    assert len(found) == len(expected), found
    for (low, high), (a, b) in zip(found, expected, strict=True):
        assert low - ROUNDING <= a <= low + OUTWARD if math.isfinite(a) else low == a
        assert high - OUTWARD <= b <= high + ROUNDING if math.isfinite(b) else high == b


# Two parts at an even pace are at way s at S = s / pace and at way t at T = t / pace; together at lag S - T. The
# lags of a polygon run from the least to the largest S - T of its corners. Hand calculation.
EVEN = [
    ("rectangle", box(2, 4, 3, 7), TEN, TEN, [(2 - 7, 4 - 3)]),
    ("triangle", [(4, 3), (8, 3), (4, 9)], Walk(20, 10, "linear"), Walk(30, 10, "linear"), [(2 - 3, 4 - 1)]),
    ("the first walks back", box(2, 4, 3, 7), BACK, TEN, [(6 - 7, 8 - 3)]),
    ("the second walks back", box(2, 4, 3, 7), TEN, BACK, [(2 - 7, 4 - 3)]),
    ("both walk back", box(1, 2, 3, 7), BACK, BACK, [(8 - 7, 9 - 3)]),
    ("nothing collides", box(11, 12, 3, 7), TEN, TEN, []),
    # What lies wholly beyond the ends of the routes is never met.
    ("touches where the second arrives", box(3, 7, 10, 12), TEN, TEN, []),
    ("touches where the second arrives while the first waits", box(-1, 2, 10, 12), TEN, TEN, []),
    ("touches where both arrive", box(10, 12, 10, 12), TEN, TEN, []),
    ("touches where the first starts", box(-2, 0, 3, 7), TEN, TEN, []),
    ("touches where the second starts", box(3, 7, -2, 0), TEN, TEN, []),
    ("touches where both start", box(-2, 0, -2, 0), TEN, TEN, []),
    # Who has not started, or has arrived, stands there for ever.
    ("before the first starts", box(-1, 2, 3, 7), TEN, TEN, [(-INF, 2 - 3)]),
    ("after the first arrived", box(8, 12, 3, 7), TEN, TEN, [(8 - 7, INF)]),
    ("before the second starts", box(3, 7, -1, 2), TEN, TEN, [(3 - 2, INF)]),
    ("after the second arrived", box(3, 7, 8, 12), TEN, TEN, [(-INF, 7 - 8)]),
    ("the second waits where the first arrives", box(8, 11, -1, 2), TEN, TEN, [(8 - 2, INF)]),
    ("both have arrived", box(9, 11, 9, 11), TEN, TEN, [(-INF, INF)]),
    ("a wall across the way", box(-1, 11, 3, 7), TEN, TEN, [(-INF, INF)]),
    ("walking back, the start is the far end", box(8, 12, 3, 7), BACK, TEN, [(-INF, 2 - 3)]),
]


@pytest.mark.parametrize(("ring", "a", "b", "expected"), [case[1:] for case in EVEN], ids=[case[0] for case in EVEN])
def test_even_paces_by_arithmetic(ring, a, b, expected):
    check(forbidden_lags(polygon_diagram(ring), a, b), expected)


def test_two_regions_leave_a_gap_or_close_it():
    # S - T of the two rectangles: (2-4, 3-3) and (6-4, 7-3), with (0, 2) free between them; by hand.
    apart = polygon_diagram(box(2, 3, 3, 4), box(6, 7, 3, 4))
    check(forbidden_lags(apart, TEN, TEN), [(-2, 0), (2, 4)])
    # (2-4, 5-3) and (5-4, 7-3) overlap.
    joined = polygon_diagram(box(2, 5, 3, 4), box(5, 7, 3, 4))
    check(forbidden_lags(joined, TEN, TEN), [(-2, 4)])


def test_two_regions_that_share_an_edge_are_one():
    # Whole, (-2 to 1, 3 to 7) holds the start of the first: whatever ends before the first has come to 1 is hit.
    halves = polygon_diagram(box(-2, 0, 3, 7), box(0, 1, 3, 7))
    check(forbidden_lags(halves, TEN, TEN), [(-INF, 1 - 3)])
    # The same across the other way, with a crumb of rounding between the halves.
    halves = polygon_diagram(box(3, 7, -2, 0), box(3, 7, 1e-9, 1))
    check(forbidden_lags(halves, TEN, TEN), [(3 - 1, INF)])


def test_the_most_is_met_inside_an_edge():
    # x1 = 1/3 and x2 = 2/3 make x(u) = u, and y(u) = 3 u^2 (1 - u) / 3 + u^3 = u^2: so S(s) = 10 sqrt(s / 10).
    # Along the edge s = t = 10 v: S - T = 10 (sqrt(v) - v), largest at v = 1/4, where it is 2.5. By calculus.
    square = Walk(10, 10, "cubic-bezier(0.3333333333333333, 0, 0.6666666666666666, 0.3333333333333333)")
    above = [(1, 1), (9, 9), (1, 9)]
    check(forbidden_lags(polygon_diagram(above), square, TEN), [(10 * math.sqrt(0.1) - 9, 2.5)])
    # The mirrored question: T - S is least at the same place.
    below = [(1, 1), (9, 1), (9, 9)]
    check(forbidden_lags(polygon_diagram(below), TEN, square), [(-2.5, 9 - 10 * math.sqrt(0.1))])


def test_an_overshoot_reaches_beyond_the_route():
    # To 12 mm within the first 10 frames, then back to 10 mm at frame 20: at 11 mm at 11/1.2 and at 15. By hand.
    over = Walk(10, 20, "linear(0, 1.2 50%, 1)")
    check(forbidden_lags(polygon_diagram(box(11, 13, 3, 7)), over, TEN), [(11 / 1.2 - 7, 15 - 3)])
    # Walking back, the same easing ends at 0 mm and swings to -2 mm on the way: at -1 mm at 11/1.2 and at 15.
    back = Walk(10, 20, "linear(0, 1.2 50%, 1)", backward=True)
    check(forbidden_lags(polygon_diagram(box(-3, -1, 3, 7)), back, TEN), [(11 / 1.2 - 7, 15 - 3)])


def test_a_bounce_passes_three_times():
    # 10 mm at frame 10, back to 5 mm at frame 15, 10 mm at frame 20. Between 8 and 9 mm during (8, 9), (11, 12)
    # and (18 - 2, 18 - 1) = (18, 19): the last leg climbs 5 mm in 5 frames, so 8 mm at 18. By hand.
    bounce = Walk(10, 20, "linear(0, 1 50%, 0.5 75%, 1)")
    found = forbidden_lags(polygon_diagram(box(8, 9, 4.5, 5)), bounce, TEN)
    check(found, [(8 - 5, 9 - 4.5), (11 - 5, 12 - 4.5), (18 - 5, 19 - 4.5)])


@pytest.mark.parametrize(
    ("easing", "ring", "expected"),
    [
        # steps(2, jump-end): at 0 until frame 10, at 5 mm until frame 20, then at 10 mm (W3C: steps, jump-end).
        ("steps(2, jump-end)", box(4, 6, 4.5, 5), [(10 - 5, 20 - 4.5)]),
        ("steps(2, jump-end)", box(6, 9, 4.5, 5), []),
        ("steps(2, jump-end)", box(9, 11, 4.5, 5), [(20 - 5, INF)]),
        # jump-start: at 5 mm from frame 0 on.
        ("steps(2, jump-start)", box(4, 6, 4.5, 5), [(0 - 5, 10 - 4.5)]),
    ],
)
def test_steps_are_only_where_they_stand(easing, ring, expected):
    check(forbidden_lags(polygon_diagram(ring), Walk(10, 20, easing), TEN), expected)


def test_intervals_join_where_they_touch():
    assert merge_intervals([(3, 5), (0, 1), (4, 6), (1, 2)]) == ((0, 2), (3, 6))
    assert merge_intervals([(-INF, 0), (2, INF)]) == ((-INF, 0), (2, INF))
    assert merge_intervals([]) == ()


# --- Against sampled curves ------------------------------------------------------------------------------------

walks = st.builds(
    Walk,
    length=st.floats(5, 80),
    frames=st.integers(3, 40),
    easing=smooth | st.sampled_from(["linear(0, 0.6 20%, 0.3 60%, 1)", "linear(0, 1.3 70%, 1)"]),
    backward=st.booleans(),
)


def thousandths(low, high):
    """Shares on a grid: a region that begins at 1e-310 of a route begins at 0 for all that the verdict can tell."""
    return st.integers(round(1000 * low), round(1000 * high)).map(lambda n: n / 1000)


shares = st.tuples(thousandths(-0.3, 1.1), thousandths(-0.3, 1.1), thousandths(0.1, 0.6), thousandths(0.1, 0.6))


@st.composite
def regions(draw):
    """A convex ring with some width both ways, in shares of the two routes."""
    s, t, wide, high = draw(shares)
    angles = sorted(draw(st.lists(st.floats(0, 2 * math.pi), min_size=3, max_size=7)))
    points = [(s + wide * (1 + math.cos(x)) / 2, t + high * (1 + math.sin(x)) / 2) for x in angles]
    hull = shapely.convex_hull(shapely.MultiPoint(points))
    if hull.geom_type != "Polygon" or shapely.minimum_clearance(hull) < 0.02:
        return box(s, s + wide, t, t + high)
    return [tuple(xy) for xy in shapely.get_coordinates(hull)[:-1]]


def ring_of(region, a, b):
    return [(s * a.length, t * b.length) for s, t in region]


FUZZ = settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
LONG = settings(FUZZ, max_examples=int(os.environ.get("CHOREO_FUZZ", "400")))
arguments = given(region=regions(), a=walks, b=walks, draws=st.lists(st.floats(0, 1), min_size=5, max_size=5))


def agree_with_samples(region, a, b, draws):
    """No free lag meets at any sampled instant; no interval ends farther than `WIDE` from a lag that meets."""
    ring = ring_of(region, a, b)
    found = forbidden_lags(polygon_diagram(ring), a, b)
    assert forbidden_lags(polygon_diagram(ring), a, b, quick=True) == found
    span = a.frames + b.frames + 1.0
    ends = [end for pair in found for end in pair if math.isfinite(end)]
    for lag in [-span + 2 * span * x for x in draws] + [end + d for end in ends for d in (-1e-6, 1e-6)]:
        if not any(low < lag < high for low, high in found):
            assert not meets(ring, a, b, lag, 1e-6), f"lag {lag} is called free"
    # What is sampled more closely may be found nearer, never what does not meet.
    met = lags_of_edges(ring, a, b) if ends else np.zeros(0)
    if any(np.abs(met - end).min(initial=math.inf) >= WIDE for end in ends):
        met = lags_of_edges(ring, a, b, closer=8)
    for end in ends:
        assert np.abs(met - end).min(initial=math.inf) < WIDE, f"nothing meets near {end}"
    for end in (end for pair in found for end in pair if not math.isfinite(end)):
        assert stands_in(ring, a, b, end), f"nothing meets toward {end}"


@FUZZ
@example(
    region=box(0.3, 0.5, -0.2, 0.2), a=Walk(10, 10, "ease"), b=Walk(20, 8, "min-jerk", backward=True), draws=[0.5] * 5
)
@example(
    region=box(1.0, 1.2, 0.2, 0.4),
    a=Walk(50, 20, "cubic-bezier(0.34, 1.56, 0.64, 1)"),
    b=Walk(20, 8, "ease-in"),
    draws=[0.5] * 5,
)
@arguments
def test_agrees_with_sampled_curves(region, a, b, draws):
    agree_with_samples(region, a, b, draws)


@pytest.mark.fuzz
@LONG
@arguments
def test_agrees_with_sampled_curves_for_long(region, a, b, draws):
    agree_with_samples(region, a, b, draws)


def test_many_regions_at_once_are_the_union_of_each():
    # With more polygons than are asked in one go, what is left out must not matter.
    rng = np.random.default_rng(7)
    a, b = Walk(60, 25, "ease-in-out"), Walk(90, 30, "cubic-bezier(0.3, 0, 0.1, 1)")
    corner = rng.uniform(0.02, 0.9, (150, 2)) * (60, 90)
    size = rng.uniform(0.2, 1.5, (150, 2))
    rings = [box(s, s + w, t, t + h) for (s, t), (w, h) in zip(corner, size, strict=True)]
    each = [span for ring in rings for span in forbidden_lags(polygon_diagram(ring), a, b)]
    for found, expected in zip(forbidden_lags(polygon_diagram(*rings), a, b), merge_intervals(each), strict=True):
        assert found == pytest.approx(expected, abs=2 * OUTWARD)
