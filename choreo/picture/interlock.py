"""The proof of an interlock as one picture: who holds whom, in which directions.

A card a part: the part in its place in the plan view, the others pale around it, and around them a dial of all
directions of the plane. A sector is dark where the way is barred and names who bars it; where it is open the dial
is a dotted line. Ways toward and away from the viewer, and askew, stand below in words. At the foot the ring of
blockers closes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.solids.solid import Solid
from choreo.model.assembly import Assembly, Vector
from choreo.model.interlock import Bar, Held, Interlock
from choreo.picture.lettering import cut, escaped, wrapped
from choreo.picture.palette import HAIRLINE, INK, PAPER, QUIET, tints
from choreo.picture.svg import FONTS, areas, element, moved_to, number, text

_CARD, _GAP, _MARGIN = 420.0, 24.0, 48.0
_COLUMNS = 3
_DIAL, _BAND, _PICTURE = 112.0, 9.0, 92.0
"""Radius of the dial, its width, and the half size of what is drawn inside."""
_TITLE, _NAME, _WORD, _SMALL = 30.0, 19.0, 14.5, 13.0
_STEP = 20.0
_DIAL_TOP = 64.0
_NAMED = 8
"""Sectors of one dial that are named beside it; the rest stand below, in words."""
_THIN = math.radians(2.0)
"""A direction without width, or nearly so, is drawn this wide: what is barred there must be seen."""
_WORDS_MOST = 7
_LABEL_ROOM = 88.0
_NAMES = 3
"""Names of blockers beside a sector, a line each; how many more there are stands in the last line."""


def interlock_svg(assembly: Assembly, solids: Mapping[str, Solid], interlock: Interlock) -> str:
    """Return the picture of an interlock as one standalone SVG.

    The same input gives the same bytes. Nothing is loaded from elsewhere and nothing runs in it.

    Parameters
    ----------
    assembly : Assembly
        Names and colours.
    solids : mapping of part id to Solid
        In their assembled places, mm.
    interlock : Interlock
        The proof, or how far it got.

    """
    columns = min(_COLUMNS, len(interlock.held))
    sheet = max(columns, 2) * (_CARD + _GAP) - _GAP
    labels = {part.id: part.label for part in assembly.parts}
    colours = {part.id: part.colour for part in assembly.parts}
    plan = _Plan(labels, colours, _outlines(solids, interlock.parts))
    head, top = _head(assembly, interlock, labels, sheet)
    body = [head]
    for start in range(0, len(interlock.held), columns):
        cards = [plan.card(held) for held in interlock.held[start : start + columns]]
        tall = max(height for _, height in cards)
        for column, (drawn, _) in enumerate(cards):
            frame = element("rect", x=0.0, y=0.0, width=_CARD, height=tall, fill="none", stroke=HAIRLINE)
            body.append(element("g", frame + drawn, transform=moved_to(column * (_CARD + _GAP), top)))
        top += tall + _GAP
    foot, top = _foot(interlock, labels, sheet, top)
    return _document("".join([*body, foot]), assembly.name, sheet + 2 * _MARGIN, top + 2 * _MARGIN)


def _outlines(solids: Mapping[str, Solid], parts: Sequence[str]) -> dict[str, BaseGeometry]:
    """What a part covers in the plan view."""
    return {part: shapely.union_all([band.section for band in solids[part].bands], grid_size=1e-6) for part in parts}


@dataclass(frozen=True, eq=False)
class _Plan:
    """What all cards are drawn from."""

    labels: Mapping[str, str]
    colours: Mapping[str, str]
    outlines: Mapping[str, BaseGeometry]

    def card(self, held: Held) -> tuple[str, float]:
        """Return one part's card, and how tall it must be."""
        middle = (_CARD / 2, _DIAL_TOP + _DIAL + 2 * _STEP)
        flat = [bar for bar in held.bars if bar.arc is not None]
        drawn = [text(16.0, 32.0, cut(self.labels[held.part], _NAME, _CARD - 32), _NAME, font_weight="bold")]
        drawn.append(element("g", self._picture(held.part) + self._dial(flat), transform=moved_to(*middle)))
        top = middle[1] + _DIAL + 4.7 * _STEP
        lines = [line for words in self._words(held, flat) for line in wrapped(words, _WORD, _CARD - 32)]
        for line in lines:
            drawn.append(text(16.0, top, line, _WORD, fill=INK))
            top += _STEP
        return "".join(drawn), top

    def _picture(self, part: str) -> str:
        x0, y0, x1, y1 = shapely.total_bounds(list(self.outlines.values()))
        scale = 2 * _PICTURE / max(math.hypot(x1 - x0, y1 - y0), 1e-9)
        at = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
        order = [*(other for other in self.outlines if other != part), part]
        shapes = [shapely.transform(self.outlines[name], lambda xy: (xy - at) * [scale, -scale]) for name in order]
        data = areas(shapes, 1.0)
        rest = "".join(element("path", d=d, fill="#eceef0", stroke=HAIRLINE, stroke_width=8.0) for d in data[:-1])
        own = element("path", d=data[-1], fill=tints(self.colours[part]).face, stroke=INK, stroke_width=14.0)
        return element("g", rest + own, transform="scale(.1)", fill_rule="evenodd", stroke_linejoin="round")

    def _dial(self, bars: Sequence[Bar]) -> str:
        track = element(
            "circle", cx=0.0, cy=0.0, r=_DIAL, fill="none", stroke=QUIET, stroke_width=1.6, stroke_dasharray="1.6 5"
        )
        sectors = [_sector(bar) for bar in bars if bar.blockers]
        named = sorted((bar for bar in bars if bar.blockers), key=lambda bar: -_wide(bar))[:_NAMED]
        return track + "".join(sectors) + "".join(self._label(bar) for bar in named)

    def _label(self, bar: Bar) -> str:
        angle = math.radians(sum(_arc(bar)) / 2)
        x, y = math.cos(angle), -math.sin(angle)
        reach = _DIAL + _BAND + 8
        anchor = "middle" if abs(x) < 0.35 else "start" if x > 0 else "end"
        lines = self._stacked(bar.blockers)
        tall = _SMALL * 1.2
        # Beside the dial the lines are centred on the sector; above and below it they stay outside.
        first = y * reach - tall * (len(lines) - 1) * (1 - y) / 2 + 0.35 * _SMALL + 0.5 * y * _SMALL
        return "".join(
            text(x * reach, first + tall * row, words, _SMALL, text_anchor=anchor, fill=INK)
            for row, words in enumerate(lines)
        )

    def _stacked(self, parts: Sequence[str]) -> list[str]:
        shown = parts if len(parts) <= _NAMES else parts[: _NAMES - 1]
        lines = [cut(self.labels[part], _SMALL, _LABEL_ROOM) for part in shown]
        return lines if len(shown) == len(parts) else [*lines, f"and {len(parts) - len(shown)} more"]

    def _words(self, held: Held, flat: Sequence[Bar]) -> list[str]:
        """What the dial does not show: ways out of the plane, and sectors that were not named."""
        out = [bar for bar in held.bars if bar.arc is None]
        lines = [f"{_way(bar.direction)}: {self._barred(bar)}" for bar in out]
        rest = sorted(flat, key=lambda bar: -_wide(bar))[_NAMED:]
        lines += [f"{_span(bar)}: {self._barred(bar)}" for bar in rest if bar.blockers]
        more = len(lines) - _WORDS_MOST
        return lines if more <= 0 else [*lines[:_WORDS_MOST], f"and {more} more; report and --json have them all"]

    def _barred(self, bar: Bar) -> str:
        return f"barred by {self._names(bar.blockers)}" if bar.blockers else "open for this part alone"

    def _names(self, parts: Sequence[str]) -> str:
        return ", ".join(self.labels[part] for part in parts)


