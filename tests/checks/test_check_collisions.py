"""The collision checker passes what the passes make and finds every way of spoiling it."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_referee import pairs, worst_overlap
from random_assemblies import dressed_tray, random_assembly, random_film

from choreo.checks.check_collisions import check_collisions
from choreo.checks.check_tracks import BrokenPromiseError
from choreo.compile import compile_film
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Assembly, Joint, Part, Slab
from choreo.model.tracks import Key, Masking, PartTrack, ShotTracks

TOUCH = 0.05


def box(x0, y0, z0, x1, y1, z1):
    return [Slab(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), (), (float(z0), float(z1)))]


def track(name, route, keys, frames=21):
    still = np.zeros((frames, 3))
    ones = np.ones(frames)
    return PartTrack(name, np.array(route, dtype=float), tuple(keys), still, still[:, :2], ones, ones, (None,) * frames)


def shot(*tracks, frames=21):
    return ShotTracks("burst", 0, frames, np.zeros((frames, 3, 4)), tracks, np.zeros(frames), Masking((), ()))


def check(made, solids, pressed=None, **steps):
    check_collisions(made, {n: build_solid(s) for n, s in solids.items()}, TOUCH, pressed or {}, **steps)


# Block a, 10 mm long, goes 20 mm toward b in 10 frames; the gap is 10 mm. The two touch on frame 5.
BLOCKS = {"a": box(0, 0, 0, 10, 10, 10), "b": box(20, 0, 0, 30, 10, 10)}
STANDS = track("b", [[0, 0, 0]], [Key(0, 0.0)])


def goes(far, easing="linear"):
    return track("a", [[0, 0, 0], [far, 0, 0]], [Key(0, 0.0, easing), Key(10, 1.0)])


def test_the_first_instant_of_an_overlap_is_named():
    """2 mm a frame: after 10.05 mm, on frame 5.025, they overlap; the first instant in eighths of a frame is 5.125."""
    with pytest.raises(BrokenPromiseError, match=r"^a and b overlap at frame 5\.125 of shot burst$"):
        check(shot(goes(20), STANDS), BLOCKS)


def test_touching_is_no_overlap():
    check(shot(goes(10), STANDS), BLOCKS)
    check(shot(goes(10.04), STANDS), BLOCKS)
    with pytest.raises(BrokenPromiseError):
        check(shot(goes(10.06), STANDS), BLOCKS)


def test_exactly_what_may_touch_is_no_overlap_along_z_either():
    """1.05 - 0.025 is a hair more than 1 + 0.025 in binary: 2e-16 mm of both solids are in one place."""
    low, high = box(0, 0, 0, 10, 10, 1.05), box(0, 0, 1, 10, 10, 20)
    stands = track("a", [[0, 0, 0]], [Key(0, 0.0)])
    check(shot(stands, STANDS), {"a": low, "b": high})
    with pytest.raises(BrokenPromiseError):
        check(shot(stands, STANDS), {"a": low, "b": box(0, 0, 0.9999, 10, 10, 20)})


def test_an_overlap_between_two_frames_is_found():
    """The easing peaks between frames 5 and 6 of 10, at 1.3 times 9 mm, and is below 1 on whole frames."""
    peak = "linear(0, 0.5 50%, 1.3 55%, 0.5 60%, 1)"
    with pytest.raises(BrokenPromiseError, match=r"frame 5\.5 "):
        check(shot(goes(9, peak), STANDS), BLOCKS)
    check(shot(goes(9, peak), STANDS), BLOCKS, steps=1)


def test_overshoot_beyond_the_end_of_a_route_is_found():
    """This cubic-bezier peaks near 1.1 (read off a plot): 9.5 mm become more than 10.05."""
    check(shot(goes(9.5, "ease-out"), STANDS), BLOCKS)
    with pytest.raises(BrokenPromiseError):
        check(shot(goes(9.5, "cubic-bezier(0.34, 1.56, 0.64, 1)"), STANDS), BLOCKS)


@pytest.mark.parametrize("axis", range(3))
@pytest.mark.parametrize("sign", [1, -1])
def test_overlap_is_looked_for_along_every_axis(axis, sign):
    """The gap is 10 mm on either side; 11 mm are 1 too many, and harmless in any other direction."""
    low, high, way = [0.0] * 3, [10.0] * 3, [0.0] * 3
    low[axis], high[axis], way[axis] = 20.0 * sign, 20.0 * sign + 10.0, 11.0 * sign
    solids = {"a": BLOCKS["a"], "b": box(*low, *high)}
    keys = [Key(0, 0.0), Key(10, 1.0)]
    with pytest.raises(BrokenPromiseError):
        check(shot(track("a", [[0, 0, 0], way], keys), STANDS), solids)
    for free in ([-c for c in way], np.roll(way, 1).tolist()):
        check(shot(track("a", [[0, 0, 0], free], keys), STANDS), solids)


def test_two_parts_that_move_together_never_meet():
    """Both shifted alike: only the difference counts."""
    both = [Key(0, 0.0, "ease"), Key(10, 1.0)]
    near = {"a": BLOCKS["a"], "b": box(10, 0, 0, 20, 10, 10)}
    check(shot(track("a", [[0, 0, 0], [30, 0, 0]], both), track("b", [[0, 0, 0], [30, 0, 0]], both)), near)
    with pytest.raises(BrokenPromiseError):
        check(shot(track("a", [[0, 0, 0], [30, 0, 0]], both), track("b", [[0, 0, 0], [29, 0, 0]], both)), near)


def test_press_fit_is_allowed_for_its_own_pair_only():
    """A peg 0.2 mm wider than its hole, declared."""
    hole = ((-5, -5), (-5, 5), (5, 5), (5, -5))
    plate = [Slab(((-9, -9), (9, -9), (9, 9), (-9, 9)), (hole,), (0.0, 5.0))]
    solids = {"a": box(-5.1, -5.1, 0, 5.1, 5.1, 5), "b": plate}
    lifts = track("a", [[0, 0, 0], [0, 0, 9]], [Key(0, 0.0), Key(10, 1.0)])
    check(shot(lifts, STANDS), solids, {frozenset("ab"): 0.2})
    for wrong in ({}, {frozenset("ac"): 0.2}, {frozenset("ab"): 0.05}):
        with pytest.raises(BrokenPromiseError, match="frame 0 "):
            check(shot(lifts, STANDS), solids, wrong)


def test_holes_and_stacked_bands_are_seen():
    """A pin through a hole is free; a pin whose head is wider than the hole is not, once it is pulled down."""
    hole = ((-3, -3), (-3, 3), (3, 3), (3, -3))
    plate = [Slab(((-9, -9), (9, -9), (9, 9), (-9, 9)), (hole,), (0.0, 5.0))]
    pin = [*box(-2, -2, 0, 2, 2, 5), *box(-4, -4, 5, 4, 4, 7)]
    up, down = (track("a", [[0, 0, 0], [0, 0, z]], [Key(0, 0.0), Key(10, 1.0)]) for z in (20, -1))
    check(shot(up, STANDS), {"a": pin, "b": plate})
    with pytest.raises(BrokenPromiseError):
        check(shot(down, STANDS), {"a": pin, "b": plate})


def spoilt(made, seed):
    """Move the keys of one part by some frames, or bend its route."""
    rng = np.random.default_rng(seed)
    movers = [k for k, t in enumerate(made.parts) if len(t.keys) > 1]
    k = movers[int(rng.integers(len(movers)))]
    one = made.parts[k]
    if rng.random() < 0.5:
        late = int(rng.integers(-20, 60))
        one = dataclasses.replace(one, keys=tuple(dataclasses.replace(key, frame=key.frame + late) for key in one.keys))
    else:
        one = dataclasses.replace(one, route=one.route * rng.uniform(-1, 1, 3) + np.array([[0, 0, 0]]))
    return dataclasses.replace(made, parts=(*made.parts[:k], one, *made.parts[k + 1 :]))


@pytest.fixture(scope="module")
def films():
    """Sound ones: a tray and one made of cubes, with their mesh referees."""
    out = []
    for assembly, seed in ((dressed_tray(4), 4), (random_assembly(23), 23)):
        film = compile_film(assembly, random_film(seed, assembly.ids))
        out.append((assembly, film, pairs(assembly)))
    return out


def test_sound_films_pass(films):
    for assembly, film, _ in films:
        for made in film.tracks.shots:
            check_collisions(made, film.apart.solids, assembly.touch_mm, {}, steps=4)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_spoilt_films_are_found_exactly_where_meshes_meet(films, seed):
    """manifold3d at the same instants; overlaps too thin to tell from rounding may go either way."""
    assembly, film, referees = films[seed % 2]
    made = spoilt(film.tracks.shots[0], seed)
    volume, pair, _ = worst_overlap(referees, made.parts, made.frames, 2)
    try:
        check_collisions(made, film.apart.solids, assembly.touch_mm, {}, steps=2)
    except BrokenPromiseError:
        assert volume > 0
    else:
        assert volume < 1e-3, pair


def test_the_spoiling_makes_both_kinds(films):
    _, film, referees = films[0]
    worst = [
        worst_overlap(referees, spoilt(film.tracks.shots[0], s).parts, film.tracks.shots[0].frames, 1)[0]
        for s in range(12)
    ]
    assert sum(v > 1 for v in worst) >= 2
    assert sum(v == 0 for v in worst) >= 2


def test_a_whole_press_fit_film_passes_and_its_undeclared_twin_does_not():
    """The checker is fed as the command feeds it: interference by the joint's pair."""
    ring = [Slab(((-9, -9), (9, -9), (9, 9), (-9, 9)), (((-5, -5), (-5, 5), (5, 5), (5, -5)),), (0.0, 5.0))]
    parts = (
        Part("b", "B", "#808080", (0.0, 0.0, 0.0), tuple(ring)),
        Part("a", "A", "#808080", (0.0, 0.0, 0.0), tuple(box(-5.1, -5.1, 0, 5.1, 5.1, 5))),
    )
    joint = Joint("insert", "a", "b", (0.0, 0.0, 1.0), press_mm=0.2)
    assembly = Assembly("Pressed (invented)", TOUCH, parts, (joint,))
    film = compile_film(assembly, random_film(1, assembly.ids))
    for made in film.tracks.shots:
        check_collisions(made, film.apart.solids, TOUCH, {frozenset("ab"): 0.2})
        with pytest.raises(BrokenPromiseError):
            check_collisions(made, film.apart.solids, TOUCH, {})
