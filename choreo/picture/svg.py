"""The few elements of SVG that a strip is drawn with. Everything is written in whole tenths of its unit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.geometry.labels.sheet import SHEET
from choreo.model.plan import Floats
from choreo.picture.lettering import escaped
from choreo.picture.palette import INK, PAPER

Ints = NDArray[np.int64]
FINE = 0.12
"""Outlines may be off by this many units of the picture: nobody sees it, and it halves the file."""
FONTS = "Helvetica, Arial, sans-serif"


def number(value: float) -> str:
    """Return a length or a coordinate to one decimal."""
    tenths = round(value * 10)
    return str(tenths // 10) if tenths % 10 == 0 else f"{tenths / 10:.1f}"


def element(name: str, content: str | None = None, **attributes: str | float) -> str:
    """Return an element. An underscore in a name stands for a hyphen; content must be XML already."""
    pairs = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{value if isinstance(value, str) else number(value)}"'
        for key, value in attributes.items()
    )
    return f"<{name}{pairs}/>" if content is None else f"<{name}{pairs}>{content}</{name}>"


def filled(data: str, **attributes: str | float) -> str:
    """Return a path of this data; none where there is no data: what sets PDFs takes no path without a start."""
    return element("path", None, d=data, **attributes) if data else ""


def text(x: float, y: float, words: str, size: float, **attributes: str | float) -> str:
    """Return a line of text; the words may hold anything."""
    return element("text", escaped(words), x=x, y=y, font_size=size, **attributes)


def moved_to(x: float, y: float) -> str:
    """Return the transform that moves a group."""
    return f"translate({number(x)} {number(y)})"


def sheet_document(body: str, title: str, height: float, wide_mm: float) -> str:
    """Return a standalone SVG of a sheet `SHEET` units wide and `height` high, printed so many mm wide."""
    paper = element("rect", width=SHEET, height=height, fill=PAPER)
    words = element("g", body, font_family=FONTS, fill=INK)
    drawn = element(
        "svg",
        element("title", escaped(title)) + paper + words,
        xmlns="http://www.w3.org/2000/svg",
        width=f"{number(wide_mm)}mm",
        height=f"{number(wide_mm * height / SHEET)}mm",
        viewBox=f"0 0 {number(SHEET)} {number(height)}",
    )
    return drawn + "\n"


def arrow_tip(start: Floats, end: Floats, length: float, lean: float = 0.36) -> str:
    """Return the path data of the tip of an arrow from `start` to `end`, `lean` of its length to either side.

    In tenths, as `line` has it.
    """
    back = (start - end) / np.hypot(*(start - end)) * length
    side = np.array([-back[1], back[0]]) * lean
    return line(np.array([end, end + back + side, end + back - side])) + "z"


def line(points: Floats) -> str:
    """Return the path data of an open polyline, (k, 2), in tenths."""
    return _steps(np.rint(np.asarray(points) * 10).astype(np.int64))


def areas(shapes: Sequence[BaseGeometry], scale: float) -> list[str]:
    """Return the path data of shapes with holes, in tenths, to be filled by the even-odd rule.

    Empty where nothing is left at that fineness.

    Parameters
    ----------
    shapes : sequence of Polygon or MultiPolygon
        px
    scale : float
        Units of the picture per px.

    """
    coarse = shapely.simplify(np.asarray(shapes, dtype=np.object_), FINE / scale)
    polygons, shape = shapely.get_parts(coarse, return_index=True)
    rings, polygon = shapely.get_rings(polygons, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    tenths = np.rint(points * (10 * scale)).astype(np.int64)
    # A ring repeats its first point at its end; leaving out what repeats its successor drops that as well.
    kept = np.zeros(len(tenths), dtype=np.bool_)
    kept[:-1] = (tenths[1:] != tenths[:-1]).any(axis=1) & (ring[1:] == ring[:-1])
    tenths, ring = tenths[kept], ring[kept]
    out = [""] * len(shapes)
    for index, part in enumerate(np.split(tenths, np.searchsorted(ring, np.arange(1, len(rings))))):
        if len(part) > 2:
            out[shape[polygon[index]]] += _steps(part) + "z"
    return out


def _steps(tenths: Ints) -> str:
    """An absolute start and steps from point to point; a minus sign parts two numbers as well as a space does."""
    x, y = tenths[0].tolist()
    steps = (tenths[1:] - tenths[:-1]).ravel().tolist()
    return f"M{x} {y}l{' '.join(map(str, steps))}".replace(" -", "-")
