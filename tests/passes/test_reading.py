"""What shows of each part at rest, by pixels that OpenCV fills."""

import cv2
import numpy as np
import pytest
from small_assemblies import box, compiled, film, insert, make, shot, stack, there_and_back

from choreo.errors import ChoreoError
from choreo.model.choreography import View

SIDE = View("orthographic", 90, 0)
FINE = 4
"""Pixels of the referee a px: its areas are good to half a pixel along the outlines, here below 0.3 %."""


def wide_stack(gap_px, readable, pins=None):
    choreography = film(shot(*there_and_back(60), view=SIDE, pins=pins), gap_px=gap_px)
    return type(choreography)(**{**vars(choreography), "readable": readable})


def shown_by_pixels(assembly, made, frame):
    """Visible fraction of each part: boxes painted far to near, by the near face's depth (all boxes, seen along x)."""
    shape = (1080 * FINE, 1920 * FINE)
    seen, whole = np.zeros(shape, np.uint8), {}
    tracks = {t.id: t for t in made.parts}
    far_to_near = sorted(assembly.parts, key=lambda p: max(x for x, _ in p.slabs[0].outline))
    for number, part in enumerate(far_to_near, 1):
        ring = np.array(part.slabs[0].outline)
        corners = np.array([(x, y, z) for x, y in ring for z in part.slabs[0].z]) + tracks[part.id].position[frame]
        pixels = (corners @ made.cameras[frame][:, :3].T + made.cameras[frame][:, 3])[:, :2]
        hull = cv2.convexHull((pixels * FINE - 0.5).round().astype(np.int32))
        cv2.fillPoly(seen, [hull], number)
        alone = np.zeros(shape, np.uint8)
        cv2.fillPoly(alone, [hull], 1)
        whole[part.id] = (number, int(alone.sum()))
    return {part: float((seen == number).sum() / area) for part, (number, area) in whole.items()}


def test_what_rests_apart_shows_whole():
    made = compiled(stack(), wide_stack(24, 0.98)).report.shots[0]
    assert [part.visible for part in made.parts] == [1.0, 1.0, 1.0]


@pytest.mark.parametrize("travel", [3.0, 10.0, 16.4])
def test_fractions_by_pixels(travel):
    # Seen along x, the nearer lid stands before the box behind it, which is pinned to a travel that keeps it there.
    back, base = box("back", -30, -18, -10, 18, 10, 30), box("base", -30, -20, 30, 20, 0, 10)
    front = box("front", 5, -9, 25, 9, 10, 24)
    joints = [insert("back", "base", (0, 0, 1)), insert("front", "base", (0, 0, 1))]
    assembly = make(base, back, front, joints=joints)
    pins = {"back": (None, travel), "front": (None, 5.0)}
    made = compiled(assembly, wide_stack(0, 0.0, pins))
    shown = {part.id: part.visible for part in made.report.shots[0].parts}
    one = made.tracks.shots[0]
    frame = 3 + 60
    assert shown["back"] < 0.95
    for part, fraction in shown_by_pixels(assembly, one, frame).items():
        assert shown[part] == pytest.approx(fraction, abs=0.003), part
    with pytest.raises(ChoreoError) as caught:
        compiled(assembly, wide_stack(0, 0.98, pins))
    (finding,) = caught.value.findings
    assert caught.value.exit_code == 1
    assert finding.code == "hidden-at-rest"
    assert f'"back" shows {100 * shown["back"]:.1f} %' in finding.what
    assert f'"front" ({100 - 100 * shown["back"]:.1f} %)' in finding.what
    assert "travel_mm" in finding.remedy
    # Asked for no more than there is, it is content.
    compiled(assembly, wide_stack(0, shown["back"] - 0.001, pins))


def test_outlines_that_only_touch_show_whole():
    made = compiled(stack(), wide_stack(0, 1.0)).report.shots[0]
    assert min(part.visible for part in made.parts) == pytest.approx(1.0, abs=1e-6)
