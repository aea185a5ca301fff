"""One panel as SVG: the frame with its parts, ways and labels, in units of the sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from choreo.geometry.labels.block import CIRCLE, LABEL_SIZE, Block, Measure, block, label_of
from choreo.geometry.labels.lettering import width
from choreo.geometry.labels.places import Placed, Wanted, place_labels
from choreo.geometry.solids.solid import Solid
from choreo.model.assembly import Assembly
from choreo.model.plan import Floats
from choreo.model.report import ShotReport
from choreo.model.tracks import PartTrack, ShotTracks
from choreo.picture.moments import Moment
from choreo.picture.palette import HAIRLINE, INK, PAPER, QUIET, tints
from choreo.picture.panels import FACE, Seen
from choreo.picture.svg import areas, arrow_tip, element, filled, line, text

_RIM, _FIGURE = 0.075, 0.66
"""Within a circle: its ring and the clear space in it, and how high figures are, ems."""
SMALL_LABEL_SIZE = 14.5
_STANDOFF = 3.0
_HEAD = 7.0
"""Length of an arrow's head."""
_COARSE = 0.8
"""Labels and arrows keep clear of outlines to within this."""
_OUTLINE, _CREASE = 15.0, 4.0
"""Widths of lines, tenths of a unit."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """What all panels of a strip have in common."""

    labels: Mapping[str, str]
    """Part id to label, in the order of the assembly."""
    colours: Mapping[str, str]
    numbers: Mapping[str, int]
    """Part id to removal number."""
    centres: Mapping[str, Floats]
    """Part id to the middle of its solid, assembled, mm."""
    resolution: tuple[int, int]
    margins_px: tuple[float, float, float, float]
    measure: Measure = width
    """Of the typeface that it is set in, where that is known."""


def sheet_of(
    assembly: Assembly,
    about: ShotReport,
    solids: Mapping[str, Solid],
    resolution: tuple[int, int],
    margins_px: tuple[float, float, float, float],
    measure: Measure = width,
) -> Sheet:
    """Return what the panels of one shot have in common.

    Parameters
    ----------
    assembly : Assembly
    about : ShotReport
        Of the shot.
    solids : mapping of part id to Solid
        In their assembled places, mm.
    resolution : (width, height)
        Of the film, px.
    margins_px : (left, top, right, bottom)
        Of the safe area.
    measure : Measure
        Of the typeface, where that is known.

    """
    return Sheet(
        {part.id: label_of(part) for part in assembly.parts},
        {part.id: part.colour for part in assembly.parts},
        {part.id: part.removal_number for part in about.parts if part.removal_number is not None},
        {name: solid.bounds.mean(axis=0) for name, solid in solids.items()},
        resolution,
        margins_px,
        measure,
    )


@dataclass(frozen=True, eq=False)
class Panel:
    """One panel: what it shows, and how wide it is."""

    shot: ShotTracks
    moment: Moment
    picture: tuple[Seen, ...]
    width: float

    def height(self, sheet: Sheet) -> float:
        """Height that keeps the shape of the frame."""
        return self.width * sheet.resolution[1] / sheet.resolution[0]


@dataclass(frozen=True)
class PanelLayers:
    """A panel from back to front, its top-left corner at the origin."""

    under: str
    """Paper, safe area, ways."""
    parts: str
    """Left out where a photograph of the frame takes its place."""
    over: str
    """Labels and the frame's edge."""
    left_out: tuple[str, ...]
    """Ids of parts that there was no room to label."""


def panel_svg(panel: Panel, sheet: Sheet) -> tuple[str, tuple[str, ...]]:
    """Return a panel with its top-left corner at the origin, and the ids of parts there was no room to label."""
    layers = panel_layers(panel, sheet)
    return layers.under + layers.parts + layers.over, layers.left_out


