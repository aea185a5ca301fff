import numpy as np
import pytest

from choreo.errors import ChoreoError
from choreo.geometry.cameras.camera import orthographic_camera, perspective_camera
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Slab
from choreo.model.choreography import Handoff, Phase, Shot, View
from choreo.passes.handoff import handoff

BOX = build_solid([Slab(((0, 0), (10, 0), (10, 10), (0, 10)), (), (0.0, 10.0))])


def shot(*phases, frames=4, handoff_px=0.5):
    return Shot(
        "closing",
        View("orthographic"),
        tuple(Phase(kind, count) for kind, count in phases),
        handoff=Handoff(frames, handoff_px),
    )


def plan_view(count, px_per_mm=10):
    return np.array([orthographic_camera(0, 0, (0, 0, 0), px_per_mm, (1920, 1080)).matrix] * count)


def test_rises_by_equal_steps_to_one_on_the_last_frame():
    # By hand: k/4 over the last 4 of 10 frames.
    x = np.array([9, 7, 5, 3, 1, 0, 0, 0, 0, 0], dtype=float)
    opacity = handoff(shot(("assemble", 5), ("hold", 5)), {"lid": BOX}, plan_view(10), {"lid": np.c_[x, 0 * x, 0 * x]})
    assert opacity.tolist() == [0, 0, 0, 0, 0, 0, 0.25, 0.5, 0.75, 1]


def test_falls_from_one_on_the_first_frame_and_rises_again():
    x = np.array([0, 0, 5, 5, 0, 0], dtype=float)
    opacity = handoff(
        shot(("hold", 2), ("explode", 1), ("assemble", 2), ("hold", 1), frames=2),
        {"lid": BOX},
        plan_view(6),
        {"lid": np.c_[x, 0 * x, 0 * x]},
    )
    assert opacity.tolist() == [1, 0.5, 0, 0, 0.5, 1]


def test_a_shot_that_bursts_at_once_hands_over_only_where_it_holds():
    x = np.array([0, 5, 5, 0, 0], dtype=float)
    opacity = handoff(
        shot(("explode", 2), ("assemble", 2), ("hold", 1), frames=2),
        {"lid": BOX},
        plan_view(5),
        {"lid": np.c_[x, 0 * x, 0 * x]},
    )
    assert opacity.tolist() == [0, 0, 0, 0.5, 1]


def test_a_shot_that_ends_exploded_hands_over_at_its_beginning_only():
    x = np.array([0, 0, 1, 2], dtype=float)
    opacity = handoff(
        shot(("hold", 2), ("explode", 2), frames=1), {"lid": BOX}, plan_view(4), {"lid": np.c_[x, 0 * x, 0 * x]}
    )
    assert opacity.tolist() == [1, 0, 0, 0]


def test_no_handoff_no_hero():
    still = Shot("s", View("orthographic"), (Phase("hold", 3),))
    assert handoff(still, {"lid": BOX}, plan_view(3), {"lid": np.zeros((3, 3))}).tolist() == [0, 0, 0]


@pytest.mark.parametrize(("off_mm", "fits"), [(0.049, True), (0.051, False)])
def test_half_a_pixel_is_the_limit(off_mm, fits):
    # 10 px per mm: 0.049 mm is 0.49 px, 0.051 mm is 0.51 px.
    x = np.array([9, off_mm, off_mm, 0], dtype=float)
    asked = shot(("assemble", 4), frames=3), {"lid": BOX}, plan_view(4), {"lid": np.c_[0 * x, x, 0 * x]}
    if fits:
        assert handoff(*asked)[-3:] == pytest.approx([1 / 3, 2 / 3, 1])
        return
    with pytest.raises(ChoreoError) as caught:
        handoff(*asked)
    assert caught.value.exit_code == 1
    (finding,) = caught.value.findings
    assert finding.code == "handoff-too-short"
    assert finding.what == 'Shot "closing" ends assembled for 1 frame, and the hand-off asks for 3.'
    assert finding.why == 'On frame 2, "lid" is 0.51 px off; 0.5 px is allowed.'


def test_in_perspective_the_nearest_corner_decides():
    # By hand: focal length 85 mm on a sensor 36 mm wide, 1920 px: 4533.33 px. The box's top face is 90 mm from
    # the camera (100 - 10), so 0.01 mm sideways is 0.5037 px there, though 0.4533 px at the origin.
    camera = perspective_camera(0, 0, (0, 0, 0), 100, 85, (36, 20.25), (1920, 1080)).matrix
    x = np.array([0.01, 0.0])
    with pytest.raises(ChoreoError, match=r"0\.51 px off"):
        handoff(shot(("assemble", 2), frames=2), {"lid": BOX}, np.array([camera] * 2), {"lid": np.c_[x, 0 * x, 0 * x]})


def test_a_shot_shorter_than_the_handoff_says_so():
    with pytest.raises(ChoreoError, match="The shot itself has 2 frames"):
        handoff(shot(("hold", 2), frames=3), {"lid": BOX}, plan_view(2), {"lid": np.zeros((2, 3))})
