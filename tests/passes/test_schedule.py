"""Timing: the designer's wish where it can be kept, else the nearest that never collides, else a true reason."""

import itertools
import re

import numpy as np
import pytest
from small_assemblies import box, phase, shot

from choreo.compile import build_solid
from choreo.errors import ChoreoError
from choreo.geometry.collision.encounter import make_encounters
from choreo.model.choreography import PartMotion
from choreo.model.plan import Removal, RemovalStep
from choreo.motion.easing import parse_easing
from choreo.passes.schedule import plan_schedule

TOUCH = 0.05
STEPS = 40
"""Instants a frame at which the referee looks."""


class Boxes:
    """Parts that are boxes, each with one straight route; a referee that only compares their corners."""

    def __init__(self, *parts, clearance=None):
        """Each part: name, lowest corner, highest corner, displacement at rest. The first is the body."""
        self.low = {name: np.array(low, float) for name, low, _, _ in parts}
        self.high = {name: np.array(high, float) for name, _, high, _ in parts}
        self.rest = {name: np.array(rest, float) for name, _, _, rest in parts}
        self.body, *order = self.low
        self.order = tuple(order)
        solids = {}
        for name, (x0, y0, z0), (x1, y1, z1), _ in parts:
            solids[name] = build_solid(box(name, x0, y0, x1, y1, z0, z1).slabs)
        self.encounters = make_encounters(solids, TOUCH, {}, clearance)
        self.routes = {
            n: np.stack([np.zeros(3), rest]) if rest.any() else np.zeros((1, 3)) for n, rest in self.rest.items()
        }

    def plan(self, *phases):
        steps = tuple(RemovalStep(part, (0.0, 0.0, 1.0)) for part in self.order)
        return plan_schedule(shot(*phases), Removal(steps, self.body), self.routes, self.encounters)

    def at(self, part, move, times):
        """Displacement at times counted from the start of the move; held before and after."""
        frames, easing, kind = move
        eased = np.asarray(parse_easing(easing).value(np.clip(times / frames, 0, 1)))
        eased = np.where(times <= 0, 0.0, np.where(times >= frames, 1.0, eased))
        progress = eased if kind == "explode" else 1 - eased
        return progress[:, None] * self.rest[part]

    def meet(self, a, b, move_a, move_b, lag, room=0.0):
        """Whether the two boxes overlap at any sampled instant, B starting `lag` frames after A."""
        first, last = min(0, lag) - 1, max(move_a[0], lag + move_b[0]) + 1
        times = np.linspace(first, last, (last - first) * STEPS + 1)
        here, there = self.at(a, move_a, times), self.at(b, move_b, times - lag)
        low = np.maximum(self.low[a] + here, self.low[b] + there)
        high = np.minimum(self.high[a] + here, self.high[b] + there)
        return bool(np.all(high - low > TOUCH - room, axis=1).any())

    def free(self, moves, frames, beats=()):
        """Every choice of starts within a phase at which no two parts ever meet, counted in the phase."""
        parts = list(moves)
        lags = {}
        for a, b in itertools.combinations(parts, 2):
            span = range(-frames, frames + 1)
            lags[a, b] = {lag for lag in span if not self.meet(a, b, moves[a], moves[b], lag)}
        ranges = [[s for s in range(frames - moves[p][0]) if not beats or s + moves[p][0] in beats] for p in parts]
        for starts in itertools.product(*ranges):
            at = dict(zip(parts, starts, strict=True))
            if all(at[b] - at[a] in allowed for (a, b), allowed in lags.items()):
                yield at


FAR = ("body", (-300, 0, 0), (-290, 10, 10), (0, 0, 0))


def lanes():
    """Three boxes side by side that move apart from nobody."""
    return Boxes(FAR, *((f"p{k}", (0, 20 * k, 0), (10, 20 * k + 10, 10), (60, 0, 0)) for k in range(3)))


