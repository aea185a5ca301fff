"""Which way each part leaves in a shot: the removal order's, the shot's own where it is free, refused where not."""

import numpy as np
import pytest
from mechanisms import HOOKED
from random_assemblies import cell_assembly
from small_assemblies import box, drawer, insert, make, phase, shot, stack

from choreo.compile import take_apart
from choreo.errors import ChoreoError
from choreo.passes.ways import plan_ways


def ways(assembly, pins=None):
    apart = take_apart(assembly)
    return plan_ways(shot(phase("explode", 40), pins=pins), apart.removal, apart.encounters), apart


def fails(assembly, pins):
    with pytest.raises(ChoreoError) as caught:
        ways(assembly, pins)
    assert caught.value.exit_code == 1
    return caught.value.findings


def test_without_pins_each_part_leaves_as_the_removal_order_says():
    made, apart = ways(drawer())
    assert list(made.directions) == [step.part for step in apart.removal.steps]
    for step in apart.removal.steps:
        assert made.directions[step.part] == pytest.approx(step.direction)
    assert made.travels == {}


def test_a_free_direction_is_taken_at_unit_length():
    made, _ = ways(stack(), {"knob": ((0, 3, 4), 55.0)})
    assert made.directions["knob"] == pytest.approx((0, 0.6, 0.8))
    assert made.travels == {"knob": 55.0}
    assert made.directions["lid"] == pytest.approx((0, 0, 1))


def test_a_direction_into_what_is_still_there_is_refused_by_name():
    # The knob stands on the lid and the lid on the base, all above each other: down goes through both. By hand.
    (finding,) = fails(stack(), {"knob": ((0, 0, -1), None)})
    assert finding.code == "along-blocked"
    assert 'part "knob" cannot leave along (0, 0, -1): "lid" and "base" would be in its way' in finding.what


def test_who_has_left_is_in_nobodys_way():
    # The knob leaves before the lid, so the lid may go up through where the knob was; sideways is free as well.
    made, apart = ways(stack(), {"lid": ((1, 0, 0), None)})
    assert [step.part for step in apart.removal.steps] == ["knob", "lid"]
    assert made.directions["lid"] == pytest.approx((1, 0, 0))


def test_all_refusals_at_once():
    findings = fails(stack(), {"knob": ((0, 0, -1), None), "lid": ((0, 0, -1), None), "base": (None, 20.0)})
    assert sorted(f.code for f in findings) == ["along-blocked", "along-blocked", "body-stays"]
    assert '"base"' in next(f for f in findings if f.code == "body-stays").what


@pytest.mark.parametrize("seed", range(6))
def test_free_or_not_by_shoving_boxes(seed):
    # Two boxes side by side, a random direction: free exactly if no step of the way overlaps, sampled every 0.05 mm.
    rng = np.random.default_rng(seed)
    wall = box("wall", 10, -15, 20, 15, 0, 30)
    post = box("post", -6, -6, 6, 6, 5, 15)
    assembly = make(wall, post, joints=[insert("post", "wall", (-1, 0, 0))])
    for _ in range(8):
        along = rng.normal(size=3)
        along /= np.linalg.norm(along)
        steps = np.arange(0, 120, 0.05)[:, None] * along
        low = np.maximum(np.array([-6, -6, 5]) + steps, [10, -15, 0])
        high = np.minimum(np.array([6, 6, 15]) + steps, [20, 15, 30])
        depth = (high - low).min(axis=1).max()
        if 0 < depth < 0.3:  # too near the edge for sampling to tell
            continue
        if depth > 0:
            assert fails(assembly, {"post": (tuple(along), None)})[0].code == "along-blocked"
        else:
            assert ways(assembly, {"post": (tuple(along), None)})[0].directions["post"] == pytest.approx(along)


def hooked():
    """A hook and an eye that part along x alone, in a frame that is open at the top; cubes of 10 mm."""
    return cell_assembly(HOOKED)


def test_what_is_asked_of_a_group_is_asked_of_the_part_it_is_named_after():
    made, apart = ways(hooked())
    (group,) = apart.removal.steps
    assert len(group.members) == 2
    assert tuple(made.directions) == apart.removal.order == group.members
    assert made.directions[group.part] == pytest.approx((0, 0, 1))
    inner = made.directions[group.members[0]]
    assert abs(inner[0]) == pytest.approx(1)
    # By hand: askew upward the group meets the frame, straight up it goes 80 mm.
    (finding,) = fails(hooked(), {group.part: ((1, 0, 1), None)})
    assert (finding.code, '"frame" would be in its way' in finding.what) == ("along-blocked", True)
    assert f'"{group.part}" (with {group.members[0]})' in finding.what
    made, _ = ways(hooked(), {group.part: ((0, 0, 2), 80.0)})
    assert (made.directions[group.part].tolist(), made.travels) == ([0, 0, 1], {group.part: 80.0})


def test_inside_a_group_only_the_rest_of_it_is_in_the_way():
    _, apart = ways(hooked())
    (group,) = apart.removal.steps
    (inner,) = group.inner.steps
    # The frame's wall stands beside it at home, but outside it is not there.
    assert apart.encounters.blocks_way(inner.part, np.array(inner.direction), "frame")
    made, _ = ways(hooked(), {inner.part: (inner.direction, None)})
    assert made.directions[inner.part] == pytest.approx(inner.direction)
    (finding,) = fails(hooked(), {inner.part: ((0, 0, 1), None)})
    assert f'"{group.part}" would be in its way' in finding.what
