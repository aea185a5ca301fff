"""How far a part's picture lies from where it is when all is assembled, px of the frame."""

from __future__ import annotations

import numpy as np

from choreo.geometry.cameras.silhouette import hull_points
from choreo.geometry.solids.solid import Solid
from choreo.geometry.solids.turned import Turns
from choreo.model.plan import Floats


def off_px(solid: Solid, cameras: Floats, positions: Floats, turns: Turns | None = None) -> Floats:
    """Return how far, frame by frame, a solid's outermost points lie from where they would be assembled.

    Parameters
    ----------
    solid : Solid
        In its assembled place, mm.
    cameras : (frames, 3, 4) array
    positions : (frames, 3) array
        Displacement from assembled, mm.
    turns : Turns, optional
        Of a part that spins.

    Returns
    -------
    (frames,) array
        px, exact: the largest distance of a convex hull lies at a corner of it.

    """
    away = positions.any(axis=1)
    if turns is not None:
        away |= turns.degrees % 360 != 0
    frames = np.flatnonzero(away)
    points = hull_points(solid)
    home = _seen(points[None], cameras[frames])
    now = _seen(_placed(points, positions[frames], turns, frames), cameras[frames])
    out = np.zeros(len(cameras))
    out[frames] = _farthest(now - home)
    return out


def off_still_px(
    solid: Solid,
    origin: Floats,
    cameras: Floats,
    positions: Floats,
    turns: Turns | None,
    register: Floats | None,
    end: int,
) -> Floats:
    """Return the same of the part's plate, which `register` moves as well, held against where it is on one frame.

    Parameters
    ----------
    solid, cameras, positions, turns
        See `off_px`.
    origin : (3,) array
        The part's own origin when it is assembled, mm: plates are moved about it.
    register : (frames, 4) array, optional
        As tracks have it; None: it moves by nothing.
    end : int
        The frame whose correction counts as none missing; the part is taken to be assembled on it.

    """
    if register is None or bool((register == register[end]).all()):
        return off_px(solid, cameras, positions, turns)
    frames = np.arange(len(cameras))
    points = np.vstack([origin, hull_points(solid)])
    now = _seen(_placed(points, positions, turns, frames), cameras)
    home = _seen(points[None], cameras)
    return _farthest(_registered(now, register) - _registered(home, register[None, end].repeat(len(frames), axis=0)))


def _placed(points: Floats, positions: Floats, turns: Turns | None, frames: np.ndarray) -> Floats:
    """(frames, n, 3) mm."""
    placed = np.repeat(points[None], len(frames), axis=0)
    if turns is not None:
        angle = np.radians(turns.degrees[frames])[:, None]
        x, y = points[:, 0] - turns.axis[0], points[:, 1] - turns.axis[1]
        placed[..., 0] = turns.axis[0] + np.cos(angle) * x - np.sin(angle) * y
        placed[..., 1] = turns.axis[1] + np.sin(angle) * x + np.cos(angle) * y
    return np.asarray(placed + positions[:, None])


def _seen(points: Floats, cameras: Floats) -> Floats:
    """(frames, n, 2) px."""
    at = points @ cameras[:, :, :3].transpose(0, 2, 1) + cameras[:, None, :, 3]
    return np.asarray(at[..., :2] / at[..., 2:])


def _registered(seen: Floats, register: Floats) -> Floats:
    """Moved about the first point of each frame, which is left out."""
    about, rest = seen[:, :1], seen[:, 1:]
    angle = np.radians(register[:, 3])[:, None]
    x, y = np.moveaxis(rest - about, -1, 0)
    turned = np.stack([np.cos(angle) * x - np.sin(angle) * y, np.sin(angle) * x + np.cos(angle) * y], axis=-1)
    return np.asarray(about + register[:, None, :2] + register[:, 2, None, None] * turned)


def _farthest(apart: Floats) -> Floats:
    return np.asarray(np.hypot(apart[..., 0], apart[..., 1]).max(axis=1, initial=0.0))