def crossing():
    """One moves right across the ways of two that move up."""
    return Boxes(
        FAR,
        ("across", (0, 0, 0), (10, 10, 10), (80, 0, 0)),
        ("up", (30, -30, 0), (40, -20, 10), (0, 60, 0)),
        ("up_too", (55, -30, 0), (65, -20, 10), (0, 60, 0)),
    )


def tower():
    """Two plates on top of each other, both leave upward, the upper one farther."""
    return Boxes(
        ("body", (-20, -20, 0), (20, 20, 10), (0, 0, 0)),
        ("upper", (-10, -10, 20), (10, 10, 30), (0, 0, 80)),
        ("lower", (-10, -10, 10), (10, 10, 20), (0, 0, 40)),
    )


def tall_tower():
    """Three plates on top of each other."""
    return Boxes(
        ("body", (-20, -20, 0), (20, 20, 10), (0, 0, 0)),
        ("upper", (-10, -10, 30), (10, 10, 40), (0, 0, 150)),
        ("middle", (-10, -10, 20), (10, 10, 30), (0, 0, 100)),
        ("lower", (-10, -10, 10), (10, 10, 20), (0, 0, 50)),
    )


def moves_of(boxes, one):
    return {p: (one.motion(p).move, one.motion(p).easing, one.kind) for p in boxes.order}


def wishes(boxes, one):
    turn = boxes.order if one.kind == "explode" else boxes.order[::-1]
    return {part: k * one.stagger + one.motion(part).delay for k, part in enumerate(turn)}


def fails(boxes, *phases):
    with pytest.raises(ChoreoError) as caught:
        boxes.plan(*phases)
    assert caught.value.exit_code == 1
    return caught.value.findings


# --- The wish -----------------------------------------------------------------------------------------------------


def test_nobody_in_the_way_starts_as_asked():
    late = {"p1": PartMotion("min-jerk", 7, delay=5)}
    made = lanes().plan(phase("hold", 4), phase("explode", 30, stagger=4, parts=late))
    # Starts by hand: k x stagger + delay, counted from the phase's first frame, 4.
    assert [(m.part, m.start, m.frames) for m in made.moves] == [("p0", 4, 10), ("p2", 12, 10), ("p1", 13, 7)]
    assert [(m.wish, m.reason, m.easing) for m in made.moves] == [
        (4, "", "ease-in-out"), (12, "", "ease-in-out"), (13, "", "min-jerk"),
    ]  # fmt: skip
    assert made.warnings == made.bare_pairs == ()


def test_an_assemble_starts_in_reverse():
    made = lanes().plan(phase("assemble", 30, stagger=4))
    assert [(m.part, m.start, m.kind) for m in made.moves] == [(f"p{2 - k}", 4 * k, "assemble") for k in range(3)]


def test_the_last_frame_of_the_phase_shows_the_last_arrival():
    # A start on frame s arrives on s + move, and a phase of n frames shows 0 .. n - 1: 8 + 10 = 18 needs 19 frames.
    made = lanes().plan(phase("explode", 19, stagger=4))
    assert [m.start for m in made.moves] == [0, 4, 8]
    assert made.warnings == ()
    assert lanes().plan(phase("explode", 18, stagger=4)).warnings != ()


def test_phases_do_not_disturb_each_other():
    alone = crossing().plan(phase("explode", 60, stagger=3)).moves
    both = crossing().plan(phase("explode", 60, stagger=3), phase("hold", 7), phase("assemble", 60)).moves
    assert both[: len(alone)] == alone
    assert all(67 <= m.start <= m.start + m.frames < 127 for m in both[len(alone) :])


# --- The nearest to the wish that never collides -------------------------------------------------------------------

