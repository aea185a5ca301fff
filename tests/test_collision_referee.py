"""No two parts meet: whole films, and single verdicts about lags, before a mesh library as referee (manifold3d).

`CHOREO_FUZZ=n` lengthens the runs marked `fuzz` to n random cases each.
"""

from __future__ import annotations

import dataclasses
import math
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from mesh_referee import Pair, along, eroded, meshes, pairs, values, worst_overlap
from random_assemblies import HOMEWARD, OUTWARD, dressed_tray, random_assembly, random_film

from choreo.compile import compile_film, take_apart
from choreo.errors import ChoreoError
from choreo.geometry.collision.encounter import make_encounters
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Slab
from choreo.model.tracks import Key
from choreo.motion.lag import forbidden_lags
from choreo.motion.walk import Walk
from choreo.read.project import read_project

DEMOS = Path(__file__).parents[1] / "demo_assemblies"
FUZZ = int(os.environ.get("CHOREO_FUZZ", "2"))
ROUNDING = 1e-6
"""Cubic mm that two meshes may share by rounding alone."""
SEEDS = st.integers(0, 10**6)
MORE_EASINGS = (
    "cubic-bezier(0.36, 0, 0.66, -0.56)",
    "linear(0, 1.4 50%, 1)",
    "linear(0, -0.3 30%, 1)",
    "steps(2, jump-end)",
)


class _Stop(Exception):  # noqa: N818 - not an error
    pass


@dataclasses.dataclass
class Timed:
    """One shot as far as its tracks: the passes after it only draw."""

    frames: int
    tracks: tuple
    bare: set


def timed_shots(assembly, film):
    """Compile each shot up to its tracks."""
    out = []
    for shot in film.shots:
        seen = {}

        def hook(name, artefact, shot=shot, seen=seen):
            seen[name] = artefact
            if name == f"tracks of {shot.name}":
                raise _Stop

        with pytest.raises(_Stop):
            compile_film(assembly, film, only_shot=shot.name, on_stage=hook)
        schedule = seen[f"schedule of {shot.name}"]
        bare = {frozenset(pair) for pair in schedule.bare_pairs}
        out.append(Timed(shot.frames, seen[f"tracks of {shot.name}"].parts, bare))
    return out


