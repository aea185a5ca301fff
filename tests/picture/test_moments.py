"""Which frames a strip shows, worked out by hand from the moves of the small film."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_film import BURST, RESOLUTION, RETURN, about, film, shot

from choreo.model.assembly import Hero, ViewAngle
from choreo.model.report import ShotReport
from choreo.picture.moments import moments


def found(index: int) -> list[tuple[int, str, str]]:
    assembly, _, tracks, report = film()
    all_of_them = moments(tracks.shots[index], report.shots[index], assembly, RESOLUTION)
    return [(moment.frame, moment.kind, moment.caption) for moment in all_of_them]


def test_a_burst():
    # The knob starts on 4, lifts 4 mm of 14 unseen and then moves 10 px a mm: on frame 4 + n it has gone
    # (14 n / 10 - 4) mm. It is seen to leave from 0.04 of the diagonal on, hypot(640, 360) = 734.3 px: 29.4 px,
    # 2.94 mm, n = 4.96. The lid: (20 n / 10 - 4) mm, n = 3.47.
    # The middle, (4 + 18) / 2 = 11, is one frame from that and gives way.
    assert found(0) == [
        (0, "assembled", "Assembled"),
        (9, "moving", "Knob leaves first"),
        (12, "moving", "Lid leaves last"),
        (25, "rest", "All parts at rest, 40 px apart or more"),
    ]


def test_a_return():
    # The lid has half of its 160 px left when 2 n = 8, on frame 4; the knob 0.3 of its 100 px when
    # 1.4 n = 7 mm, 5 frames after its start on 6, on frame 11. The middle: 16 / 2.
    assert found(1) == [
        (0, "rest", "All parts at rest, 40 px apart or more"),
        (4, "moving", "Lid goes in first"),
        (8, "moving", "2 of 2 parts under way"),
        (11, "moving", "Knob goes in last"),
        (23, "assembled", "Assembled; the hero still is yet to come"),
    ]


def test_a_hero_still_that_is_there_takes_over():
    assembly, _, tracks, report = film()
    with_hero = dataclasses.replace(assembly, hero=Hero("hero.png", 10.0, (0.0, 0.0), ViewAngle()))
    *_, last = moments(tracks.shots[1], report.shots[1], with_hero, RESOLUTION)
    assert (last.frame, last.caption) == (23, "The hero still has taken over")


def test_a_hold_alone_is_one_picture():
    assembly, _, tracks, report = film()
    still = dataclasses.replace(tracks.shots[0], frames=1)
    parts = tuple(dataclasses.replace(part, moves=()) for part in report.shots[0].parts)
    only = moments(still, dataclasses.replace(report.shots[0], parts=parts), assembly, RESOLUTION)
    assert [(moment.frame, moment.kind) for moment in only] == [(0, "assembled")]


def test_parts_that_leave_together_are_counted_or_named():
    together = {"knob": (4, 14), "lid": (4, 14)}
    one = shot("burst", "explode", together, 26, 0, 0.0)
    captions = [m.caption for m in moments(one, about(one, "explode", together, 1), film()[0], RESOLUTION)]
    assert "Lid and Knob leave" in captions
    assert not any("last" in caption for caption in captions)


def test_parts_are_counted_not_their_moves():
    # The knob goes in two moves, 0 to 6 and 6 to 20, the lid in one, 2 to 40: on the middle frame, 20, the knob rests.
    one = shot("burst", "explode", {"knob": (0, 20), "lid": (2, 40)}, 60, 0, 0.0)
    told = about(one, "explode", {"knob": (0, 20), "lid": (2, 40)}, 1)
    halves = [
        dataclasses.replace(
            part,
            moves=tuple(
                dataclasses.replace(move, start=start, arrive=arrive)
                for move in part.moves
                for start, arrive in ([(0, 6), (6, 20)] if part.id == "knob" else [(2, 40)])
            ),
        )
        for part in told.parts
    ]
    found = moments(one, dataclasses.replace(told, parts=tuple(halves)), film()[0], RESOLUTION)
    captions = [moment.caption for moment in found]
    assert "1 of 2 parts under way, 1 at rest" in captions
    assert "Knob leaves first" in captions


def test_what_leaves_first_unseen_is_not_called_first_behind_what_is_seen_to_leave():
    # The knob leaves first, but takes 200 frames to its place: it is seen to go 2.94 mm sideways, so 6.94 of its 14 mm,
    # on frame 100; the lid, which starts on 4 and goes 1 mm a frame, after 7 frames, on frame 11.
    moves = {"knob": (0, 200), "lid": (4, 24)}
    one = shot("burst", "explode", moves, 210, 0, 0.0)
    found = moments(one, about(one, "explode", moves, 1), film()[0], RESOLUTION)
    assert [(m.frame, m.caption) for m in found if "leave" in m.caption] == [(11, "Lid leaves"), (100, "Knob leaves")]


def test_a_start_against_the_order_of_removal_is_not_called_first():
    # The knob has the number 1 beside it, the lid 2; the lid is made to start long before it.
    moves = {"knob": (30, 40), "lid": (0, 10)}
    one = shot("burst", "explode", moves, 60, 0, 0.0)
    found = moments(one, about(one, "explode", moves, 1), film()[0], RESOLUTION)
    assert [m.caption for m in found if "leave" in m.caption] == ["Lid leaves", "Knob leaves"]


@pytest.mark.parametrize("kind", ["explode", "assemble"])
@pytest.mark.parametrize("knob", [(0, 20), (4, 60), (10, 14)])
@pytest.mark.parametrize("lid", [(0, 60), (2, 9), (12, 30)])
def test_first_never_comes_after_last(kind, knob, lid):
    moves = {"knob": knob, "lid": lid}
    one = shot("any", kind, moves, 70, 0, 0.0)
    captions = [m.caption for m in moments(one, about(one, kind, moves, 0), film()[0], RESOLUTION)]
    first = [index for index, caption in enumerate(captions) if caption.endswith(" first")]
    last = [index for index, caption in enumerate(captions) if caption.endswith(" last")]
    assert not first or not last or first < last


def test_out_and_back_in_one_shot_rests_once():
    assembly = film()[0]
    one = shot("both", "explode", BURST, 60, 0, 0.0)
    there, back = (
        about(one, "explode", BURST, 1),
        about(one, "assemble", {k: (a + 30, b + 30) for k, (a, b) in RETURN.items()}, 3),
    )
    parts = tuple(dataclasses.replace(a, moves=a.moves + b.moves) for a, b in zip(there.parts, back.parts, strict=True))
    kinds = [m.kind for m in moments(one, dataclasses.replace(there, parts=parts), assembly, RESOLUTION)]
    assert kinds.count("rest") == 1
    assert kinds[0] == kinds[-1] == "assembled"
    assert kinds.index("rest") > 1


starts = st.integers(0, 20)
lengths_ = st.integers(1, 30)


@given(starts, lengths_, starts, lengths_, st.sampled_from(["explode", "assemble"]))
def test_frames_rise_and_stay_in_the_shot(a, m, b, n, kind):
    moves = {"knob": (a, a + m), "lid": (b, b + n)}
    frames = max(a + m, b + n) + 1
    one = shot("any", kind, moves, frames, 0, 0.0)
    report: ShotReport = about(one, kind, moves, 0)
    chosen = [moment.frame for moment in moments(one, report, film()[0], RESOLUTION)]
    assert chosen == sorted(set(chosen))
    assert chosen[0] >= 0
    assert chosen[-1] <= frames - 1
    assert {0, frames - 1} <= set(chosen)