COLLIDING = [
    (crossing, phase("explode", 45, stagger=3, move=12, easing="linear")),
    (crossing, phase("explode", 45, stagger=0, move=12)),
    (crossing, phase("explode", 45, stagger=6, move=14, easing="cubic-bezier(0.3, 0, 0.1, 1)")),
    (crossing, phase("assemble", 45, stagger=3, move=12, easing="min-jerk")),
    (crossing, phase("explode", 40, stagger=2, parts={"up": PartMotion("ease-in", 20, 3)})),
    (crossing, phase("explode", 40, stagger=2, easing="steps(4, jump-none)")),
    (tower, phase("explode", 30, stagger=2, move=9)),
    (tower, phase("explode", 30, stagger=2, move=9, parts={"upper": PartMotion("ease-in", 15, 4)})),
    (tower, phase("assemble", 30, stagger=0, move=9, easing="ease-out")),
    (tower, phase("assemble", 30, stagger=5, move=9, parts={"lower": PartMotion("ease", 20, 8)})),
]


@pytest.mark.parametrize(("boxes", "one"), COLLIDING)
def test_nearest_by_brute_force(boxes, one):
    boxes = boxes()
    made = boxes.plan(one)
    found = {m.part: m.start for m in made.moves}
    asked = wishes(boxes, one)
    choices = list(boxes.free(moves_of(boxes, one), one.frames))
    assert found in choices
    least = min(sum(abs(at[p] - asked[p]) for p in at) for at in choices)
    assert sum(abs(found[p] - asked[p]) for p in found) == least
    assert {m.part: m.wish for m in made.moves} == asked
    for move in made.moves:
        check_reason(boxes, move, asked[move.part], found, one)


def check_reason(boxes, move, asked, found, one):
    """What the reason claims, looked up: by how much, which way, and that the named part is met a frame nearer."""
    if move.start == asked:
        assert move.reason == ""
        return
    by, way = re.match(r"(\d+) frames? (later|earlier)", move.reason).groups()
    assert int(by) * (1 if way == "later" else -1) == move.start - asked
    named = re.search(r"to stay clear of (\w+)$", move.reason)
    if named is None:
        assert move.reason.endswith("so that others stay clear")
        return
    moves = moves_of(boxes, one)
    other = named[1]
    assert other != move.part
    lag = found[other] - move.start
    assert any(boxes.meet(move.part, other, moves[move.part], moves[other], lag + d) for d in (-1, 1))


def test_wishes_are_kept_where_only_some_collide():
    # "up_too" is 55 mm away from where "across" starts: with a long head start it needs no change. By sampling.
    boxes, one = crossing(), phase("explode", 60, stagger=20, move=12, easing="linear")
    assert next(at for at in boxes.free(moves_of(boxes, one), 60) if at == wishes(boxes, one))
    assert [m.start for m in boxes.plan(one).moves] == [0, 20, 40]


# --- Clearance ----------------------------------------------------------------------------------------------------


def test_clearance_is_kept_in_time():
    # With 6 mm of room "up" may pass later or earlier than without it; the referee grows one box by 6 mm.
    parts = [("across", (0, 0, 0), (10, 10, 10), (80, 0, 0)), ("up", (30, -30, 0), (40, -20, 10), (0, 60, 0))]
    roomy, tight = Boxes(FAR, *parts, clearance={("across", "up"): 6.0}), Boxes(FAR, *parts)
    one = phase("explode", 60, stagger=2, move=20, easing="linear")
    moves = moves_of(tight, one)
    lags = [boxes.plan(one).moves for boxes in (tight, roomy)]
    lags = [{m.part: m.start for m in made} for made in lags]
    assert tight.meet("across", "up", moves["across"], moves["up"], lags[0]["up"] - lags[0]["across"], 6.0)
    assert not tight.meet("across", "up", moves["across"], moves["up"], lags[1]["up"] - lags[1]["across"], 6.0)


def test_clearance_gives_way_where_the_route_leaves_none():
    # "late" passes the place where "early" rests with 0.2 mm of air: no timing leaves 0.5 mm.
    parts = [("early", (0, 0, 0), (10, 10, 10), (40, 0, 0)), ("late", (40, -30, 10.2), (50, -20, 20.2), (0, 60, 0))]
    boxes = Boxes(FAR, *parts, clearance={("early", "late"): 0.5})
    made = boxes.plan(phase("explode", 40, stagger=4))
    assert made.bare_pairs == (("early", "late"),)
    assert [m.start for m in made.moves] == [0, 4]
    wide = Boxes(FAR, *parts, clearance={("early", "late"): 0.1})
    assert wide.plan(phase("explode", 40, stagger=4)).bare_pairs == ()


