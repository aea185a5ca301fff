"""Over which parts the page lays the still by itself, where, and by how much."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.camera import camera_from_matrix
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.geometry.solids.solid import build_solid
from choreo.geometry.visibility.shown import hidden_regions
from choreo.model.assembly import Assembly, Ring
from choreo.model.tracks import ShotTracks

_AROUND_PX = 32.0
"""px of the frame: a plate reaches a little beyond the outline of its part."""


def taken_over(shot: ShotTracks, assembly: Assembly) -> list[tuple[str, int, list[float], list[Ring]]]:
    """Return stretches of frames on which the still lies over single parts by more than over the whole.

    Parameters
    ----------
    shot : ShotTracks
    assembly : Assembly

    Returns
    -------
    list of (part id, first frame, opacities, rings)
        By how much the still goes atop of the part on each frame from that one on, before it goes over the whole; where
        the part does not show when all is assembled, px, rings by the even-odd rule.

    """
    regions: dict[int, dict[str, BaseGeometry]] = {}
    found = []
    for part, row in shot.hero_parts.items():
        whole = shot.hero_opacity
        atop = np.where(row > whole, (row - whole) / np.where(whole < 1, 1 - whole, 1.0), 0.0)
        there = np.flatnonzero(np.diff(atop > 0, prepend=False, append=False))
        for first, stop in there.reshape(-1, 2).tolist():
            end = 0 if (row[: first + 1] > 0).all() else shot.frames - 1
            if end not in regions:
                regions[end] = _regions(shot, assembly, end)
            rings = [tuple(map(tuple, shapely.get_coordinates(r)[:-1].tolist())) for r in _rings(regions[end][part])]
            found.append((part, first, atop[first:stop].tolist(), rings))
    return found


def _regions(shot: ShotTracks, assembly: Assembly, frame: int) -> dict[str, BaseGeometry]:
    view = camera_from_matrix(shot.cameras[frame])
    home = np.zeros((1, 3))
    outlines: Mapping[str, BaseGeometry] = {
        part.id: silhouettes(build_solid(part.slabs, part.offset), view, home)[0] for part in assembly.parts
    }
    return hidden_regions(outlines, shot.masking, frame, _AROUND_PX)


def _rings(region: BaseGeometry) -> list[BaseGeometry]:
    return list(shapely.get_rings(shapely.get_parts(region)))