def panel_layers(panel: Panel, sheet: Sheet) -> PanelLayers:
    """Return a panel in layers.

    Parameters
    ----------
    panel : Panel
    sheet : Sheet

    """
    scale = panel.width / sheet.resolution[0]
    height = panel.height(sheet)
    regions = _regions(panel, scale)
    ways = _ways(panel, sheet, scale, regions)
    placed, left_out = _labels(panel, sheet, regions, [shapely.LineString(way) for way in ways])
    paper = element("rect", x=0.0, y=0.0, width=panel.width, height=height, fill=PAPER)
    edge = element("rect", x=0.0, y=0.0, width=panel.width, height=height, fill="none", stroke=INK, stroke_width=1.2)
    under = paper + _safe_area(panel, sheet, scale) + _ways_svg(ways)
    return PanelLayers(under, _parts(panel, sheet, scale), "".join(placed) + edge, left_out)


def _regions(panel: Panel, scale: float) -> dict[str, BaseGeometry]:
    """What is seen of each part, on the sheet, as finely as labels and ways need it."""
    if panel.moment.kind == "assembled":
        return {}  # nothing is labelled and nothing moves
    shapes = shapely.simplify([seen.region for seen in panel.picture], _COARSE / scale)
    scaled = shapely.transform(shapes, lambda xy: xy * scale)
    return {seen.part: shape for seen, shape in zip(panel.picture, scaled, strict=True)}


def _parts(panel: Panel, sheet: Sheet, scale: float) -> str:
    """The parts from back to front; a coat leaves the outer half of its part's outline to be seen."""
    shapes = [shape for seen in panel.picture for shape in (seen.region, *(shape for _, shape in seen.coats))]
    data = iter(areas(shapes, scale))
    drawn = []
    for seen in panel.picture:
        tone = tints(sheet.colours[seen.part])
        drawn.append(filled(next(data), fill=tone.wall, stroke=INK, stroke_width=_OUTLINE))
        coats = "".join(filled(next(data), fill=tone.face if name == FACE else tone.wall) for name, _ in seen.coats)
        if coats:
            drawn.append(element("g", coats, stroke=tone.line, stroke_width=_CREASE))
    return element("g", "".join(drawn), transform="scale(.1)", fill_rule="evenodd", stroke_linejoin="round")


def _safe_area(panel: Panel, sheet: Sheet, scale: float) -> str:
    left, top, right, bottom = (margin * scale for margin in sheet.margins_px)
    if not any((left, top, right, bottom)):
        return ""
    return element(
        "rect",
        x=left,
        y=top,
        width=panel.width - left - right,
        height=panel.height(sheet) - top - bottom,
        fill="none",
        stroke=HAIRLINE,
        stroke_width=1.0,
        stroke_dasharray="5 5",
    )


def _ways(panel: Panel, sheet: Sheet, scale: float, regions: Mapping[str, BaseGeometry]) -> list[Floats]:
    """Ways to draw, (k, 2) each: at rest all of them, else what the parts under way have covered."""
    found = []
    frame = shapely.box(0, 0, panel.width, panel.height(sheet))
    for track in panel.shot.parts:
        points = _route(panel, track)
        if len(points) < 2 or track.id not in regions:
            continue
        way = _project(panel, points + sheet.centres[track.id]) * scale
        found += _before(way, regions[track.id], frame)
    # An arrow whose head is hidden points at nothing.
    return [way for way in found if not shapely.intersects_xy(list(regions.values()), *way[-1]).any()]


def _route(panel: Panel, track: PartTrack) -> Floats:
    """Displacements along which a way is drawn, mm; ends where the part is."""
    frame, kind = panel.moment.frame, panel.moment.kind
    if kind == "rest":
        return track.route
    changed = np.flatnonzero((np.diff(track.position, axis=0) != 0).any(axis=1))
    if kind == "assembled" or frame not in changed or frame - 1 not in changed:
        return np.zeros((0, 3))
    still = np.setdiff1d(np.arange(frame), changed)
    start = int(still[-1]) + 1 if len(still) else 0
    return track.position[start : frame + 1]


def _project(panel: Panel, points: Floats) -> Floats:
    image = np.column_stack([points, np.ones(len(points))]) @ panel.shot.cameras[panel.moment.frame].T
    return np.asarray(image[:, :2] / image[:, 2:])


