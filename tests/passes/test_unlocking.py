"""What is said where nothing fits around a lock: only what can help there."""

from __future__ import annotations

import pytest

from choreo.errors import Finding
from choreo.passes.unlocking import Unlocking, around_lock, lacks_room, roomier_gap, unlocking

CAMERA = "Let the camera be solved or stand farther away (distance_mm), lower gap_px, or turn the view."


def finding(code):
    return Finding(code, "A part has no place.", why="In this view.", remedy=CAMERA)


@pytest.mark.parametrize("code", ["no-room", "too-close", "leaves-frame", "outside-safe-area", "lock-in-the-way"])
def test_nobody_is_sent_to_a_camera_that_is_locked(code):
    said = around_lock(finding(code), ["soap"], None)
    assert said.remedy == 'Unlock what is named below, or give "soap" a way of its own (along, travel_mm).'
    assert said.what == "A part has no place."


def test_a_gap_is_said_only_where_it_was_tried_and_counts():
    assert around_lock(finding("no-room"), ["soap"], 12.0).remedy.startswith("It fits with gap_px = 12. Or: unlock")
    assert "gap_px" not in around_lock(finding("leaves-frame"), ["soap"], 12.0).remedy
    assert lacks_room([finding("leaves-frame"), finding("too-close")])
    assert not lacks_room([finding("leaves-frame")])


def test_what_is_not_about_room_stays():
    late = finding("too-little-time")
    assert around_lock(late, ["soap"], 12.0) is late


def test_without_a_new_part_none_is_told_to_go_elsewhere():
    assert around_lock(finding("no-room"), [], None).remedy == "Unlock what is named below."
    assert "along" not in unlocking("burst", Unlocking(("lid",), least=True), []).remedy
    assert '"soap" a way of its own (along' in unlocking("burst", Unlocking(None, least=True), ["soap"]).remedy


@pytest.mark.parametrize(("gap", "most"), [(24.0, 23), (24.0, 17), (24.0, 1), (30.5, 24), (2.0, 1), (200.0, 24)])
def test_the_widest_gap_that_fits(gap, most):
    tried = []

    def works(px):
        tried.append(px)
        return px <= most

    assert roomier_gap(gap, works) == most
    assert len(tried) <= 16


def test_no_gap_fits():
    assert roomier_gap(24.0, lambda _: False) is None
    assert roomier_gap(0.0, lambda _: True) is None
