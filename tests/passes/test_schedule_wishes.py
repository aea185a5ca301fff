"""What a designer may ask: together, after, before, a least hold, a phase that fits; and what is said of it."""

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
from small_assemblies import cross, drawer, film, phase, shot
from test_schedule import FAR, Boxes, crossing, fails, lanes, moves_of, tall_tower, tower, wishes

from choreo.compile import compile_film, take_apart
from choreo.errors import ChoreoError
from choreo.model.choreography import GroupMotion, Orbit, PartMotion, View
from choreo.passes.wishes import settle_wishes


def wish(kind, frames, *, together=(), waits=(), least_hold=0, fit=False, groups=(), **kw):
    more = {"together": together, "waits": waits, "least_hold": least_hold, "fit": fit, "groups": groups}
    return replace(phase(kind, frames, **kw), **more)


def timed(made):
    return {m.part: m.start for m in made.moves}


def reasons(made):
    return {m.part: m.reason for m in made.moves}


# --- Together, after, before: nobody in the way, by hand ------------------------------------------------------------


def test_together():
    # Wishes 0, 4, 8. p0 and p2 on one frame: any of 0 to 8 costs 8 in all; the earliest wins.
    made = lanes().plan(wish("explode", 30, stagger=4, together=(("p0", "p2"),)))
    assert timed(made) == {"p0": 0, "p1": 4, "p2": 0}
    assert reasons(made) == {"p0": "", "p1": "", "p2": "8 frames earlier, to start with p0"}


def test_together_alone_is_kept_without_any_other_rule():
    made = lanes().plan(wish("explode", 60, stagger=20, together=(("p1", "p2"), ("p0", "p1"))))
    assert len(set(timed(made).values())) == 1


def test_after():
    # Wishes 0, 4, 8 and moves of 10: p1 may start when p0 arrives, on 10. In the other direction p0 waits for p2.
    made = lanes().plan(wish("explode", 40, stagger=4, waits=(("p1", "p0"),)))
    assert timed(made) == {"p0": 0, "p1": 10, "p2": 8}
    assert reasons(made)["p1"] == "6 frames later, waits until p0 has arrived"
    made = lanes().plan(wish("explode", 40, stagger=4, waits=(("p0", "p2"),)))
    # p2 on 8 and p0 on 18 departs by 18; any earlier p2 costs as much as it gains: the earliest p0 weighs less.
    assert timed(made)["p0"] - timed(made)["p2"] == 10
    assert timed(made)["p0"] + 8 - timed(made)["p2"] == 18
    assert "waits until p2 has arrived" in reasons(made)["p0"]


def test_a_part_that_must_arrive_before_another_starts():
    # p2 may only start on a beat that leaves it 20 or less; p0 has to be home by then. Beats 14 and 24, by hand:
    # p0 arrives on 14 and p2 starts there.
    made = lanes().plan(wish("explode", 40, stagger=0, beats=(14, 24), waits=(("p2", "p0"),)))
    assert timed(made) == {"p0": 4, "p1": 4, "p2": 14}
    assert reasons(made)["p2"] == "14 frames later, waits until p0 has arrived"
    assert reasons(made)["p0"] == "4 frames later, to land on the beat at 14"


def test_least_hold():
    # 30 frames, 6 of hold: arrivals on 23 or before. The last of three would arrive on 30: half the delay is left.
    late = {"p1": PartMotion("linear", 10, delay=20)}
    made = lanes().plan(wish("explode", 30, stagger=0, least_hold=6, parts=late))
    assert timed(made) == {"p0": 0, "p1": 13, "p2": 0}
    assert reasons(made)["p1"] == "7 frames earlier: the phase is too short for the stagger"
    # Where a wait pushes against the hold, it is the hold that is named.
    made = lanes().plan(wish("explode", 30, stagger=13, move=9, least_hold=7, waits=(("p2", "p1"),)))
    assert max(timed(made).values()) + 9 <= 30 - 1 - 7