def _head(assembly: Assembly, interlock: Interlock, labels: Mapping[str, str], sheet: float) -> tuple[str, float]:
    names = ", ".join(labels[part] for part in interlock.parts)
    left = "after leaving the others as one, hold each other" if interlock.inside else "hold each other"
    drawn = [text(0.0, _TITLE, cut(assembly.name, _TITLE, sheet), _TITLE, font_weight="bold")]
    top = _TITLE + 1.6 * _STEP
    said = [f"{names} {left}: none can leave, alone or with others, by translation while the rest stays."]
    if not interlock.proved:
        tried, every = interlock.groups_tried, interlock.groups_in_all
        said.append(f"This is not proved for all groups of them: {tried} of {every} were tried.")
    said.append("Seen from the front (+z toward you). Dark sector: the way is barred, and by whom. Dots: open.")
    for sentence in said:
        for line in wrapped(sentence, _WORD, sheet):
            drawn.append(text(0.0, top, line, _WORD, fill=QUIET))
            top += _STEP
    return "".join(drawn), top + 0.4 * _STEP


def _foot(interlock: Interlock, labels: Mapping[str, str], sheet: float, top: float) -> tuple[str, float]:
    """The ring, link by link, and back to its first part."""
    if not interlock.ring:
        return "", top
    drawn = [text(0.0, top + _NAME, "The ring that closes", _NAME, font_weight="bold")]
    top += _NAME + 1.4 * _STEP
    for link in interlock.ring:
        words = f"{labels[link.part]} is held by {labels[link.by]} on its way {_way(link.direction)}"
        for line in wrapped(words, _WORD, sheet - 30):
            drawn.append(element("path", d=f"M4 {number(top - 9)}v9l-4 -4m4 4l4 -4", fill="none", stroke=QUIET))
            drawn.append(text(22.0, top, line, _WORD, fill=INK))
            top += _STEP
    return "".join(drawn), top


