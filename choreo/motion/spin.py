"""How far a part has turned about its own z at each point of its way.

It begins to turn where it has room for it, and eases in and out: with u running from 0 there to 1 at rest, it has
turned by ``degrees * u^2 (3 - 2 u)``, the cubic that is still at both ends. An overshoot turns it no farther.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from choreo.model.plan import Floats
from choreo.model.tracks import Spin


def turn_at(spin: Spin, progress: ArrayLike) -> Floats:
    """Return the turn (n,) in degrees, counter-clockwise seen from +z, at each progress (n,)."""
    u = np.clip((np.asarray(progress, dtype=np.float64) - spin.since) / (1 - spin.since), 0.0, 1.0)
    return np.asarray(spin.degrees * u * u * (3 - 2 * u))
