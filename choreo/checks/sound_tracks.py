"""Whether tracks that were read from a file hold together, so that pictures can be made from them.

A compile keeps these promises; anybody may have written the file since.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from choreo.checks.check_tracks import BrokenPromiseError, check_tracks
from choreo.errors import ChoreoError
from choreo.geometry.cameras.camera import camera_from_matrix
from choreo.model.tracks import ShotTracks, Tracks


def are_sound(tracks: Tracks, ids: Sequence[str]) -> bool:
    """Return whether tracks are of these parts and keep all promises of a compile.

    Parameters
    ----------
    tracks : Tracks
        As read.
    ids : sequence of str
        Of the parts, in the order of the assembly.

    """
    shots, sections = tracks.shots, tracks.sections
    if not shots or len({shot.name for shot in shots}) < len(shots):
        return False
    if any(two.start_frame != one.start_frame + one.frames for one, two in pairwise(shots)):
        return False
    if sections and not _covered(tracks):
        return False
    try:
        return all(_is_sound(shot, ids) for shot in shots)
    except (BrokenPromiseError, ChoreoError, ValueError, ArithmeticError):
        return False


def _covered(tracks: Tracks) -> bool:
    """Whether each frame of the film lies in exactly one section."""
    first, last = tracks.shots[0].start_frame, tracks.shots[-1].start_frame + tracks.shots[-1].frames - 1
    sections = tracks.sections
    return (
        len({one.name for one in sections}) == len(sections)
        and (sections[0].first, sections[-1].last) == (first, last)
        and all(one.first <= one.last for one in sections)
        and all(two.first == one.last + 1 for one, two in pairwise(sections))
    )


def _is_sound(shot: ShotTracks, ids: Sequence[str]) -> bool:
    if shot.start_frame < 0 or not np.isfinite(shot.cameras).all():
        return False
    check_tracks(shot, ids)
    for matrix in shot.cameras:
        camera_from_matrix(matrix)
    known = set(ids)
    return all(known.issuperset((one.part, *one.behind)) for one in shot.masking.holdouts)
