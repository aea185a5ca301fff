"""Groups that leave as one, and stops on the way: timed by hand-built trees, refereed by looking at every instant."""

import itertools

import numpy as np
import pytest
from small_assemblies import box, phase, shot

from choreo.compile import build_solid
from choreo.errors import ChoreoError
from choreo.geometry.collision.encounter import make_encounters
from choreo.model.choreography import GroupMotion, PartMotion
from choreo.model.plan import Removal, RemovalStep
from choreo.motion.law import evaluate_keys, keys, pieces, progress, progress_law
from choreo.motion.path import position
from choreo.passes.schedule import plan_schedule

TOUCH = 0.05
STEPS = 32
"""Instants a frame at which the referee looks."""
UP = (0.0, 0.0, 1.0)


class Stage:
    """Boxes with routes of several legs and a removal tree."""

    def __init__(self, boxes, routes, removal, shared=None, stops=None):
        self.low = {name: np.array(low, float) for name, low, _ in boxes}
        self.high = {name: np.array(high, float) for name, _, high in boxes}
        self.routes = {name: np.array(route, float) for name, route in routes.items()}
        self.routes[removal.body] = np.zeros((1, 3))
        self.removal, self.shared, self.stops = removal, shared or {}, stops or {}
        solids = {n: build_solid(box(n, *l[:2], *h[:2], l[2], h[2]).slabs) for n, l, h in boxes}
        self.encounters = make_encounters(solids, TOUCH, {})

    def plan(self, *phases):
        made = plan_schedule(
            shot(*phases), self.removal, self.routes, self.encounters, shared_mm=self.shared, stops_mm=self.stops
        )
        self.check(made)
        return made

    def places(self, moves, part, times):
        law = progress_law([move for move in moves if move.part == part])
        return position(self.routes[part], progress(law, times))

    def meeting(self, moves, last):
        """The first pair that overlaps at a sampled instant, and when; None where nobody meets."""
        times = np.linspace(0, last, last * STEPS + 1)
        at = {part: self.places(moves, part, times) for part in self.low}
        for a, b in itertools.combinations(self.low, 2):
            low = np.maximum(self.low[a] + at[a], self.low[b] + at[b])
            high = np.minimum(self.high[a] + at[a], self.high[b] + at[b])
            hit = np.flatnonzero(np.all(high - low > TOUCH + 1e-6, axis=1))
            if len(hit):
                return a, b, times[hit[0]]
        return None

    def check(self, made):
        """No two meet; keys, laws and pieces agree; members of a group stay together until they come off."""
        assert self.meeting(made.moves, sum(made.frames)) is None
        times = np.linspace(-1, sum(made.frames) + 1, 997)
        for part in self.routes:
            law = progress_law([move for move in made.moves if move.part == part])
            assert np.abs(evaluate_keys(keys(law), times) - progress(law, times)).max() < 1e-9
            for piece in pieces(law):
                inside = times[(times > piece.t0 + 1e-6) & (times < piece.t1 - 1e-6)]
                assert np.abs(progress(law, inside) - piece.value(inside)).max(initial=0.0) < 1e-9


def leaf(part):
    return RemovalStep(part, UP)


def group(lead, *steps):
    return RemovalStep(lead, UP, inner=Removal(tuple(steps), lead))


def crate(gap=0.0):
    """A tray with two bricks on it leaves upward as one; outside the bricks go left and right. A gate passes below.

    The gate stands beside and crosses the way of the tray, at a height that tray and bricks pass.
    """
    boxes = [
        ("floor", (-40, -40, -10), (40, 40, 0)),
        ("tray", (-20, -20, 0), (20, 20, 5)),
        ("left", (-20, -20, 5), (-1, 20, 15)),
        ("right", (1, -20, 5), (20, 20, 15)),
        ("gate", (60, -10, 30), (80, 10, 40)),
    ]
    up = [(0, 0, 0), (0, 0, 60)]
    routes = {
        "tray": up,
        "left": [*up, (-50 - gap, 0, 60)],
        "right": [*up, (50 + gap, 0, 60)],
        "gate": [(0, 0, 0), (-140, 0, 0)],
    }
    shared = {"tray": (60.0,), "left": (60.0,), "right": (60.0,)}
    return Stage(boxes, routes, Removal((group("tray", leaf("left"), leaf("right")), leaf("gate")), "floor"), shared)