def test_a_hold_that_binds_is_named():
    # p2 wants 13 and waits for p1, which wants 13 as well: p2 can start on 14 at the latest, so p1 starts on 4.
    parts = {"p1": PartMotion("linear", 10, delay=13), "p2": PartMotion("linear", 10, delay=13)}
    made = lanes().plan(wish("explode", 31, stagger=0, least_hold=6, waits=(("p2", "p1"),), parts=parts))
    assert timed(made)["p2"] == timed(made)["p1"] + 10
    assert timed(made)["p2"] <= 14
    assert reasons(made)["p1"].endswith("to arrive before p2 starts")


# --- With collisions: the same least departure as brute force -------------------------------------------------------

ASKED = [
    (crossing, {"together": (("across", "up_too"),)}, {"stagger": 3, "move": 12}),
    (crossing, {"waits": (("across", "up"),)}, {"stagger": 4, "move": 10}),
    (crossing, {"waits": (("up", "across"), ("up_too", "up"))}, {"stagger": 2, "move": 11}),
    (crossing, {"together": (("up", "up_too"),), "least_hold": 9}, {"stagger": 6, "move": 12}),
    (crossing, {"waits": (("across", "up"),)}, {"stagger": 3, "move": 9, "beats": (11, 20, 29, 38)}),
    (tower, {"waits": (("lower", "upper"),), "least_hold": 5}, {"stagger": 2, "move": 9}),
    (tall_tower, {"together": (("lower", "middle"),)}, {"stagger": 5, "move": 9}),
]


@pytest.mark.parametrize(("boxes", "asked", "numbers"), ASKED)
@pytest.mark.parametrize("kind", ["explode", "assemble"])
def test_nearest_by_brute_force(boxes, asked, numbers, kind):
    boxes, one = boxes(), wish(kind, 45, **asked, **numbers)
    choices = [at for at in boxes.free(moves_of(boxes, one), 45, one.beats) if keeps(one, at)]
    if not choices:
        fails(boxes, one)
        return
    found, wanted = boxes.plan(one), wishes(boxes, one)
    at = timed(found)
    assert at in choices
    least = min(sum(abs(c[p] - wanted[p]) for p in c) for c in choices)
    assert sum(abs(at[p] - wanted[p]) for p in at) == least
    for move in found.moves:
        check_reason(boxes, one, at, move, wanted[move.part])


def keeps(one, at):
    move = one.default.move
    together = all(len({at[p] for p in names}) == 1 for names in one.together)
    waits = all(at[p] >= at[q] + move for p, q in one.waits)
    return together and waits and max(at.values()) + move <= one.frames - 1 - one.least_hold


def check_reason(boxes, one, at, move, wanted):
    """Each rule that is named is really broken by some start nearer to the wish, everything else left alone."""
    if move.start == wanted:
        assert move.reason == ""
        return
    size, way, words = re.match(r"(\d+) frames? (later|earlier), (.*)$", move.reason).groups()
    assert int(size) == abs(move.start - wanted)
    assert way == ("later" if move.start > wanted else "earlier")
    step = 1 if wanted > move.start else -1
    nearer = [{**at, move.part: s} for s in range(move.start + step, wanted + step, step)]
    moves, length = moves_of(boxes, one), one.default.move
    for phrase in words.split(" and "):
        if named := re.fullmatch(r"to stay clear of (\w+)", phrase):
            a, b = move.part, named[1]
            assert any(boxes.meet(a, b, moves[a], moves[b], c[b] - c[a]) for c in nearer)
        elif named := re.fullmatch(r"waits until (\w+) has arrived", phrase):
            assert (move.part, named[1]) in one.waits
            assert any(c[move.part] < c[named[1]] + length for c in nearer)
        elif named := re.fullmatch(r"to arrive before (\w+) starts", phrase):
            assert (named[1], move.part) in one.waits
            assert any(c[named[1]] < c[move.part] + length for c in nearer)
        elif named := re.fullmatch(r"to start with (\w+)", phrase):
            assert any({move.part, named[1]} <= set(names) for names in one.together)
            assert at[named[1]] == move.start
        elif named := re.fullmatch(r"to land on the beat at (\d+)", phrase):
            assert int(named[1]) == move.start + length
            assert int(named[1]) in one.beats
        else:
            assert phrase == f"to leave {one.least_hold} frames of hold"
            assert any(c[move.part] + length > one.frames - 1 - one.least_hold for c in nearer)