# --- Too short a phase --------------------------------------------------------------------------------------------


def test_a_stagger_that_does_not_fit_is_shortened_and_said():
    # Three parts, stagger 20, moves of 10 in 31 frames: starts 0, 20, 40 and the last may start on 20: half. By hand.
    made = lanes().plan(phase("explode", 31, stagger=20))
    assert [(m.start, m.wish) for m in made.moves] == [(0, 0), (10, 20), (20, 40)]
    assert [m.frames for m in made.moves] == [10, 10, 10]
    assert made.moves[1].reason == "10 frames earlier: the phase is too short for the stagger"
    (warning,) = made.warnings
    assert (warning.code, warning.severity) == ("stagger-shortened", "warning")
    assert "the stagger of 20 frames is shortened to 10" in warning.what


def test_a_delay_that_does_not_fit_is_shortened_and_said():
    late = {"p1": PartMotion("linear", 10, delay=40)}
    made = lanes().plan(phase("explode", 31, stagger=0, parts=late))
    assert {m.part: m.start for m in made.moves} == {"p0": 0, "p1": 20, "p2": 0}
    assert "delays are shortened" in made.warnings[0].what


def test_a_move_longer_than_its_phase_has_no_solution():
    findings = fails(lanes(), phase("explode", 30, move=30, parts={"p1": PartMotion("linear", 40)}))
    assert [f.code for f in findings] == ["too-little-time"] * 3
    assert '"p1" takes 40 frames and needs 41' in findings[1].what
    assert "the phase has 30" in findings[1].what
    # What it says it needs is enough, and one less is not.
    assert lanes().plan(phase("explode", 31, move=30)).moves[0].frames == 30


@pytest.mark.parametrize(
    ("boxes", "one"),
    [
        (crossing, phase("explode", 21, stagger=0, move=20, easing="linear")),
        (crossing, phase("explode", 13, stagger=3, move=12, easing="cubic-bezier(0.3, 0, 0.1, 1)")),
        (crossing, phase("assemble", 17, stagger=3, move=16, easing="min-jerk")),
        (tower, phase("explode", 12, stagger=0, move=8, parts={"upper": PartMotion("cubic-bezier(1, 0, 1, 0)", 11)})),
        (
            tall_tower,
            phase(
                "explode",
                13,
                stagger=0,
                move=12,
                parts={
                    "upper": PartMotion("cubic-bezier(1, 0, 1, 0)", 12),
                    "lower": PartMotion("cubic-bezier(0, 1, 0, 1)", 12),
                },
            ),
        ),
    ],
)
def test_the_number_of_frames_it_asks_for_is_the_least(boxes, one):
    boxes = boxes()
    (finding,) = fails(boxes, one)
    assert finding.code == "too-little-time"
    need, has = map(int, re.search(r"need (\d+) frames; the phase has (\d+)", finding.what).groups())
    assert has == one.frames
    moves = moves_of(boxes, one)
    assert next(boxes.free(moves, need), None) is not None
    assert next(boxes.free(moves, need - 1), None) is None
    # The chain it names: parts that wait for each other, the last of them arriving on the last frame.
    links = re.findall(r'"(\w+)" \(frames (\d+) to (\d+)\)', finding.why)
    assert links[0][1] == "0"
    assert int(links[-1][2]) == need - 1
    assert all(int(end) - int(start) == moves[part][0] for part, start, end in links)
    for (a, s, _), (b, t, _) in itertools.pairwise(links):
        assert boxes.meet(a, b, moves[a], moves[b], int(t) - int(s) - 1)
    assert f"Give the phase {need} frames or more" in finding.remedy


def test_all_phases_say_what_is_wrong_with_them():
    findings = fails(lanes(), phase("explode", 5), phase("hold", 3), phase("assemble", 7))
    assert [re.search(r"phase (\d)", f.what)[1] for f in findings] == ["1"] * 3 + ["3"] * 3


