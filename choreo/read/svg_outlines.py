"""One element of an SVG drawing to polygons in the plane of a part."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.plane.nesting import filled
from choreo.model.plan import Floats
from choreo.read.notes import shown
from choreo.read.refused import Refused
from choreo.read.svg_file import Drawing
from choreo.read.svg_path import Subpath, draw
from choreo.read.svg_shapes import mm_per_unit, placing, shape

FLATTEN_MM = 0.01
"""How far the chords of a curve may lie from it: a tenth of a pixel at 10 px/mm, the scale of a usual plate."""
FARTHEST_MM = 1e6
"""As for coordinates that are written out."""


def svg_polygons(drawing: Drawing, name: str, scale: float | None = None) -> list[BaseGeometry]:
    """Return the area that an element fills; its stroke does not count.

    Parameters
    ----------
    drawing : Drawing
        Of `svg_file.parse_svg`.
    name : str
        The element's id.
    scale : float, optional
        mm a user unit of the drawing; by its declared size if left out, see `svg_shapes.mm_per_unit`.

    Returns
    -------
    list of Polygon
        Valid, mm, x right, y up; the part's origin is the origin of the drawing's user units. Straight edges are
        exact, curves are followed within `FLATTEN_MM`.

    Raises
    ------
    Refused
        If there is no such shape, or its edge is open or meets itself.

    """
    element = drawing.element(name)
    rule = element.inherited("fill-rule") or "nonzero"
    if rule not in ("nonzero", "evenodd"):
        raise Refused("svg-unsupported", f"The fill rule {shown(rule)} is none.", "Write nonzero or evenodd.")
    for word in ("fill-rule", "transform", "clip-path", "mask"):
        if word in drawing.sheet:
            what = f"A style sheet of the drawing sets `{word}`, and style sheets are not read."
            raise Refused("svg-unsupported", what, "Save it as plain SVG, with attributes in place of style sheets.")
    unit = mm_per_unit(drawing) if scale is None else scale
    with np.errstate(all="ignore"):  # what overflows is refused below
        matrix = placing(element) * unit * np.array([[1.0], [-1.0]])
    stretch = float(np.linalg.norm(matrix[:, :2], ord=2)) if np.isfinite(matrix).all() else np.inf
    if not 0 < stretch < np.inf or np.linalg.matrix_rank(matrix[:, :2]) < 2:
        raise Refused("no-area", "Its transforms leave the element no area.", "Mend the transforms.")
    tolerance = max(FLATTEN_MM / stretch, np.finfo(float).tiny)
    subpaths = draw(shape(element), tolerance)
    rings = [_ring(subpath, matrix) for subpath in subpaths]
    _check_rings(rings)
    return filled(rings, rule)


def _ring(subpath: Subpath, matrix: Floats) -> Floats:
    """Return a closed run of the pen in mm, without repeated points."""
    with np.errstate(all="ignore"):
        points = np.asarray(subpath.points @ matrix[:, :2].T + matrix[:, 2])
    if not np.abs(points).max() <= FARTHEST_MM:
        what = f"The shape reaches farther than {FARTHEST_MM:g} mm from the part's origin."
        raise Refused("out-of-range", what, "Check the scale of the drawing, or give `mm_per_unit` beside `svg`.")
    if not subpath.closed and float(np.hypot(*(points[0] - points[-1]))) > FLATTEN_MM:
        x, y = (f"{value:g}" for value in subpath.points[-1])
        what = f"The path is open: it ends at ({x}, {y}) in its own units, away from where it began."
        raise Refused("svg-open", what, "Close it in the drawing program (Z in its data).")
    if not subpath.closed:
        points = points[:-1]
    keep = np.any(points != np.roll(points, 1, axis=0), axis=1)
    return points[keep]


def _check_rings(rings: Sequence[Floats]) -> None:
    if not rings:
        raise Refused("no-area", "The shape is empty.", "Draw it, or name another id.")
    for ring in rings:
        if len(np.unique(ring, axis=0)) < 3 or np.linalg.matrix_rank(ring - ring[0]) < 2:
            what = "Part of the shape has no area: all of its points lie on one line."
            raise Refused("no-area", what, "Delete that part in the drawing program.")
    edges = np.array([shapely.LinearRing(ring) for ring in rings], dtype=object)
    whole = shapely.polygons(edges)
    for polygon in whole[~shapely.is_valid(whole)]:
        raise _crossing(shapely.is_valid_reason(polygon).partition("[")[2].partition("]")[0].split())
    one, other = shapely.STRtree(edges).query(edges, predicate="intersects")
    meeting = np.flatnonzero(one < other)
    if len(meeting):
        first = min((int(one[k]), int(other[k])) for k in meeting)
        common = shapely.get_coordinates(shapely.intersection(edges[first[0]], edges[first[1]]))
        raise _crossing([f"{value:g}" for value in common[0]] if len(common) else [])


def _crossing(near: Sequence[str]) -> Refused:
    where = f" near ({', '.join(near)}) mm" if len(near) == 2 else ""
    what = f"The edge of the shape crosses or touches itself{where}."
    remedy = "Unite overlapping pieces in the drawing program, or draw the edge anew."
    return Refused("crosses-itself", what, remedy, "Inside and outside cannot be told apart there.")