# --- Rules that contradict each other -------------------------------------------------------------------------------


def test_a_hold_and_waits_that_need_more_frames():
    one = wish("explode", 30, move=10, least_hold=5, waits=(("p1", "p0"), ("p2", "p1")))
    (finding,) = fails(lanes(), one)
    # By hand: three moves of 10 in a row arrive on 30, and 5 frames of hold: 36 frames.
    assert finding.code == "too-little-time"
    assert "need 36 frames; the phase has 30" in finding.what
    for words in ('"p1" waits until "p0"', '"p2" waits until "p1"', "the phase has 30 frames"):
        assert words in finding.why
    # The hold is not needed for the contradiction, so it is not named: without it 31 would be needed.
    assert "hold" not in finding.why.replace("the phase has", "")
    assert timed(lanes().plan(replace(one, frames=36)))["p2"] == 20
    fails(lanes(), replace(one, frames=35))


def test_only_what_contradicts_is_named():
    # "up" together with "up_too" is fine; "across" and "up" together meet (by sampling), whatever the length.
    boxes, one = crossing(), wish("explode", 90, move=20, easing="linear", together=(("across", "up"),))
    moves = moves_of(boxes, one)
    assert boxes.meet("across", "up", moves["across"], moves["up"], 0)
    (finding,) = fails(boxes, replace(one, together=(("across", "up"), ("up", "up_too"))))
    assert finding.code == "rules-conflict"
    assert '"across" and "up" start together' in finding.why
    assert '"across" and "up" must not meet' in finding.why or '"across" and "up_too" must not meet' in finding.why
    assert "phase has" not in finding.why


def test_waits_and_beats():
    one = wish("explode", 60, move=10, beats=(12, 19), waits=(("p1", "p0"),))
    (finding,) = fails(lanes(), one)
    assert finding.code == "no-beat"
    assert "every arrival is on a beat (12, 19)" in finding.why
    # By hand: without the beats two moves in a row arrive on 20: 21 frames.
    assert "Without the beats 21 frames would do" in finding.why
    assert lanes().plan(replace(one, beats=(12, 22))).moves


# --- Phases that fit ------------------------------------------------------------------------------------------------


def test_a_phase_that_fits_by_hand():
    # Starts 0, 4, 8, moves of 10: the last arrives on 18, which takes 19 frames; 6 of hold make 25.
    made = lanes().plan(wish("explode", 1, stagger=4, fit=True), phase("hold", 5), wish("assemble", 99, fit=True))
    assert made.frames == (19, 5, 17)
    assert made.warnings == ()
    assert min(m.start for m in made.moves if m.phase == 2) == 24
    assert lanes().plan(wish("explode", 1, stagger=4, fit=True, least_hold=6)).frames == (25,)


@pytest.mark.parametrize(("boxes", "asked", "numbers"), ASKED)
def test_a_phase_that_fits_by_brute_force(boxes, asked, numbers):
    boxes, one = boxes(), wish("explode", 1, fit=True, **asked, **numbers)
    roomy = replace(one, frames=58, fit=False)
    choices = [at for at in boxes.free(moves_of(boxes, one), 58, one.beats) if keeps(roomy, at)]
    wanted = wishes(boxes, one)
    if not choices:
        assert fails(boxes, one)[0].code == "rules-conflict"
        return
    made = boxes.plan(one)
    away = {tuple(c.items()): sum(abs(c[p] - wanted[p]) for p in c) for c in choices}
    least = min(away.values())
    assert sum(abs(m.start - m.wish) for m in made.moves) == least
    ends = [max(c.values()) + one.default.move for c in choices if away[tuple(c.items())] == least]
    assert made.frames == (min(ends) + 1 + one.least_hold,)