# --- Beats --------------------------------------------------------------------------------------------------------


def test_arrivals_on_the_nearest_beats():
    # Asked: arrivals on 10, 14, 18. Beats 12, 15, 24: nearest 12, 15, 15 (2 + 1 + 3), and a beat may be shared.
    made = lanes().plan(phase("hold", 2), phase("explode", 30, stagger=4, beats=(12, 15, 24)))
    assert [m.start + m.frames - 2 for m in made.moves] == [12, 15, 15]
    assert [m.reason for m in made.moves] == [
        "2 frames later, to land on the beat at 12", "1 frame later, to land on the beat at 15",
        "3 frames earlier, to land on the beat at 15",
    ]  # fmt: skip


def test_beats_and_collisions_together_by_brute_force():
    boxes, one = crossing(), phase("explode", 50, stagger=2, move=12, beats=(12, 24, 36, 48))
    found = {m.part: m.start for m in boxes.plan(one).moves}
    asked = wishes(boxes, one)
    choices = list(boxes.free(moves_of(boxes, one), 50, one.beats))
    assert found in choices
    assert sum(abs(found[p] - asked[p]) for p in found) == min(sum(abs(at[p] - asked[p]) for p in at) for at in choices)


def test_no_beat_late_enough():
    findings = fails(lanes(), phase("explode", 30, beats=(5, 9)))
    assert [f.code for f in findings] == ["no-beat"] * 3
    assert "any beat (5, 9): its move takes 10 frames" in findings[0].what
    # A part that starts on frame 0 arrives on frame 10: a beat there is enough.
    assert [m.start for m in lanes().plan(phase("explode", 30, beats=(5, 10))).moves] == [0, 0, 0]


def test_a_beat_too_early_for_any_move_is_said_with_all_that_stay_empty():
    # Moves take 20 frames, so a start on frame 0 lands on 20. Asked: 20, 24, 28; nearest on 40 all three.
    one = phase("assemble", 60, stagger=4, move=20, beats=(10, 40, 50))
    made = lanes().plan(one)
    assert {m.start + m.frames for m in made.moves} == {40}
    (said,) = made.warnings
    assert (said.code, said.severity) == ("empty-beat", "warning")
    assert "phase 1 of shot" in said.what
    assert said.what.endswith("no part lands on the beats 10 and 50.")
    assert said.why.startswith(
        "10 is too early for any move: the shortest takes 20 frames, so that nothing lands before"
    )
    assert "start the phase 10 frames sooner" in said.remedy
    # One quicker part, whose move takes 10, can land there, and then does: nothing to say, though 50 stays empty.
    quick = phase(
        "assemble", 60, stagger=4, move=20, beats=(10, 40, 50), parts={lanes().order[-1]: PartMotion("ease-in-out", 10)}
    )
    made = lanes().plan(quick)
    assert 10 in {m.start + m.frames for m in made.moves}
    assert made.warnings == ()


def test_beats_of_the_music_may_stay_empty():
    assert lanes().plan(phase("explode", 40, stagger=8, beats=tuple(range(10, 40, 2)))).warnings == ()


def test_beats_that_force_a_collision():
    # The three would do in some timing, but on one beat they all start together, and then they meet (by sampling).
    boxes, one = crossing(), phase("explode", 60, move=20, easing="linear", beats=(40,))
    moves = moves_of(boxes, one)
    assert boxes.meet("across", "up", moves["across"], moves["up"], 0)
    (finding,) = fails(boxes, one)
    assert finding.code == "no-beat"
    least = int(re.search(r"Without the beats (\d+) frames", finding.why)[1])
    # Also where the phase has just as many frames as it would take without the beats.
    assert fails(boxes, phase("explode", least, move=20, easing="linear", beats=(least - 1,)))[0].code == "no-beat"
    assert next(boxes.free(moves, least), None) is not None
    assert next(boxes.free(moves, least - 1), None) is None


# --- move = "fit" -------------------------------------------------------------------------------------------------