def starts(made, part, index=0):
    return [move for move in made.moves if move.part == part and move.phase == index]


def test_a_group_moves_as_one_and_its_parts_follow_from_its_arrival():
    made = crate().plan(phase("explode", 60, stagger=4))
    # By hand: the group's turn is first, frame 0; it arrives on 10, and its parts start on 10 and 10 + 4.
    assert [(m.start, m.frames, m.span) for m in starts(made, "tray")] == [(0, 10, (0.0, 1.0))]
    assert [(m.start, m.frames) for m in starts(made, "left")] == [(0, 10), (10, 10)]
    assert [(m.start, m.frames) for m in starts(made, "right")] == [(0, 10), (14, 10)]
    first, second = starts(made, "left")
    assert first.span == (0.0, 60 / 110)
    assert second.span == (60 / 110, 1.0)
    for part in ("left", "right"):
        until = np.linspace(0, 10, 50)
        alone = crate().places(made.moves, "tray", until)
        assert crate().places(made.moves, part, until) == pytest.approx(alone, abs=1e-9)


def test_the_way_back_in_reverse():
    made = crate().plan(phase("explode", 60, stagger=4), phase("assemble", 60, stagger=4))
    # By hand, from frame 60: the gate on turn 0; the group on turn 1, right on 64, left on 68, which arrives on 78;
    # then the group. Unless the gate is in the way, which it is not: it is home on 70.
    assert [m.start for m in starts(made, "gate", 1)] == [60]
    assert [m.start for m in starts(made, "right", 1)] == [64, 78]
    assert [m.start for m in starts(made, "left", 1)] == [68, 78]
    assert [m.start for m in starts(made, "tray", 1)] == [78]
    assert [m.span for m in starts(made, "left", 1)] == [(60 / 110, 1.0), (0.0, 60 / 110)]


def test_a_group_may_differ():
    own = GroupMotion(("left", "right", "tray"), PartMotion("linear", 7, delay=2), stagger=9)
    one = phase("explode", 60, stagger=4)
    made = crate().plan(type(one)(**{**one.__dict__, "groups": (own,)}))
    assert [(m.start, m.frames, m.easing) for m in starts(made, "tray")] == [(2, 7, "linear")]
    assert [m.start for m in starts(made, "left")] == [2, 9]
    assert [m.start for m in starts(made, "right")] == [2, 18]


def passing():
    """A bar drives through the place where two parts of a group stand between their two moves.

    The bar passes at the height at which the group comes apart, before the group is there or after its parts left.
    """
    boxes = [
        ("floor", (-40, -40, -10), (40, 40, 0)),
        ("tray", (-20, -20, 0), (20, 20, 5)),
        ("brick", (-10, -10, 5), (10, 10, 15)),
        ("bar", (-70, -5, 66), (-30, 5, 74)),
    ]
    up = [(0, 0, 0), (0, 0, 60)]
    routes = {"tray": up, "brick": [*up, (0, 0, 120)], "bar": [(0, 0, 0), (120, 0, 0)]}
    shared = {"tray": (60.0,), "brick": (60.0,)}
    removal = Removal((group("tray", leaf("brick")), leaf("bar")), "floor")
    return Stage(boxes, routes, removal, shared)


