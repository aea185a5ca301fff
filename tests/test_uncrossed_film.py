"""Films in which parts were moved so that fewer travel lines cross: meshes as referee; when parts stay after all."""

import pytest
from mesh_referee import pairs, worst_overlap
from small_assemblies import box, film, insert, make, shot, there_and_back

from choreo import labelled_shot, timed_shot
from choreo.compile import compile_film
from choreo.errors import Finding, no_solution

PEGS = [(-15, -12, 3, 4), (0, -6, 2, 4), (5, 0, 2, 4), (-20, 0, 2, 4)]
"""Of such boards, one whose greedy layout crosses once."""


def board():
    pegs = [box(f"peg_{k}", x, y, x + w, y + h, 4, 12) for k, (x, y, w, h) in enumerate(PEGS)]
    plate = box("plate", -20, -12, 20, 12, 0, 4)
    return make(plate, *pegs, joints=[insert(peg.id, "plate", (0, 0, 1)) for peg in pegs])


@pytest.fixture
def heard():
    """Layouts that were timed, in turn."""
    return []


def compiled(heard):
    def hook(name, artefact):
        if name.startswith("layout"):
            heard.append(artefact)

    return compile_film(board(), film(shot(*there_and_back(80))), on_stage=hook)


def test_no_two_parts_meet_where_parts_were_moved(heard):
    made = compiled(heard)
    assert [layout.uncrossed for layout in heard] == [True]
    assert made.report.shots[0].crossings == 0
    [one] = made.tracks.shots
    assert worst_overlap(pairs(board()), one.parts, one.frames, 5)[0] <= 1e-6
    assert min(part.visible for part in made.report.shots[0].parts) == 1.0


def test_parts_stay_where_the_shot_could_not_be_timed(heard, monkeypatch):
    inner = timed_shot.plan_schedule

    def refuse(*given, **named):
        if heard[-1].uncrossed:
            raise no_solution(Finding("cannot-pass", "x", "x", "x"))
        return inner(*given, **named)

    monkeypatch.setattr(timed_shot, "plan_schedule", refuse)
    made = compiled(heard)
    assert [layout.uncrossed for layout in heard] == [True, False]
    assert made.report.shots[0].crossings == 1


def test_parts_stay_where_labels_would_lose_their_room(heard, monkeypatch):
    lacking = {True: ("peg_0",), False: ()}
    monkeypatch.setattr(labelled_shot, "unlabelled", lambda timed, _film: lacking[timed.layout.uncrossed])
    made = compiled(heard)
    assert [layout.uncrossed for layout in heard] == [True, False]
    assert made.report.shots[0].crossings == 1
    assert heard[1].least_gap_px == pytest.approx(24, abs=0.1)  # the same frame, not one with wider gaps


def test_parts_do_not_go_back_where_that_gives_labels_no_room_either(heard, monkeypatch):
    monkeypatch.setattr(labelled_shot, "unlabelled", lambda _timed, _film: ("peg_0",))
    made = compiled(heard)
    assert made.report.shots[0].crossings == 0
    assert heard[0].uncrossed
    assert "label-no-room" in {finding.code for finding in made.report.warnings}