@pytest.mark.parametrize(("assembly", "waits"), [(drawer, ("key", "hat")), (cross, ("west", "east"))])
@pytest.mark.parametrize("orbit", [None, Orbit(70.0), Orbit(200.0, 10.0)])
def test_the_film_agrees_with_itself(assembly, waits, orbit):
    view = View("perspective", 35, 20, focal_mm=85, sensor_mm=(36, 20.25))
    # The wait makes each phase longer than stagger and moves alone, so the first guess is wrong.
    fit = wish("explode", 1, fit=True, least_hold=4, waits=(waits,))
    back = replace(fit, kind="assemble", waits=(waits[::-1],))
    one = shot(phase("hold", 3), fit, phase("hold", 5), back, view=view, orbit=orbit)
    made = compile_film(assembly(), film(one, shot(fit, name="two")))
    first, second = made.tracks.shots
    assert second.start_frame == first.frames == len(first.cameras)
    alone = compile_film(assembly(), film(one, shot(fit, name="two")), only_shot="two").tracks.shots
    assert [(s.name, s.start_frame, s.frames) for s in alone] == [("two", second.start_frame, second.frames)]
    # The same lengths given outright give the same film, and nothing had to be shortened.
    ends = [max(m.arrive for p in made.report.shots[0].parts for m in p.moves if m.phase == k) for k in (1, 3)]
    lengths = [3, ends[0] + 4 + 1 - 3, 5, ends[1] + 4 + 1 - (ends[0] + 4 + 1) - 5]
    assert sum(lengths) == first.frames
    phases = [replace(p, frames=n, fit=False) for p, n in zip(one.phases, lengths, strict=True)]
    given = compile_film(assembly(), film(replace(one, phases=tuple(phases)))).tracks.shots[0]
    for a, b in zip(given.parts, first.parts, strict=True):
        assert np.array_equal(a.position, b.position)
    assert not [w for w in made.report.warnings if w.code == "stagger-shortened"]


# --- What is known only after the removal ---------------------------------------------------------------------------


def test_groups_and_the_body_are_held_against_the_removal():
    apart = take_apart(drawer())
    own = GroupMotion(("hat", "key"), PartMotion("linear", 5))
    one = shot(wish("explode", 40, groups=(own,), together=(("hat", "case"),), waits=(("case", "key"),)))
    with pytest.raises(ChoreoError) as caught:
        settle_wishes((one,), apart.removal)
    assert caught.value.exit_code == 2
    assert [(f.code, f.place) for f in caught.value.findings] == [
        ("unknown-group", "shot[0].phase[0].group[0].parts"),
        ("body-stays", "shot[0].phase[0].together"),
        ("body-stays", "shot[0].phase[0].part"),
    ]
    assert "every part leaves on its own" in caught.value.findings[0].why


def test_a_film_that_fits_into_no_file():
    late = {"hat": PartMotion("linear", 10, delay=90_000)}
    with pytest.raises(ChoreoError) as caught:
        settle_wishes((shot(wish("explode", 1, fit=True, parts=late)),) * 2, take_apart(drawer()).removal)
    assert [f.code for f in caught.value.findings] == ["too-many-frames"]


# --- Who is not looked at -------------------------------------------------------------------------------------------


def test_pairs_that_are_left_out_never_meet():
    from choreo.geometry.collision.reach import pairs_within_reach

    rng = np.random.default_rng(5)
    met = 0
    for _ in range(60):
        low = rng.integers(-60, 60, (3, 3))
        parts = [(f"p{k}", low[k], low[k] + rng.integers(5, 30, 3), rng.integers(-60, 60, 3)) for k in range(3)]
        boxes = Boxes(FAR, *parts)
        near = pairs_within_reach(
            boxes.encounters, boxes.order, boxes.routes, dict.fromkeys(boxes.order, (-9.0, 120.0))
        )
        for i, j in itertools.combinations(range(3), 2):
            a, b = boxes.order[i], boxes.order[j]
            s, t = (np.linalg.norm(boxes.rest[p]) for p in (a, b))
            hit = boxes.encounters.diagram(
                a, b, boxes.routes[a], boxes.routes[b], ((-9, max(s, 120)), (-9, max(t, 120)))
            )
            met += bool(len(hit))
            assert (i, j) in near or not len(hit)
    assert met > 20
