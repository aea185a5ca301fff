"""Prove, frame by frame, that the picture reads: gaps at rest, the safe area, nothing cut by the frame.

In:  hulls, cameras, positions of one shot      Out: findings

Exact on every frame: the hull of a part's image is the hull of its hull's image.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from choreo.errors import Finding
from choreo.geometry.cameras.camera import Camera
from choreo.geometry.layout.subject import Frame
from choreo.model.plan import Floats
from choreo.model.tracks import PartTrack

_OK_PX = 0.05
"""px; less than this is rounding, not a part that stands too close or outside."""
_SAME_MM = 1e-9
"""A part is at rest where it is this near to the end of its route."""


def frames_at_rest(frames: Sequence[int], tracks: Sequence[PartTrack]) -> list[int]:
    """Return those of the rest frames on which all parts really are at rest: an easing may jump on its first frame."""
    places = np.stack([track.position[list(frames)] for track in tracks])
    away = np.abs(places - np.stack([track.route[-1] for track in tracks])[:, None])
    return [frame for frame, near in zip(frames, (away <= _SAME_MM).all(axis=(0, 2)).tolist(), strict=True) if near]


def check_framing(
    shot: str,
    points: Mapping[str, Floats],
    cameras: Sequence[Camera],
    positions: Mapping[str, Floats],
    rest: Sequence[int],
    frame: Frame,
) -> tuple[Finding, ...]:
    """Return what cannot be met of G3 in one shot, each with by how much.

    Parameters
    ----------
    shot : str
        For the messages.
    points : mapping of part id to (k, 3) array
        Corners of each part's convex hull, assembled, mm.
    cameras : sequence of Camera
        One a frame.
    positions : mapping of part id to (frames, 3) array
        Displacements, mm.
    rest : sequence of int
        Frames on which all parts stand at rest apart.
    frame : Frame
        Resolution, safe area, gap.

    Returns
    -------
    tuple of Finding
        Empty where all is well; else at most one a pair, and one a part and kind.

    """
    near = _too_near(shot, points, cameras, positions)
    if near:
        return near
    boxes = {part: _boxes(points[part], cameras, positions[part]) for part in points}
    findings = [*_outside(shot, boxes, frame), *_unsafe(shot, boxes, rest, frame)]
    return (*_too_close(shot, points, cameras, positions, rest, frame), *findings)


def _too_near(
    shot: str, points: Mapping[str, Floats], cameras: Sequence[Camera], positions: Mapping[str, Floats]
) -> tuple[Finding, ...]:
    """Parts that come behind a perspective camera, or to its very lens: they have no image to measure."""
    found = []
    looks = np.stack([camera.matrix[2] for camera in cameras])
    least = np.array([camera.near if camera.is_perspective else -np.inf for camera in cameras])
    for part, corners in points.items():
        depth = (corners @ looks[:, :3].T).min(axis=0) + (positions[part] * looks[:, :3]).sum(axis=1) + looks[:, 3]
        behind = np.flatnonzero(depth < least)
        if len(behind):
            found.append(
                Finding(
                    code="behind-camera",
                    what=f'In shot "{shot}" part "{part}" reaches the camera on frame {behind[0]}.',
                    why="What touches the camera or is behind it has no picture.",
                    remedy="Let the camera stand farther away, or shorten the part's travel.",
                )
            )
    return tuple(found)


def _boxes(points: Floats, cameras: Sequence[Camera], places: Floats) -> Floats:
    """(frames, 4) bounds on screen: x0, y0, x1, y1."""
    pixels = _pixels(points, cameras, places)
    return np.concatenate([pixels.min(axis=1), pixels.max(axis=1)], axis=1)


def _hulls(points: Floats, cameras: Sequence[Camera], places: Floats) -> np.ndarray:
    """(frames,) convex hulls on screen; frames that look alike share one."""
    rows = np.concatenate([np.stack([camera.matrix for camera in cameras]).reshape(-1, 12), places], axis=1)
    _, first, back = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    pixels = _pixels(points, [cameras[f] for f in first], places[first])
    return np.asarray(shapely.convex_hull(shapely.linestrings(pixels)))[back]


def _pixels(points: Floats, cameras: Sequence[Camera], places: Floats) -> Floats:
    """(frames, k, 2) px."""
    matrices = np.stack([camera.matrix for camera in cameras])
    image = points @ matrices[:, :, :3].transpose(0, 2, 1)
    image += (np.einsum("fij,fj->fi", matrices[:, :, :3], places) + matrices[:, :, 3])[:, None]
    return np.asarray(image[..., :2] / image[..., 2:])


def _beyond(boxes: Floats, edges: tuple[float, float, float, float]) -> Floats:
    """How far each box reaches beyond its nearest edge, px; negative inside."""
    left, top, right, bottom = edges
    sides = [left - boxes[:, 0], top - boxes[:, 1], boxes[:, 2] - right, boxes[:, 3] - bottom]
    return np.asarray(np.max(sides, axis=0))


def _outside(shot: str, boxes: Mapping[str, Floats], frame: Frame) -> list[Finding]:
    findings = []
    width, height = frame.resolution
    for part, box in boxes.items():
        beyond = _beyond(box, (0.0, 0.0, width, height))
        worst = int(np.argmax(beyond))
        if beyond[worst] > _OK_PX:
            findings.append(
                Finding(
                    code="leaves-frame",
                    what=f'In shot "{shot}" part "{part}" reaches {beyond[worst]:.1f} px outside the frame on '
                    f"frame {worst}.",
                    why="What leaves the frame is cut in the picture.",
                    remedy='Let the camera be solved ("fit"), stand farther away, or shorten its travel.',
                )
            )
    return findings


def _unsafe(shot: str, boxes: Mapping[str, Floats], rest: Sequence[int], frame: Frame) -> list[Finding]:
    (width, height), (left, top, right, bottom) = frame.resolution, frame.margins
    findings = []
    for part, box in boxes.items():
        if not len(rest):
            break
        beyond = _beyond(box[list(rest)], (left, top, width - right, height - bottom))
        worst = int(np.argmax(beyond))
        if beyond[worst] > _OK_PX:
            findings.append(
                Finding(
                    code="outside-safe-area",
                    what=f'In shot "{shot}" part "{part}" rests {beyond[worst]:.1f} px outside the safe area on frame '
                    f"{rest[worst]}.",
                    why="Parts at rest belong inside the safe area.",
                    remedy='Let the camera be solved ("fit"), widen safe_area, or shorten the travel that is pinned.',
                )
            )
    return findings


def _too_close(
    shot: str,
    points: Mapping[str, Floats],
    cameras: Sequence[Camera],
    positions: Mapping[str, Floats],
    rest: Sequence[int],
    frame: Frame,
) -> list[Finding]:
    if not len(rest) or len(points) < 2:
        return []
    names = list(points)
    one, two = np.triu_indices(len(names), 1)
    frames = list(rest)
    hulls = np.stack([_hulls(points[n], [cameras[f] for f in frames], positions[n][frames]) for n in names])
    gaps = shapely.distance(hulls[one], hulls[two])
    worst, when = gaps.min(axis=1), np.array(frames)[gaps.argmin(axis=1)]
    findings = []
    for k in np.flatnonzero(worst < frame.gap_px - _OK_PX):
        short = frame.gap_px - worst[k]
        findings.append(
            Finding(
                code="too-close",
                what=f'In shot "{shot}" parts "{names[one[k]]}" and "{names[two[k]]}" rest {short:.1f} px too close on '
                f"frame {when[k]}: {worst[k]:.1f} px apart where {frame.gap_px:g} px are asked for.",
                why="Parts at rest must stand clear of each other to read.",
                remedy="Lower gap_px, or change the travel (travel_mm) or direction (along) that is pinned.",
            )
        )
    return findings
