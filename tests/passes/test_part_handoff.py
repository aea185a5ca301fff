"""Parts are taken over one by one: by hand, frame by frame."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.checks.check_handoff import check_handoff
from choreo.checks.check_tracks import BrokenPromiseError
from choreo.geometry.cameras.camera import orthographic_camera
from choreo.geometry.layout.approved import Kept
from choreo.geometry.solids.solid import build_solid
from choreo.geometry.solids.turned import turns_of
from choreo.geometry.visibility.shown import shown_regions, side_by_side
from choreo.model.assembly import Assembly, Part, Slab
from choreo.model.choreography import Handoff, Phase, Shot, View
from choreo.model.plan import Region
from choreo.model.tracks import Holdout, Key, Masking, OrderSpan, PartTrack, ShotTracks, Spin
from choreo.passes.handoff import handoff
from choreo.passes.part_handoff import hand_over_parts

SCALE = 10.0
FRAMES = 30


def box(name, x, z=0.0, size=10.0):
    ring = ((x, 0.0), (x + size, 0.0), (x + size, size), (x, size))
    return Part(name, name, "#808080", (0.0, 0.0, 0.0), (Slab(ring, (), (z, z + 2.0)),))


# 30 mm apart: 200 px of nothing between them.
APART = (box("one", 0), box("two", 30), box("base", 60))


def cameras(frames=FRAMES):
    return np.array([orthographic_camera(0, 0, (0, 0, 0), SCALE, (1920, 1080)).matrix] * frames)


def track(name, across, register=None, spin=None, turn=None):
    """A part that is `across` mm off to the right, frame by frame."""
    across = np.asarray(across, dtype=float)
    rows = np.c_[across, 0 * across, 0 * across]
    ones = np.ones(len(rows))
    keys = (Key(0, 0.0),)
    return PartTrack(name, rows[:1], keys, rows, rows[:, :2], ones, ones, (None,) * len(rows), spin, turn, register)


def home_from(frame, frames=FRAMES):
    return np.where(np.arange(frames) < frame, 5.0, 0.0)


def settled(phases, tracks, parts=APART, view=None, masking=None, kept=None, **asked):
    """What both passes make of a shot, proved once more by its corners."""
    frames = sum(count for _, count in phases)
    handing = Handoff(**{"frames": 4, **asked})
    shot = Shot("s", View("orthographic"), tuple(Phase(kind, count) for kind, count in phases), handoff=handing)
    view = cameras(frames) if view is None else view
    solids = {part.id: build_solid(part.slabs, part.offset) for part in parts}
    offsets = {part.id: part.offset for part in parts}
    turns = turns_of(tracks, offsets)
    masking = masking or Masking((OrderSpan(0, frames - 1, tuple(solids)),), ())
    whole = handoff(shot, solids, view, {one.id: one.position for one in tracks}, turns)
    found = hand_over_parts(shot, solids, offsets, view, tracks, whole, masking, turns, kept)
    made = ShotTracks("s", 0, frames, view, tuple(tracks), whole, masking, found.opacity)
    check_handoff(made, Assembly("a", 0.05, tuple(parts)), handing)
    return whole, found


def returning(first=10, second=20, frames=FRAMES, **more):
    tracks = [track("one", home_from(first, frames)), track("two", home_from(second, frames)),
              track("base", np.zeros(frames))]  # fmt: skip
    return settled([("assemble", frames)], tracks, **more)


def test_two_parts_that_settle_at_frames_10_and_20():
    """By hand, four steps: a quarter on the frame from which on a part is home, all of it three frames later."""
    whole, found = returning()
    assert whole.nonzero()[0].tolist() == [26, 27, 28, 29]
    assert found.opacity["one"].tolist() == [0] * 10 + [0.25, 0.5, 0.75] + [1] * 17
    assert found.opacity["two"].tolist() == [0] * 20 + [0.25, 0.5, 0.75] + [1] * 7
    # The base never leaves: it goes with the last one that does.
    assert found.opacity["base"].tolist() == found.opacity["two"].tolist()
    assert [(found.over[part].first, found.over[part].last) for part in ("one", "two")] == [(10, None), (20, None)]
    assert (found.whole.first, found.whole.off_px) == (26, 0)


def test_mirrored_where_they_leave():
    tracks = [track("one", home_from(10)[::-1]), track("two", home_from(20)[::-1]), track("base", np.zeros(FRAMES))]
    whole, found = settled([("hold", 10), ("explode", 20)], tracks)
    assert whole[:5].tolist() == [1, 0.75, 0.5, 0.25, 0]
    assert found.opacity["one"][::-1].tolist() == [0] * 10 + [0.25, 0.5, 0.75] + [1] * 17
    assert found.opacity["two"][::-1].tolist() == [0] * 20 + [0.25, 0.5, 0.75] + [1] * 7
    assert (found.over["one"].first, found.over["one"].last) == (None, 19)


def test_there_and_back_has_both_ends():
    away = np.array([0] * 8 + [5] * 14 + [0] * 8, dtype=float)
    later = np.array([0] * 10 + [5] * 10 + [0] * 10, dtype=float)
    tracks = [track("one", away), track("two", later), track("base", np.zeros(FRAMES))]
    _, found = settled([("hold", 4), ("explode", 10), ("assemble", 12), ("hold", 4)], tracks)
    assert found.opacity["two"].tolist() == [1] * 7 + [0.75, 0.5, 0.25] + [0] * 10 + [0.25, 0.5, 0.75] + [1] * 7


@pytest.mark.parametrize("frame", [12, 26])
def test_where_all_come_home_on_one_frame_nobody_is_first(frame):
    assert returning(frame, frame)[1].opacity == {}


def test_it_can_be_left_to_the_whole():
    _, found = returning(each_part=False)
    assert found.opacity == {}
    assert {over.first for over in found.over.values()} == {26}


def test_what_lies_beside_a_part_must_be_home_as_well():
    # "two" stands 5 px from "one" when all is assembled: it might shade it. 9 px are beyond that.
    tracks = [track("one", home_from(10)), track("two", home_from(20)), track("base", home_from(12))]
    for x, first in ((10.5, 20), (10.9, 10)):
        parts = (box("one", 0), box("two", x), box("base", 60))
        _, found = settled([("assemble", FRAMES)], tracks, parts=parts)
        assert found.opacity["one"].nonzero()[0][0] == first
        assert found.opacity["base"].nonzero()[0][0] == 12


def test_what_is_hidden_when_all_is_assembled_takes_no_part():
    # "two" ends beneath "base", which lies side by side with "one" and never leaves.
    parts = (box("one", 0), box("two", 31, size=5), box("base", 30, 2))
    _, found = returning(parts=parts)
    assert set(found.opacity) == {"one"} or set(found.opacity) == {"one", "base"}
    assert "two" not in found.opacity
    assert found.over["two"].first == 26


def test_a_holdout_makes_neighbours():
    # "two" lies above "one" in the order, but a holdout leaves all of it out but a strip far from "one".
    parts = (box("one", 0), box("two", 0, 2, 40), box("base", 60))
    region = Region(tuple((x, y) for x, y in [(900.0, 100.0), (1310.0, 100.0), (1310.0, 600.0), (900.0, 600.0)]))
    order = (OrderSpan(0, FRAMES - 1, ("one", "two", "base")),)
    for holdouts, first in (((), None), ((Holdout("two", 0, 29, (region,), ("one",)),), 10)):
        _, found = returning(parts=parts, masking=Masking(order, holdouts))
        rows = found.opacity.get("one")
        assert (None if rows is None else rows.nonzero()[0][0]) == first


def test_before_a_camera_that_moves_nothing_is_taken_over_early():
    view = cameras()
    view[:17, 0, 3] += np.arange(17, 0, -1)  # stands from frame 17 on; between frames it is led by two beside it
    _, found = returning(view=view)
    assert found.opacity["one"].nonzero()[0][0] == 19
    view = cameras()
    view[:, 0, 3] += np.arange(FRAMES)
    assert returning(view=view)[1].opacity == {}


def test_a_plate_must_be_in_register_as_well():
    # Home on frame 10; its plate is moved by 0.6 px less than in the end until frame 14, by 0.4 px less after it.
    register = np.tile([2.0, 0.0, 1.0, 0.0], (FRAMES, 1))
    register[:15, 0], register[15:18, 0] = 1.4, 1.6
    tracks = [track("one", home_from(10), register), track("two", home_from(20)), track("base", np.zeros(FRAMES))]
    _, found = settled([("assemble", FRAMES)], tracks)
    assert found.opacity["one"].nonzero()[0][0] == 15
    assert found.over["one"].off_px == pytest.approx(0.4)
    # Growth and turn count about the part's origin: its farthest corner is 10 mm by 10 mm away, 141.4 px.
    for row in ([2.0, 0.0, 1.004, 0.0], [2.0, 0.0, 1.0, 0.23]):
        register[:15] = row  # 0.57 px
        tracks[0] = track("one", home_from(10), register)
        assert settled([("assemble", FRAMES)], tracks)[1].opacity["one"].nonzero()[0][0] == 15


def test_a_part_that_still_turns_is_not_home():
    turn = np.zeros(FRAMES)
    turn[:14] = 0.23
    spun = track("one", home_from(10), spin=Spin(90.0, 0.0), turn=turn)
    tracks = [spun, track("two", home_from(20)), track("base", np.zeros(FRAMES))]
    assert settled([("assemble", FRAMES)], tracks)[1].opacity["one"].nonzero()[0][0] == 14


def test_what_is_locked_stays_as_it_was_while_that_is_sound():
    whole, _ = returning()
    kept = track("one", home_from(10))

    def asked(row, hero=whole, limit=0.5):
        known = Kept({"one": kept}, (), (), hero_opacity=hero, hero_parts={} if row is None else {"one": row})
        return returning(kept=known, handoff_px=limit)[1].opacity

    assert "one" not in asked(None)  # approved before parts were taken over: with the whole
    slow = np.maximum(whole, np.clip((np.arange(FRAMES) - 11) / 8, 0, 1))
    assert asked(slow)["one"].tolist() == slow.tolist()
    early = np.maximum(whole, np.clip((np.arange(FRAMES) - 7) / 8, 0, 1))  # on frame 8 it is not home
    assert asked(early)["one"][10] == 0.25
    assert asked(None, hero=whole / 2)["one"][10] == 0.25  # the whole still comes otherwise now


@settings(max_examples=60, deadline=None)
@given(
    homes=st.lists(st.integers(0, 20), min_size=2, max_size=4),
    gap=st.floats(0, 3),
    frames=st.integers(1, 6),
    leaving=st.booleans(),
    soft=st.floats(0, 0.2),
)
def test_never_before_a_part_is_home_never_less_than_the_whole(homes, gap, frames, leaving, soft):
    parts = [box(f"p{n}", n * (10 + gap)) for n in range(len(homes))]
    ways = []
    for home in homes:
        away = home_from(home)
        away[home : home + 3] = [soft, soft / 2, soft / 4]  # lands softly
        ways.append(away[::-1] if leaving else away)
    tracks = [track(part.id, way) for part, way in zip(parts, ways, strict=True)]
    phases = [("hold", 7), ("explode", FRAMES - 7)] if leaving else [("assemble", FRAMES)]
    whole, found = settled(phases, tracks, parts=parts, frames=frames)
    order = -1 if leaving else 1
    for part, way in zip(parts, ways, strict=True):
        row = found.opacity.get(part.id, whole)
        assert ((row >= whole) & (row <= 1)).all()
        assert (np.diff(row[::order]) >= 0).all()
        steps = np.diff(row[::order]) * frames
        assert np.abs(steps - np.round(steps)).max() < 1e-9
        assert (np.abs(way[row > 0]) * SCALE <= 0.5).all()


def broken(row, across=0.0, view=None):
    tracks = (track("one", home_from(10) + across), track("two", home_from(20)), track("base", np.zeros(FRAMES)))
    masking = Masking((OrderSpan(0, 29, ("one", "two", "base")),), ())
    whole = np.clip((np.arange(FRAMES) - 25) / 4, 0, 1)
    made = ShotTracks("s", 0, 30, cameras() if view is None else view, tracks, whole, masking, {"one": row})
    check_handoff(made, Assembly("a", 0.05, APART), Handoff(4))


def test_the_check_sees_each_fault():
    good = np.clip((np.arange(FRAMES) - 9) / 4, 0, 1)
    broken(good)
    with pytest.raises(BrokenPromiseError, match="off beneath the still"):
        broken(np.clip((np.arange(FRAMES) - 8) / 4, 0, 1))
    with pytest.raises(BrokenPromiseError, match="off beneath the still"):
        broken(good, across=0.051)
    with pytest.raises(BrokenPromiseError, match="whole still lies over it"):
        broken(good * 0.9)
    dented = good.copy()
    dented[15] = 0.5
    with pytest.raises(BrokenPromiseError, match="comes once"):
        broken(dented)
    dented[15:25] = 0
    with pytest.raises(BrokenPromiseError, match=r"comes once|stays"):
        broken(dented)
    view = cameras()
    view[12, 0, 3] += 1e-3
    with pytest.raises(BrokenPromiseError, match="camera"):
        broken(good, view=view)


def test_what_shows_against_areas_by_hand():
    outlines = {"low": shapely.box(0, 0, 10, 10), "high": shapely.box(4, 4, 14, 14)}
    masking = Masking((OrderSpan(0, 0, ("low", "high")), OrderSpan(1, 1, ("high", "low"))), ())
    assert [round(shapely.area(one), 9) for one in shown_regions(outlines, masking, 0).values()] == [64, 100]
    assert [round(shapely.area(one), 9) for one in shown_regions(outlines, masking, 1).values()] == [100, 64]
    hold = Holdout("high", 0, 0, (Region(((4, 4), (10, 4), (10, 10), (4, 10))),), ("low",))
    held = shown_regions(outlines, Masking(masking.orders, (hold,)), 0)
    assert [round(shapely.area(one), 9) for one in held.values()] == [100, 64]
    far = {**held, "far": shapely.box(23, 0, 24, 1), "none": shapely.Polygon()}
    assert side_by_side(far, 9.5)["far"] == ("high",)
    assert side_by_side(far, 9.5)["none"] == ()
