"""Old and new side by side, and one on the other, at frames that differ most.

On the third panel what has changed is filled in its own colours as it is now, and outlined in dashes as it was; all
else is pale. So colour alone carries no meaning. Names stand only where something has changed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.labels.block import Block, block
from choreo.geometry.labels.places import Wanted, place_labels
from choreo.geometry.labels.sheet import GAP, INNER, MARGIN
from choreo.model.tracks import ShotTracks
from choreo.picture.lettering import BOLD, cut, wrapped
from choreo.picture.moments import Moment
from choreo.picture.palette import HAIRLINE, INK, PAPER, QUIET, tints
from choreo.picture.panel_svg import Panel, Sheet, label_svg, leader_svg, panel_layers
from choreo.picture.panels import FACE, Seen
from choreo.picture.svg import areas, arrow_tip, element, line, number, sheet_document, text

_TITLE, _META, _ROW_TITLE, _LABEL = 40.0, 20.0, 22.0, 15.0
_TITLE_STEP = 48.0
"""From one line of a long title to the next."""
_HEAD_ROOM, _ROW_HEAD, _ROW_GAP = 118.0, 40.0, 34.0
_WIDTH = (INNER - 2 * GAP) / 3
_COARSE = 0.8
"""Labels keep clear of outlines to within this, units."""
_NAMED = 12
"""Labels on a panel, at most: those of what has changed most."""
_PALE = "#eef0f2"
_OUTLINE, _THIN, _DASHED, _CASING = 15.0, 8.0, 20.0, 44.0
"""Widths of lines, tenths of a unit."""
_SHORTEST, _TIP = 14.0, 8.0
"""Of an arrow, and of its head, units."""
_A4_WIDTH = 297.0
"""mm, ISO 216."""


@dataclass(frozen=True)
class Marked:
    """A part that has changed on a frame."""

    part: str
    what: str
    """In a word or two, e.g. "34 px"."""


@dataclass(frozen=True, eq=False)
class Side:
    """One of the two compiles on a frame."""

    shot: ShotTracks
    picture: tuple[Seen, ...]
    colours: Mapping[str, str]
    labels: Mapping[str, str]
    resolution: tuple[int, int]


@dataclass(frozen=True, eq=False)
class ChangedPanel:
    """A frame on which the two differ."""

    title: str
    frame: int
    """Of the shot."""
    old: Side
    new: Side
    marked: tuple[Marked, ...]
    """What has changed most comes first."""


def comparison_svg(panels: Sequence[ChangedPanel], name: str, meta: str) -> str:
    """Return the picture as one standalone SVG; the same input gives the same bytes.

    Parameters
    ----------
    panels : sequence of ChangedPanel
        At least one.
    name : str
        Of the product.
    meta : str
        Where old and new come from.

    """
    name = f"What has changed: {name}"
    titles = wrapped(name, _TITLE * BOLD, INNER)
    head = "".join(
        text(MARGIN, MARGIN + 34 + row * _TITLE_STEP, words, _TITLE, font_weight="bold")
        for row, words in enumerate(titles)
    )
    base = MARGIN + (len(titles) - 1) * _TITLE_STEP
    head += text(MARGIN, base + 70, cut(meta, _META, INNER), _META, fill=QUIET)
    for column, words in enumerate(("Old", "New", "Both: dashed before, filled now")):
        x = MARGIN + column * (_WIDTH + GAP)
        head += text(x, base + _HEAD_ROOM, cut(words, _META * BOLD, _WIDTH), _META, font_weight="bold")
    top = base + _HEAD_ROOM + 8.0
    rows = []
    for panel in panels:
        top += _ROW_HEAD
        rows.append(text(MARGIN, top - 10.0, cut(panel.title, _ROW_TITLE, INNER), _ROW_TITLE))
        drawn = (_side(panel.old, panel.frame), _side(panel.new, panel.frame), _both(panel))
        for column, svg in enumerate(drawn):
            x = MARGIN + column * (_WIDTH + GAP)
            rows.append(element("g", svg, transform=f"translate({number(x)} {number(top)})"))
        top += max(_height(panel.old), _height(panel.new)) + _ROW_GAP
    return sheet_document(head + "".join(rows), name, top + MARGIN - _ROW_GAP, _A4_WIDTH)


def _height(side: Side) -> float:
    return _WIDTH * side.resolution[1] / side.resolution[0]


def _side(side: Side, frame: int) -> str:
    """One compile alone, as the storyboard draws it, without names."""
    sheet = Sheet(side.labels, side.colours, {}, {}, side.resolution, (0.0, 0.0, 0.0, 0.0))
    layers = panel_layers(Panel(side.shot, Moment(frame, "", "assembled"), side.picture, _WIDTH), sheet)
    return layers.under + layers.parts + layers.over


def _both(panel: ChangedPanel) -> str:
    """What is now, filled where it has changed, and what was, in dashes, over it."""
    old, new = panel.old, panel.new
    ids = [one.part for one in panel.marked]
    height = _height(new)
    was = {seen.part: seen.region for seen in _scaled(old) if seen.part in ids}
    now = _scaled(new)
    here = {seen.part: seen.region for seen in now}
    paper = element("rect", x=0.0, y=0.0, width=_WIDTH, height=height, fill=PAPER)
    edge = element("rect", x=0.0, y=0.0, width=_WIDTH, height=height, fill="none", stroke=INK, stroke_width=1.2)
    parts = "".join(_part(seen, new.colours[seen.part], marked=seen.part in ids) for seen in now)
    arrows = [way for part in ids if part in was and part in here for way in _way(was[part], here[part])]
    # What was may lie off the frame now, e.g. where the two are not of one shape.
    frame = shapely.box(0, 0, _WIDTH, height)
    drawn = "".join(map(_was, areas([shapely.intersection(shape, frame) for shape in was.values()], 1.0)))
    tenths = element("g", parts + drawn + _arrows(arrows), transform="scale(.1)", fill_rule="evenodd",
                     stroke_linejoin="round")  # fmt: skip
    return paper + tenths + _names(panel, was, here, arrows, (_WIDTH, height)) + edge


def _scaled(side: Side) -> list[Seen]:
    """What is seen, in units of the panel."""
    scale = _WIDTH / side.resolution[0]

    def on_panel(shape: BaseGeometry) -> BaseGeometry:
        return shapely.transform(shape, lambda xy: xy * scale)

    return [
        Seen(seen.part, on_panel(seen.region), tuple((tone, on_panel(shape)) for tone, shape in seen.coats))
        for seen in side.picture
    ]


def _part(seen: Seen, colour: str, *, marked: bool) -> str:
    region, *coats = areas([seen.region, *(shape for _, shape in seen.coats)], 1.0)
    if not marked:
        return element("path", d=region, fill=_PALE, stroke=HAIRLINE, stroke_width=_THIN)
    tone = tints(colour)
    ground = element("path", d=region, fill=tone.wall, stroke=INK, stroke_width=_OUTLINE)
    return ground + "".join(
        element("path", d=data, fill=tone.face if name == FACE else tone.wall)
        for data, (name, _) in zip(coats, seen.coats, strict=True)
    )


def _was(data: str) -> str:
    casing = element("path", d=data, fill="none", stroke=PAPER, stroke_width=_CASING)
    return casing + element("path", d=data, fill="none", stroke=INK, stroke_width=_DASHED, stroke_dasharray="60 45")


def _way(was: BaseGeometry, here: BaseGeometry) -> list[np.ndarray]:
    """From the middle of where a part was to the middle of where it is, if that is far enough for an arrow."""
    ends = np.array([shapely.get_coordinates(shape.centroid)[0] for shape in (was, here)])
    return [ends] if float(np.hypot(*(ends[1] - ends[0]))) >= _SHORTEST else []


def _arrows(ways: Sequence[np.ndarray]) -> str:
    if not ways:
        return ""
    shafts = "".join(map(line, ways))
    casing = element("path", d=shafts, fill="none", stroke=PAPER, stroke_width=_CASING)
    heads = "".join(arrow_tip(way[0], way[1], _TIP, 0.42) for way in ways)
    tips = element("path", d=heads, fill=INK, stroke=PAPER, stroke_width=_THIN)
    return casing + element("path", d=shafts, fill="none", stroke=INK, stroke_width=_OUTLINE) + tips


def _names(
    panel: ChangedPanel,
    was: Mapping[str, BaseGeometry],
    here: Mapping[str, BaseGeometry],
    arrows: Sequence[np.ndarray],
    room: tuple[float, float],
) -> str:
    """Labels of what has changed, as far as there is room for them."""
    labels = {**panel.old.labels, **panel.new.labels}
    shapes = {**was, **here}
    named = [one for one in panel.marked if one.part in shapes][:_NAMED]
    blocks = [Block((*block(labels[one.part], None, _LABEL).lines, one.what), None, _LABEL) for one in named]
    coarse = {part: shapely.simplify(shape, _COARSE) for part, shape in shapes.items()}
    wanted = [Wanted(each.size, coarse[one.part]) for each, one in zip(blocks, named, strict=True)]
    others = [shape for part, shape in coarse.items() if part not in {one.part for one in named}]
    lines = [shapely.LineString(way) for way in arrows]
    found = place_labels(wanted, (0.0, 0.0, *room), lines, [*others, *(was[part] for part in was if part in here)])
    leaders = [leader_svg(place) for place in found if place]
    return "".join([*leaders, *(label_svg(each, place) for each, place in zip(blocks, found, strict=True) if place)])
