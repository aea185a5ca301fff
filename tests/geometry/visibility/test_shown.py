"""What is left to be seen of each part: holdouts whose corners rounding has folded into lines are still areas."""

from __future__ import annotations

import shapely

from choreo.geometry.visibility.shown import hidden_regions
from choreo.model.plan import Region
from choreo.model.tracks import Holdout, Masking, OrderSpan


def test_a_holdout_with_a_spike_of_no_width_leaves_out_what_it_encloses():
    """Worked by hand: a line of 5 px sticks out of a square of 10 x 10 px; with two more, 240 square px are hidden."""
    spiked = Region(((0, 0), (10, 0), (10, 5), (15, 5), (10, 5), (10, 10), (0, 10)), ())
    beside = Region(((20, 0), (30, 0), (30, 10), (20, 10)), ())
    third = Region(((32, 0), (36, 0), (36, 10), (32, 10)), ())
    outlines = {"back": shapely.box(0, 0, 40, 10), "front": shapely.box(0, 0, 10, 10)}
    orders = (OrderSpan(0, 0, ("front", "back")),)
    masking = Masking(orders, (Holdout("back", 0, 0, (spiked, beside, third), ("front",)),))
    found = hidden_regions(outlines, masking, 0, 1.0)
    assert abs(found["back"].area - 240) < 1e-6
