"""The checker of finished tracks passes sound ones and finds every way of spoiling them."""

from dataclasses import replace

import numpy as np
import pytest
from small_tracks import FRAMES, small_tracks

from choreo.checks.check_tracks import BrokenPromiseError, check_tracks
from choreo.model.tracks import Key, OrderSpan
from choreo.motion.law import evaluate_keys
from choreo.motion.path import position

IDS = ("box", "lid", "knob")
SOUND = small_tracks().shots[0]


def lid(**changes):
    """The shot with another lid."""
    parts = tuple(replace(track, **changes) if track.id == "lid" else track for track in SOUND.parts)
    return replace(SOUND, parts=parts)


def orders(*spans):
    return replace(SOUND, masking=replace(SOUND.masking, orders=tuple(OrderSpan(*span) for span in spans)))


def nudged(array, at, by):
    changed = np.array(array)
    changed[at] += by
    return changed


def test_sound_tracks_pass():
    check_tracks(SOUND, IDS)


LID = next(track for track in SOUND.parts if track.id == "lid")


@pytest.mark.parametrize(
    ("spoilt", "promise"),
    [
        (replace(SOUND, parts=SOUND.parts[::-1]), "file order"),
        (replace(SOUND, parts=SOUND.parts[:2]), "file order"),
        (replace(SOUND, cameras=SOUND.cameras[1:]), "one camera"),
        (replace(SOUND, hero_opacity=np.full(FRAMES, 1.01)), "hero opacity"),
        (lid(scale=LID.scale[1:]), "one sample a frame"),
        (lid(screen=nudged(LID.screen, 3, np.nan)), "finite"),
        (lid(position=nudged(LID.position, 4, 2e-9)), "lie on the route"),
        (lid(keys=(Key(1, 0.0), Key(7, 0.9))), "lie on the route"),
        (lid(position=nudged(LID.position, 0, 1e-12)), "exactly 0"),
        (orders((0, 8, ("box", "lid"))), "each part once"),
        (orders((0, 8, ("box", "lid", "lid"))), "each part once"),
        (orders((0, 3, IDS), (5, 8, IDS)), "follow on"),
        (orders((0, 3, IDS), (3, 8, IDS)), "follow on"),
        (orders((0, 7, IDS)), "cover the shot"),
    ],
)
def test_each_promise_is_looked_at(spoilt, promise):
    with pytest.raises(BrokenPromiseError, match=promise):
        check_tracks(spoilt, IDS)


def test_a_route_of_many_kilometres_may_round():
    # Numbers of 1e8 mm have a last digit of 1.5e-8 mm; a micron off is wrong there as well.
    route = LID.route * 1e8
    walked = position(route, evaluate_keys(LID.keys, np.arange(FRAMES)))
    check_tracks(lid(route=route, position=nudged(walked, 4, 1e-8)), IDS)
    with pytest.raises(BrokenPromiseError):
        check_tracks(lid(route=route, position=nudged(walked, 4, 1e-5)), IDS)