def brute(stage, one, moves, anchor, offset):
    """The least total departure over all starts, looked up instant by instant.

    Items: tray and brick together, brick alone, bar. The brick's own wish counts from the group's arrival.
    """
    frames, best = one.frames, None
    kinds = {"easing": one.default.easing, "kind": one.kind}
    cut = 60 / 120
    ranges = [range(frames - move) for move in moves]
    found = {}
    from choreo.model.plan import Move

    for g, b, r in itertools.product(*ranges):
        if b < g + moves[0]:
            continue
        away = abs(g - offset[0]) + abs(b - g - moves[0] - offset[1]) + abs(r - offset[2])
        if best is not None and away >= best:
            continue
        made = [
            Move("tray", 0, g, moves[0], wish=0, **kinds),
            Move("brick", 0, g, moves[0], wish=0, span=(0.0, cut), **kinds),
            Move("brick", 0, b, moves[1], wish=0, span=(cut, 1.0), **kinds),
            Move("bar", 0, r, moves[2], wish=0, **kinds),
        ]
        if stage.meeting(made, frames) is None:
            best, found = away, (g, b, r)
    return best, found


@pytest.mark.parametrize(("stagger", "delay"), [(2, 0), (5, 6), (8, 2), (3, 14)])
def test_nobody_drives_through_a_part_between_its_two_moves(stagger, delay):
    stage = passing()
    parts = {"brick": PartMotion("ease-in-out", 6, delay=delay)}
    one = phase("explode", 34, stagger=stagger, move=6, parts=parts)
    made = stage.plan(one)
    g, b, r = starts(made, "tray")[0], starts(made, "brick")[1], starts(made, "bar")[0]
    away = sum(abs(m.start - m.wish) for m in (g, b, r))
    best, _ = brute(stage, one, (6, 6, 6), None, (0, delay, stagger))
    assert away == best
    for move in (g, b, r):
        assert (move.reason == "") == (move.start == move.wish)


def test_groups_inside_groups():
    boxes = [
        ("floor", (-40, -40, -10), (40, 40, 0)),
        ("tray", (-20, -20, 0), (20, 20, 5)),
        ("brick", (-10, -10, 5), (10, 10, 15)),
        ("cap", (-5, -5, 15), (5, 5, 20)),
    ]
    up, on = [(0, 0, 0), (0, 0, 40)], (0, 0, 80)
    routes = {"tray": up, "brick": [*up, on], "cap": [*up, on, (30, 0, 80)]}
    shared = {"tray": (40.0,), "brick": (40.0, 80.0), "cap": (40.0, 80.0)}
    removal = Removal((group("tray", group("brick", leaf("cap"))),), "floor")
    stage = Stage(boxes, routes, removal, shared)
    made = stage.plan(phase("explode", 60), phase("hold", 3), phase("assemble", 60))
    # By hand: each comes off when what carries it has arrived, 10 frames a move.
    assert [m.start for m in starts(made, "cap")] == [0, 10, 20]
    assert [m.start for m in starts(made, "brick")] == [0, 10]
    assert [m.start for m in starts(made, "cap", 2)] == [63, 73, 83]
    assert [m.start for m in starts(made, "tray", 2)] == [83]


def test_an_easing_that_would_tear_a_group_apart():
    with pytest.raises(ChoreoError) as caught:
        crate().plan(phase("explode", 60, easing="cubic-bezier(0.3, 1.5, 0.6, 1)"))
    (finding,) = caught.value.findings
    assert (finding.code, caught.value.exit_code) == ("group-overshoots", 1)
    assert '"tray" (left, right, tray)' in finding.what


def test_a_group_that_waits_for_its_own_part_says_so():
    one = phase("explode", 60)
    with pytest.raises(ChoreoError) as caught:
        crate().plan(type(one)(**{**one.__dict__, "waits": (("tray", "left"),)}))
    (finding,) = caught.value.findings
    assert finding.code == "rules-conflict"
    assert '"left" moves after "tray"' in finding.why
    assert '"tray" waits until "left" has arrived' in finding.why
    assert "right" not in finding.why


# --- Stops --------------------------------------------------------------------------------------------------------


def corner(frames=20, kind="explode"):
    """One part with a sharp corner after 30 of 90 mm, and one that stands in nobody's way."""
    boxes = [("floor", (-40, -40, -10), (40, 40, 0)), ("part", (-10, -10, 0), (10, 10, 10))]
    routes = {"part": [(0, 0, 0), (0, 0, 30), (60, 0, 30)]}
    stage = Stage(boxes, routes, Removal((leaf("part"),), "floor"), stops={"part": (30.0,)})
    return stage, stage.plan(phase(kind, 40, move=frames))