def random_shots(seed, **changes):
    """One of the two shots of a random film; an example that has no solution counts for nothing.

    An easing that overshoots may well run into a part at rest. Hypothesis complains if most examples are like that.
    """
    assembly = random_assembly(seed)
    film = random_film(seed, assembly.ids)
    film = dataclasses.replace(film, shots=film.shots[seed // 2 % 2 :][:1], **changes)
    try:
        return assembly, film, timed_shots(assembly, film)
    except ChoreoError as error:
        refused = error
    assert refused.exit_code == 1, str(refused)
    return reject()


def check_film(seed, steps=5):
    assembly, _, shots = random_shots(seed)
    referees = pairs(assembly)
    for shot in shots:
        volume, pair, time = worst_overlap(referees, shot.tracks, shot.frames, steps)
        assert volume <= ROUNDING, (pair, time, volume)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(SEEDS)
def test_no_two_parts_of_a_random_film_meet(seed):
    """Every kind of easing, stagger, delay and view; five instants a frame."""
    check_film(seed)


@pytest.mark.fuzz
@settings(max_examples=FUZZ, deadline=None)
@given(SEEDS)
def test_no_two_parts_of_a_random_film_meet_for_long(seed):
    check_film(seed, steps=16)


@pytest.mark.parametrize("seed", [1, 4])
def test_a_whole_compile_of_a_random_film_keeps_the_referees_verdict(seed):
    assembly = random_assembly(seed)
    film = compile_film(assembly, random_film(seed, assembly.ids))
    for shot in film.tracks.shots:
        assert worst_overlap(pairs(assembly), shot.parts, shot.frames, 3)[0] <= ROUNDING


@pytest.mark.parametrize(
    ("name", "steps", "share"), [("layers_only", 4, 1.0), ("headlamp", 2, 0.5), ("hand_grinder", 1, 0.5)]
)
def test_no_two_parts_of_a_demo_meet(name, steps, share):
    """Instants at which two boxes overlap are asked; of the longer films some."""
    project = read_project(DEMOS / name)
    referees = pairs(project.assembly)
    rng = np.random.default_rng(7)
    for shot in timed_shots(project.assembly, project.choreography):
        times = rng.uniform(0, shot.frames - 1, int(share * steps * shot.frames))
        places = {t.id: along(t.route, values(t.keys, times)) for t in shot.tracks}
        moved = {t.id for t in shot.tracks if len(t.keys) > 1}
        assert len(moved) == len(project.assembly.parts) - 1
        for (a, b), pair in referees.items():
            volume, row = pair.most(places[b] - places[a])
            assert volume <= ROUNDING, (a, b, times[row])


@settings(max_examples=12, deadline=None, derandomize=True)
@given(SEEDS)
def test_moving_parts_keep_their_clearance(seed):
    """Mesh distances of pairs that do not rest within the clearance and are not reported as passing closer."""
    assembly, film, shots = random_shots(seed, clearance_mm=1.5)
    apart = take_apart(assembly, film.clearance_mm)
    solids = meshes(assembly)
    for shot in shots:
        times = np.arange((shot.frames - 1) * 2) / 2
        places = {t.id: along(t.route, values(t.keys, times)) for t in shot.tracks}
        for a, b in apart.encounters.clearance:
            if apart.removal.body in (a, b) or frozenset((a, b)) in shot.bare:
                continue
            pair = Pair(solids[a], solids[b])
            by = places[b] - places[a]
            near = np.all((by > pair.low - 1.5) & (by < pair.high + 1.5), axis=1)
            for d in np.unique(np.round(by[near], 6), axis=0)[:40]:
                # Shrunk meshes: what the shrinking took off is no part of the distance that is kept.
                assert pair.gap(d, 9.0) - assembly.touch_mm >= 1.5 - 1e-4, (a, b)


# The referee itself.


def test_the_referee_sees_parts_that_start_in_the_wrong_order():
    """All parts of a tray start at once, or one after the other from the inside out: they meet."""
    assembly = dressed_tray(4)
    film = random_film(4, assembly.ids)
    shot = timed_shots(assembly, film)[0]
    for shift in (lambda _first: 0, lambda first: 100 - first):
        spoilt = [
            dataclasses.replace(
                t,
                keys=tuple(
                    dataclasses.replace(k, frame=k.frame - t.keys[0].frame + shift(t.keys[0].frame)) for k in t.keys
                ),
            )
            if len(t.keys) > 1
            else t
            for t in shot.tracks
        ]
        assert worst_overlap(pairs(assembly), spoilt, 140, 3)[0] > 1.0


def test_the_referees_shrinking_by_hand():
    """A 10 mm cube shrunk by 0.5 all round is one of 9 mm; an L keeps square corners; thin bands vanish."""
    cube = [
        Slab(((0, 0), (10, 0), (10, 10), (0, 10)), (), (0.0, 4.0)),
        Slab(((0, 0), (10, 0), (10, 10), (0, 10)), (), (4.0, 10.0)),
    ]
    assert eroded(cube, (0, 0, 0), 0.5).volume() == pytest.approx(9.0**3)
    step = [cube[0], Slab(((0, 0), (5, 0), (5, 10), (0, 10)), (), (4.0, 10.0))]
    # 9 x 9 x 3.5 - 0.5 below the step's face, 4 x 9 above it.
    assert eroded(step, (0, 0, 0), 0.5).volume() == pytest.approx(9 * 9 * 3 + 4 * 9 * 6)
    thin = [Slab(((0, 0), (10, 0), (10, 10), (0, 10)), (), (0.0, 0.9))]
    assert eroded(thin, (0, 0, 0), 0.5).is_empty()


# Verdicts about lags.


@settings(max_examples=40, deadline=None, derandomize=True)
@given(SEEDS)
def test_forbidden_lags_are_those_at_which_meshes_meet(seed):
    check_lags(seed)


@pytest.mark.fuzz
@settings(max_examples=FUZZ, deadline=None)
@given(SEEDS)
def test_forbidden_lags_are_those_at_which_meshes_meet_for_long(seed):
    check_lags(seed)


def check_lags(seed):
    """Just outside each forbidden interval nothing meets at any instant; well inside, something does at some."""
    rng = np.random.default_rng(seed)
    assembly = random_assembly(seed)
    names = (
        [str(n) for n in rng.choice(assembly.ids, 2, replace=False)] if len(assembly.ids) > 2 else list(assembly.ids)
    )
    encounters = make_encounters({p.id: build_solid(p.slabs, p.offset) for p in assembly.parts}, assembly.touch_mm, {})
    routes = [_route(rng) for _ in names]
    easings = (*OUTWARD, *HOMEWARD, *MORE_EASINGS)
    walks = [
        Walk(_length(route), int(rng.integers(3, 14)), str(rng.choice(easings)), bool(rng.random() < 0.4))
        for route in routes
    ]
    forbidden = forbidden_lags(lambda s, t: encounters.diagram(*names, *routes, (s, t)), *walks)
    solids = meshes(assembly)
    film = Race(Pair(*(solids[n] for n in names)), routes, walks)
    for low, high in forbidden:
        for lag in _inside(low, high):
            assert film.meet(lag, thorough=True), (lag, forbidden)
    ends = [end for span in forbidden for end in span if math.isfinite(end)]
    outside = [end + s * step for end in ends for s in (-1, 1) for step in (1e-6, 0.02, 0.4)]
    for lag in [*outside, *rng.uniform(-30, 30, 4)]:
        if not any(low < lag < high for low, high in forbidden):
            assert not film.meet(lag, thorough=False), (lag, forbidden)


def _inside(low, high):
    """Lags well inside an interval, farther from its ends than these are rounded outward."""
    low, high = max(low, min(high, 60.0) - 60.0), min(high, max(low, -60.0) + 60.0)
    return [low + share * (high - low) for share in (0.25, 0.5, 0.75)] if high - low > 0.2 else []


def _route(rng):
    legs = int(rng.integers(1, 4))
    steps = rng.normal(size=(legs, 3)) * [18, 18, 12]
    if rng.random() < 0.5:
        steps[0] = [0, 0, rng.uniform(4, 25)]
    return np.concatenate([np.zeros((1, 3)), np.cumsum(steps, axis=0)])


def _length(route):
    return float(np.linalg.norm(np.diff(route, axis=0), axis=1).sum())


@dataclasses.dataclass
class Race:
    """Two parts on their ways, the second starting later by a lag."""

    pair: Pair
    routes: list
    walks: list

    def meet(self, lag, *, thorough):
        """Whether meshes overlap at some instant; thorough: look again, finer, where they are nearest."""
        first, last = min(0.0, lag) - 1, max(self.walks[0].frames, lag + self.walks[1].frames) + 1
        for count in (500, 12000) if thorough else (500,):
            times = np.concatenate([np.linspace(first, last, count), self._jumps(lag)])
            if self.pair.most(self._apart(times, lag), enough=ROUNDING)[0] > ROUNDING:
                return True
        return False

    def _apart(self, times, lag):
        places = []
        for route, walk, start in zip(self.routes, self.walks, (0.0, lag), strict=True):
            at = [1.0, 0.0] if walk.backward else [0.0, 1.0]
            keys = (Key(start, at[0], walk.easing), Key(start + walk.frames, at[1]))
            places.append(along(route, values(keys, times)))
        return places[1] - places[0]

    def _jumps(self, lag):
        """Just before and after each start, arrival and step."""
        marks = [start + walk.frames * k / n for walk, start in zip(self.walks, (0.0, lag), strict=True)
                 for n in (2, 3, 4, 5, 6) for k in range(n + 1)]  # fmt: skip
        return np.array([m + e for m in marks for e in (-1e-7, 1e-7)])


def test_two_blocks_that_cross_by_hand():
    """A 10 mm block crosses, at 2 mm a frame, the way of another that crosses its own: touching is free.

    a stands at x = -40 and moves to +40 along y = 0; b at y = -40 to +40 along x = 0. Both cover 80 mm in 40
    frames and pass the middle after 20: they meet where |x_a| < 10 and |y_b| < 10 at once, that is for lags of
    less than 10 / 2 + 10 / 2 frames either way, less 0.05 / 2 for each touch of 0.05 mm.
    """
    block = [Slab(((-5, -5), (5, -5), (5, 5), (-5, 5)), (), (0.0, 10.0))]
    solids = {"a": build_solid(block, (-40.0, 0, 0)), "b": build_solid(block, (0, -40.0, 0))}
    encounters = make_encounters(solids, 0.05, {})
    routes = [np.array([[0, 0, 0], [80.0, 0, 0]]), np.array([[0, 0, 0], [0, 80.0, 0]])]
    walks = [Walk(80.0, 40, "linear")] * 2
    ((low, high),) = forbidden_lags(lambda s, t: encounters.diagram("a", "b", *routes, (s, t)), *walks)
    assert (low, high) == pytest.approx((-4.975 * 2, 4.975 * 2), abs=0.011)


@pytest.mark.parametrize(
    ("easing", "backward"),
    [
        ("linear(0, 1.2)", False),
        ("linear(0, 1.2)", True),
        ("linear(-0.3, 1)", False),
        ("linear(-0.3, 1)", True),
        ("linear(0.2, 1.2, 1)", False),
        ("linear(0.2, 1.2, 1)", True),
    ],
)
def test_an_easing_that_ends_or_starts_beyond_its_route_by_hand(easing, backward):
    """A 10 mm block goes 8 mm to the right; others wait 9 mm to its right and 2 mm to its left.

    The mesh says whether the two ever meet while the other waits; the verdict must say the same.
    """
    blocks = {"a": (0.0, 0, 0), "b": (19.0, 0, 0), "c": (-12.0, 0, 0)}
    shape = [Slab(((0, 0), (10, 0), (10, 10), (0, 10)), (), (0.0, 10.0))]
    encounters = make_encounters({n: build_solid(shape, at) for n, at in blocks.items()}, 0.05, {})
    routes = [np.array([[0, 0, 0], [8.0, 0, 0]]), np.array([[0, 0, 0], [0, 40.0, 0]])]
    walks = [Walk(8.0, 20, easing, backward), Walk(40.0, 20, "linear")]
    for other in "bc":
        forbidden = forbidden_lags(lambda s, t, other=other: encounters.diagram("a", other, *routes, (s, t)), *walks)
        race = Race(Pair(*(eroded(shape, blocks[n], 0.025) for n in ("a", other))), routes, walks)
        met = race.meet(200.0, thorough=True)
        assert any(low < 200.0 < high for low, high in forbidden) == met