def _arc(bar: Bar) -> tuple[float, float]:
    assert bar.arc is not None
    return bar.arc


def _wide(bar: Bar) -> float:
    start, end = _arc(bar)
    return end - start


def _sector(bar: Bar) -> str:
    start, end = (math.radians(angle) for angle in _arc(bar))
    if end - start >= 2 * math.pi - 1e-9:
        return element("circle", cx=0.0, cy=0.0, r=_DIAL, fill="none", stroke=INK, stroke_width=_BAND)
    spare = max(_THIN - (end - start), 0.0) / 2
    # A hair between neighbours, so that sectors can be told apart.
    inset = min(0.012, (end - start + 2 * spare) / 8)
    start, end = start - spare + inset, end + spare - inset
    (x0, y0), (x1, y1) = ((_DIAL * math.cos(a), -_DIAL * math.sin(a)) for a in (start, end))
    large = int(end - start > math.pi)
    way = f"M{number(x0)} {number(y0)}A{number(_DIAL)} {number(_DIAL)} 0 {large} 0 {number(x1)} {number(y1)}"
    return element("path", d=way, fill="none", stroke=INK, stroke_width=_BAND)


def _span(bar: Bar) -> str:
    start, end = _arc(bar)
    return f"at {start:.1f}°" if end - start < 0.05 else f"{start:.0f}° to {end:.0f}°"


_WAYS = {
    (0.0, 0.0, 1.0): "toward you (+z)",
    (0.0, 0.0, -1.0): "away from you (-z)",
    (1.0, 0.0, 0.0): "right (+x)",
    (-1.0, 0.0, 0.0): "left (-x)",
    (0.0, 1.0, 0.0): "up (+y)",
    (0.0, -1.0, 0.0): "down (-y)",
}


def _way(direction: Vector) -> str:
    x, y, z = (round(c, 6) + 0.0 for c in direction)
    if (x, y, z) in _WAYS:
        return _WAYS[x, y, z]
    if z == 0:
        return f"at {math.degrees(math.atan2(y, x)) % 360:.1f}°"
    return f"along ({x:.3g}, {y:.3g}, {z:.3g})"


def _document(body: str, name: str, wide: float, tall: float) -> str:
    title = element("title", escaped(f"{name}: parts that hold each other"))
    paper = element("rect", x=0.0, y=0.0, width=wide, height=tall, fill=PAPER)
    inside = element("g", body, transform=moved_to(_MARGIN, _MARGIN))
    return element(
        "svg",
        title + paper + inside,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(wide)} {number(tall)}",
        width=wide,
        height=tall,
        font_family=FONTS,
        fill=INK,
    )