def test_a_stop_shares_the_frames_by_length():
    # 20 frames over 30 and 60 mm: 6.67 and 13.33, so 7 and 13 (largest remainder). By hand.
    _, made = corner()
    assert [(m.start, m.frames, m.span, m.reason) for m in made.moves] == [
        (0, 7, (0.0, 1 / 3), ""), (7, 13, (1 / 3, 1.0), ""),
    ]  # fmt: skip
    _, back = corner(kind="assemble")
    assert [(m.start, m.frames, m.span) for m in back.moves] == [(0, 13, (1 / 3, 1.0)), (13, 7, (0.0, 1 / 3))]


def test_at_a_stop_the_part_stands_still():
    stage, made = corner()
    before, at, after = stage.places(made.moves, "part", np.array([6.99, 7.0, 7.01]))
    assert at == pytest.approx([0, 0, 30], abs=1e-12)
    # Eased to a stop: a hundredth of a frame on either side it has hardly moved (an even pace is 4.5 mm a frame).
    assert np.linalg.norm(before - at) < 0.005
    assert np.linalg.norm(after - at) < 0.005


def test_a_move_of_one_frame_makes_no_stop():
    _, made = corner(frames=1)
    assert [(m.start, m.frames, m.span) for m in made.moves] == [(0, 1, (0.0, 1.0))]


def test_stops_count_in_the_waiting_of_others():
    # "late" crosses the second leg of "bent": what the stop costs in time is kept clear of, by the referee in plan().
    boxes = [
        ("floor", (-40, -40, -10), (40, 40, 0)),
        ("bent", (-10, -10, 0), (10, 10, 10)),
        ("late", (20, -60, 30), (30, -50, 40)),
    ]
    routes = {"bent": [(0, 0, 0), (0, 0, 30), (60, 0, 30)], "late": [(0, 0, 0), (0, 120, 0)]}
    removal = Removal((leaf("bent"), leaf("late")), "floor")
    found = []
    for stops in ({}, {"bent": (30.0,)}):
        made = Stage(boxes, routes, removal, stops=stops).plan(phase("explode", 60, stagger=3, move=20))
        found.append(starts(made, "late")[0].start)
    assert found[0] != found[1]


# --- Random trees -------------------------------------------------------------------------------------------------


def random_tree(rng):
    boxes, routes, shared, steps = [("floor", (-90, -90, -10), (90, 90, 0))], {}, {}, []
    for k in range(3):
        x = -60 + 50 * k
        up, rise = int(rng.integers(20, 40)), int(rng.integers(20, 50))
        away = rng.integers(-60, 60, 2)
        boxes += [(f"t{k}", (x, -20, 0), (x + 40, 20, 5)), (f"b{k}", (x + 5, -10, 5), (x + 35, 10, 15))]
        routes[f"t{k}"] = [(0, 0, 0), (0, 0, up)]
        routes[f"b{k}"] = [(0, 0, 0), (0, 0, up), (0, 0, up + rise), (away[0], away[1], up + rise)]
        shared[f"t{k}"] = shared[f"b{k}"] = (float(up),)
        steps.append(group(f"t{k}", leaf(f"b{k}")))
    return Stage(boxes, routes, Removal(tuple(steps), "floor"), shared)


def test_random_trees_never_collide():
    rng = np.random.default_rng(7)
    departed, codes = 0, set()
    for _ in range(40):
        stage, kind = random_tree(rng), "explode" if rng.random() < 0.5 else "assemble"
        easing = str(rng.choice(["linear", "ease-in-out", "min-jerk"]))
        one = phase(kind, 90, stagger=int(rng.integers(0, 6)), move=int(rng.integers(5, 12)), easing=easing)
        try:
            made = stage.plan(one)
        except ChoreoError as error:
            codes |= {f.code for f in error.findings}
            continue
        departed += any(move.start != move.wish for move in made.moves)
    assert departed >= 3
    assert codes <= {"rests-in-the-way", "cannot-pass"}