def _before(way: Floats, shape: BaseGeometry, frame: BaseGeometry) -> list[Floats]:
    """The way up to where the part at its end begins, if that is enough for an arrow.

    It begins with its hull: an arrow that ends in the hole of a ring would point at nothing.
    """
    free = shapely.get_parts(
        shapely.difference(shapely.intersection(shapely.LineString(way), frame), shapely.convex_hull(shape))
    )
    if not len(free) or free[-1].length <= 2 * _HEAD + _STANDOFF:
        return []
    return [shapely.get_coordinates(substring(free[-1], 0.0, free[-1].length - _STANDOFF))]


def _ways_svg(ways: Sequence[Floats]) -> str:
    if not ways:
        return ""
    lines = element("path", d="".join(map(line, ways)), fill="none", stroke=QUIET, stroke_width=10.0)
    tips = element("path", d="".join(arrow_tip(way[-2], way[-1], _HEAD) for way in ways), fill=QUIET)
    return element("g", lines + tips, transform="scale(.1)")


def _labels(
    panel: Panel, sheet: Sheet, regions: Mapping[str, BaseGeometry], lines: Sequence[BaseGeometry]
) -> tuple[list[str], tuple[str, ...]]:
    """Labels of all parts at rest, or of those that the caption is about."""
    rest = panel.moment.kind == "rest"
    ids = [part for part in sheet.labels if rest or part in panel.moment.named]
    shown = [part for part in ids if part in regions]
    size = LABEL_SIZE if rest else SMALL_LABEL_SIZE
    blocks = {part: block(sheet.labels[part], sheet.numbers.get(part), size, sheet.measure) for part in shown}
    others = [shape for part, shape in regions.items() if part not in shown]
    wanted = [Wanted(blocks[part].size, regions[part]) for part in shown]
    room = (0.0, 0.0, panel.width, panel.height(sheet))
    found = place_labels(wanted, room, lines, others)
    drawn = [leader_svg(place) for place in found if place]
    drawn += [label_svg(blocks[part], place) for part, place in zip(shown, found, strict=True) if place]
    missing = [part for part, place in zip(shown, found, strict=True) if place is None]
    missing += [part for part in ids if part not in regions]
    return drawn, tuple(missing) if rest else ()


def label_svg(block: Block, place: Placed) -> str:
    """Return a label where it has been placed."""
    left, top, right, bottom = place.box
    middle = top + block.line / 2
    parts = [element("rect", x=left, y=top, width=right - left, height=bottom - top, fill=PAPER)]
    parts += [
        text(left + block.indent, middle + 0.35 * block.em + index * block.line, words, block.em)
        for index, words in enumerate(block.lines)
    ]
    if block.number is not None:
        radius = CIRCLE * block.em - 0.6
        size = _number_size(block)
        centre = left + CIRCLE * block.em
        ring = element("circle", cx=centre, cy=middle, r=radius, fill=PAPER, stroke=INK, stroke_width=1.1)
        parts.append(ring)
        parts.append(text(centre, middle + 0.36 * size, str(block.number), size, text_anchor="middle"))
    return element("g", "".join(parts), class_="label")


def _number_size(block: Block) -> float:
    """The size of the number in its circle: that of the name, as far as there is room for its corners."""
    width, number = block.measure(str(block.number), 1.0), block.number or 0
    fits = (CIRCLE - _RIM) / math.hypot(width / 2, _FIGURE / 2)
    return block.em * max(min(fits, 1.0), 0.8 if number < 100 else 0.6)


def leader_svg(place: Placed) -> str:
    """Return a line cased in paper, so that it can be followed over dark parts, and a dot where it arrives."""
    x, y = place.leader[1]
    drawn = _rule(place, PAPER, 2.8) + _rule(place, INK, 0.8) + element("circle", cx=x, cy=y, r=1.8)
    return element("g", drawn, class_="leader")


def _rule(place: Placed, colour: str, thick: float) -> str:
    (x0, y0), (x1, y1) = place.leader
    return element("line", x1=x0, y1=y0, x2=x1, y2=y1, stroke=colour, stroke_width=thick)
