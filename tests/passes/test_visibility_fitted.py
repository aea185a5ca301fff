"""What is seen of a peg that fills its pocket to the last digit, or reaches into its walls; areas worked by hand."""

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate

from choreo.geometry.solids.solid import Band, Solid
from choreo.passes.visibility import visibility

# An arrow that points at the camera: the back of its head, x = 0 and 4 < |y| < 10, is a wall of the pocket that
# lies on the chord of the head.
ARROW = shapely.Polygon([(-10, 0), (0, -10), (0, -4), (12, -4), (12, 4), (0, 4), (0, 10)])
HEAD_MM2, SHAFT_MM2 = 100.0, 96.0
TOUCH_MM = 0.05
PX_PER_MM = 20.0


def camera(degrees):
    """A parallel camera 45 degrees up, that looks along the arrow turned by so many degrees."""
    c, s, half = np.cos(np.radians(degrees)), np.sin(np.radians(degrees)), np.sqrt(0.5)
    across, up = [-s, c, 0, 0], [half * c, half * s, half, 0]
    return np.array([[np.multiply(PX_PER_MM, across), np.multiply(PX_PER_MM, up), [0, 0, 0, 1]]])


def seen_mm2(peg, pocket, degrees, peg_first):
    """Area seen of the peg, 20 high, in a tray 10 high, mm of picture squared."""
    tray = shapely.difference(shapely.box(-30, -30, 30, 30), pocket)
    both = ((10.0, tray), (20.0, peg))
    solids = [Solid((Band(0.0, height, rotate(section, degrees, (0, 0))),)) for height, section in both]
    if peg_first:
        solids.reverse()
    seen = visibility(solids, camera(degrees), np.zeros((2, 1, 3)), TOUCH_MM)
    return seen.visible(0 if peg_first else 1, np.array([0]))[0].area / PX_PER_MM**2


@pytest.mark.parametrize("peg_first", [False, True])
@pytest.mark.parametrize("degrees", [0.0, 17.0, 33.0, 121.0])
@pytest.mark.parametrize("reach_mm", [0.0, 0.02, 0.04])
def test_arrow_in_its_pocket(degrees, reach_mm, peg_first):
    # Seen are the top and what of the two front walls (20 across together) stands above the tray (10 high), each
    # foreshortened by 45 degrees. The tray behind the head hides nothing of it.
    pocket = shapely.buffer(ARROW, -reach_mm, join_style="mitre") if reach_mm else ARROW
    by_hand = (HEAD_MM2 + SHAFT_MM2 + 20 * 10) * np.sqrt(0.5)
    assert seen_mm2(ARROW, pocket, degrees, peg_first) == pytest.approx(by_hand, abs=20 * 2 * TOUCH_MM)


@pytest.mark.parametrize("peg_first", [False, True])
@pytest.mark.parametrize("looked_at", ["front", "back"])
@pytest.mark.parametrize("degrees", [0.0, 17.0, 121.0])
def test_a_tongue_in_a_shallow_notch(degrees, looked_at, peg_first):
    # The notch is 2 by 1: less than what walls of 60 together may share by touching, and yet no touching.
    notch = shapely.box(-5, -1, -4, 1) if looked_at == "front" else shapely.box(4, -1, 5, 1)
    block = shapely.difference(shapely.box(-5, -10, 5, 10), notch)
    # Seen are the top and, of all walls that face the camera, what stands above the tray: 20 across, 10 high.
    by_hand = (10 * 20 - 2 + 20 * 10) * np.sqrt(0.5)
    assert seen_mm2(block, block, degrees, peg_first) == pytest.approx(by_hand, abs=0.05)