def test_fit_takes_the_time_that_the_stagger_leaves():
    # 30 frames show 0 .. 29; the last of three starts on 8: moves of 21. By hand.
    made = lanes().plan(phase("explode", 30, stagger=4, move=None))
    assert [(m.start, m.frames) for m in made.moves] == [(0, 21), (4, 21), (8, 21)]
    # A part with a move of its own keeps it.
    own = lanes().plan(phase("explode", 30, stagger=4, move=None, parts={"p2": PartMotion("linear", 6)}))
    assert {m.part: m.frames for m in own.moves} == {"p0": 21, "p1": 21, "p2": 6}


def test_fit_is_the_longest_move_that_has_a_timing():
    boxes, frames = crossing(), 34
    made = boxes.plan(phase("explode", frames, stagger=2, move=None, easing="linear"))
    (fitted,) = {m.frames for m in made.moves}
    longest = frames - 1 - 2 * 2
    assert fitted < longest
    for move in range(fitted, longest + 1):
        free = boxes.free(dict.fromkeys(boxes.order, (move, "linear", "explode")), frames)
        assert (next(free, None) is not None) == (move == fitted)


def test_fit_in_a_phase_of_one_frame_does_not_suggest_fit():
    for finding in fails(lanes(), phase("explode", 1, move=None)):
        assert finding.code == "too-little-time"
        assert "fit" not in finding.remedy


# --- What no timing can help ----------------------------------------------------------------------------------------


def test_an_easing_that_dips_below_the_start_hits_the_body():
    easing = "cubic-bezier(0.34, -0.56, 0.64, 1)"
    (finding,) = fails(tower(), phase("explode", 40, parts={"lower": PartMotion(easing, 10)}))
    assert finding.code == "overshoot-collides"
    deep = float(re.search(r"drives it (\d+\.\d+) mm into \"body\"", finding.what)[1])
    dip = -40 * float(np.asarray(parse_easing(easing).value(np.linspace(0, 1, 10001))).min())
    assert deep == pytest.approx(dip, abs=0.006)  # two decimals
    # Nobody is in the way of an overshoot at the far end.
    assert tower().plan(phase("explode", 60, parts={"upper": PartMotion("cubic-bezier(0.3, 1.5, 0.6, 1)", 10)})).moves


def test_two_that_would_have_to_change_places_on_one_line():
    # Each rests on the other's way, so whoever goes first, the second runs into it. By hand.
    boxes = Boxes(FAR, ("one", (0, 0, 0), (10, 10, 10), (60, 0, 0)), ("two", (80, 0, 0), (90, 10, 10), (-60, 0, 0)))
    (finding,) = fails(boxes, phase("explode", 60))
    assert finding.code == "rests-in-the-way"
    assert '"two" rests where "one" has to pass' in finding.what


def test_two_that_rest_at_the_same_place():
    boxes = Boxes(FAR, ("one", (0, 0, 0), (10, 10, 10), (40, 0, 0)), ("two", (80, 0, 0), (90, 10, 10), (-40, 0, 0)))
    (finding,) = fails(boxes, phase("explode", 60))
    assert finding.code in {"rests-in-the-way", "cannot-pass"}
    assert '"one"' in finding.what
    assert '"two"' in finding.what


@pytest.mark.parametrize("kind", ["explode", "assemble"])
@pytest.mark.parametrize("rest", [(0, 0, 0), (0, 0, 1e-12)])
def test_a_part_that_goes_nowhere_is_in_the_way_all_the_same(kind, rest):
    # By hand: the lower plate rises by 40 through the upper one, which stays where it is: no timing helps.
    boxes = Boxes(
        ("body", (-20, -20, 0), (20, 20, 10), (0, 0, 0)),
        ("upper", (-10, -10, 20), (10, 10, 30), rest),
        ("lower", (-10, -10, 10), (10, 10, 20), (0, 0, 40)),
    )
    (finding,) = fails(boxes, phase(kind, 60))
    assert finding.code in {"rests-in-the-way", "cannot-pass"}
