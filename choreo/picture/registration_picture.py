"""The stack's outline on the hero's, on one sheet: what sticks out, what is missing, which way to move, in numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.registration.similarity import apply, compose, inverse
from choreo.model.plan import Floats
from choreo.model.registration import PartRegistration, Registration, Similarity
from choreo.picture.flow import INNER, MARGIN
from choreo.picture.lettering import BOLD, cut
from choreo.picture.palette import HAIRLINE, INK, QUIET
from choreo.picture.svg import areas, arrow_tip, element, line, moved_to, number, sheet_document, text

_TITLE, _META, _SMALL = 40.0, 20.0, 16.0
_HEAD_ROOM, _ROW, _GAP = 100.0, 26.0, 24.0
_HIGHEST = 1200.0
"""Of the picture, units."""
_AROUND = 0.04
"""Room left around the outlines, as a share of their size."""
_HATCH = 7.0
_LONGEST = 70.0
"""The longest arrow should be about so long, units."""
_TIP = 8.0
_FACTORS = tuple(step * 10**power for power in range(-1, 5) for step in (1, 2, 5))
_A4_WIDTH = 297.0
"""mm, ISO 216."""
_COLUMNS = ((0.0, "Part"), (330.0, "Verdict"), (1130.0, "Off, px"), (1230.0, "Mean, px"), (1340.0, "Used"),
            (1420.0, "px a mm"), (1560.0, "Pivot, px"), (1830.0, "Turn, deg"))  # fmt: skip


def registration_svg(found: Registration, labels: Mapping[str, str], name: str = "") -> str:
    """Return the picture of a registration as one standalone SVG; the same input gives the same bytes.

    Parameters
    ----------
    found : Registration
    labels : mapping of part id to str
        Names for people; the id where there is none.
    name : str
        Of the product.

    """
    bounds = _bounds([found.stack.stack, found.stack.hero])
    scale = min(INNER / (bounds[2] - bounds[0]), _HIGHEST / (bounds[3] - bounds[1]))
    height = (bounds[3] - bounds[1]) * scale
    arrows = _arrows(found)
    factor = _factor(arrows, scale)
    head = _head(found, name)
    picture = element(
        "g", _outlines(found, arrows, bounds, scale, factor), transform=moved_to(MARGIN, MARGIN + _HEAD_ROOM)
    )
    top = MARGIN + _HEAD_ROOM + height + _GAP
    legend = element("g", _legend(factor, with_arrows=bool(arrows)), transform=moved_to(MARGIN, top + _META))
    table, rows = _table(found, labels)
    top += 2 * _GAP + _META
    body = head + picture + legend + element("g", table, transform=moved_to(MARGIN, top))
    return sheet_document(body, f"{name}: stack on hero still", top + rows, _A4_WIDTH)


def _bounds(shapes: Sequence[BaseGeometry]) -> tuple[float, float, float, float]:
    """What is shown of the hero still, px."""
    known = [shape.bounds for shape in shapes if not shape.is_empty]
    if not known:
        return 0.0, 0.0, 1.0, 1.0
    low, high = np.min(known, axis=0)[:2], np.max(known, axis=0)[2:]
    room = max(2.0, _AROUND * float((high - low).max()))
    return float(low[0] - room), float(low[1] - room), float(high[0] + room), float(high[1] + room)


def _arrows(found: Registration) -> list[tuple[Floats, Floats]]:
    """From where points of the parts' outlines stand to where they belong, px; (n, 2) each."""
    arrows = []
    for part in found.parts:
        if part.placed is None or part.correction is None:
            continue
        if part.by == "outline" and part.outline is not None:
            fitted = np.array([arrow.at_px for arrow in part.outline.arrows]).reshape(-1, 2)
            goal = fitted + np.array([arrow.off_px for arrow in part.outline.arrows]).reshape(-1, 2)
            back = compose(part.placed, inverse(part.outline.transform))
            arrows.append((apply(back, fitted), goal))
        elif part.content is not None and part.off_at_px is not None:
            arrows.append(_single(part, part.placed, part.content.transform))
    return arrows


def _single(part: PartRegistration, placed: Similarity, goal: Similarity) -> tuple[Floats, Floats]:
    """The point that is farthest off, and where it belongs."""
    here = np.array([part.off_at_px])
    return here, apply(compose(goal, inverse(placed)), here)


def _factor(arrows: Sequence[tuple[Floats, Floats]], scale: float) -> float:
    """How many times the arrows are drawn longer than the picture's scale has them: 1, 2 or 5 of some ten."""
    longest = max((float(np.hypot(*(goal - here).T).max()) for here, goal in arrows if len(here)), default=0.0)
    if longest * scale <= 0:
        return 1.0
    return float(max((f for f in _FACTORS if f * longest * scale <= _LONGEST), default=_FACTORS[0]))


def _outlines(
    found: Registration,
    arrows: Sequence[tuple[Floats, Floats]],
    bounds: tuple[float, float, float, float],
    scale: float,
    factor: float,
) -> str:
    corner = np.array(bounds[:2])

    def on_sheet(shape: BaseGeometry) -> BaseGeometry:
        return shapely.transform(shape, lambda points: (points - corner) * scale)

    stack, hero = on_sheet(found.stack.stack), on_sheet(found.stack.hero)
    hatches = [
        _hatched([on_sheet(piece) for piece in found.stack.surplus], 1.0),
        _hatched([on_sheet(piece) for piece in found.stack.gaps], -1.0),
    ]
    data = areas([hero, stack], 1.0)
    drawn = [
        element("path", d=data[0], fill="#eef0f2", stroke=INK, stroke_width=15.0),
        *(element("path", d=hatch, fill="none", stroke=INK, stroke_width=9.0) for hatch in hatches if hatch),
        element("path", d=data[1], fill="none", stroke=INK, stroke_width=12.0, stroke_dasharray="60 40"),
    ]
    shafts, tips = [], []
    for here, goal in arrows:
        start = (here - corner) * scale
        end = start + (goal - here) * scale * factor
        for one, two in zip(start, end, strict=True):
            if float(np.hypot(*(two - one))) >= 1.0:
                shafts.append(line(np.array([one, two])))
                tips.append(arrow_tip(one, two, min(_TIP, float(np.hypot(*(two - one))))))
    if shafts:
        drawn.append(element("path", d="".join(shafts), fill="none", stroke=QUIET, stroke_width=12.0))
        drawn.append(element("path", d="".join(tips), fill=QUIET))
    edge = (bounds[2] - bounds[0]) * scale, (bounds[3] - bounds[1]) * scale
    frame = element("rect", width=edge[0], height=edge[1], fill="none", stroke=HAIRLINE, stroke_width=1.0)
    return frame + element("g", "".join(drawn), transform="scale(.1)", fill_rule="evenodd", stroke_linejoin="round")


def _hatched(pieces: Sequence[BaseGeometry], lean: float) -> str:
    """Outlines and slanted lines of areas, cut to them: nothing that a viewer has to look up or clip."""
    out = []
    for piece in pieces:
        x0, y0, x1, y1 = piece.bounds
        tall = y1 - y0
        # Counted from the sheet's corner, so that neighbouring pieces have one hatch.
        low, high = (x0 - tall, x1) if lean > 0 else (x0, x1 + tall)
        offset = y0 if lean > 0 else -y0
        first = math.ceil((low - offset) / _HATCH)
        last = math.floor((high - offset) / _HATCH)
        starts = np.arange(first, last + 1) * _HATCH + offset
        strokes = np.stack([np.stack([starts, starts + lean * tall], 1), np.tile([y0, y1], (len(starts), 1))], 2)
        cuts = shapely.intersection(shapely.linestrings(strokes), piece) if len(starts) else np.array([])
        flat = shapely.get_parts(shapely.get_parts(cuts))
        out += [line(shapely.get_coordinates(one)) for one in flat if one.geom_type == "LineString" and one.length > 0]
        out += areas([piece], 1.0)
    return "".join(out)


def _head(found: Registration, name: str) -> str:
    stack = found.stack
    title = cut(f"{name}: stack on hero still" if name else "Stack on hero still", _TITLE * BOLD, INNER)
    facts = (
        "meets the hero" if stack.meets else "does not meet the hero",
        f"worst {_px(stack.worst_px)}, mean {_px(stack.mean_px)}, allowed {found.handoff_px:g} px",
        f"sticks out {stack.surplus_px2:.0f} px²",
        f"missing {stack.missing_px2:.0f} px²",
        f"mended: worst {_px(found.mended.worst_px)}",
    )
    return text(MARGIN, MARGIN + 34, title, _TITLE, font_weight="bold") + text(
        MARGIN, MARGIN + 72, " · ".join(facts), _META, fill=QUIET
    )


def _legend(factor: float, *, with_arrows: bool) -> str:
    square = shapely.box(0.0, 0.0, 34.0, 18.0)
    items = [
        (element("path", d="M0 90l340 0", stroke=INK, stroke_width=15.0, fill="none"), "hero still"),
        (
            element("path", d="M0 90l340 0", stroke=INK, stroke_width=12.0, fill="none", stroke_dasharray="60 40"),
            "stack",
        ),
        (element("path", d=_hatched([square], 1.0), stroke=INK, stroke_width=9.0, fill="none"), "stack sticks out"),
        (element("path", d=_hatched([square], -1.0), stroke=INK, stroke_width=9.0, fill="none"), "stack is missing"),
    ]
    if with_arrows:
        tip = arrow_tip(np.array([0.0, 9.0]), np.array([34.0, 9.0]), _TIP)
        shaft = element("path", d="M0 90l340 0", stroke=QUIET, stroke_width=12.0, fill="none")
        words = f"way to where the point belongs, drawn {factor:g} times as long"
        items.append((shaft + element("path", d=tip, fill=QUIET), words))
    drawn, left = [], 0.0
    for sign, words in items:
        drawn.append(element("g", sign, transform=f"translate({number(left)} -14) scale(.1)"))
        drawn.append(text(left + 44.0, 0.0, words, _SMALL, fill=QUIET))
        left += 44.0 + 30.0 + len(words) * _SMALL * 0.6
    return "".join(drawn)


def _table(found: Registration, labels: Mapping[str, str]) -> tuple[str, float]:
    """Rows of numbers, one a part, and their height."""
    drawn = [text(x, 0.0, words, _SMALL, font_weight="bold") for x, words in _COLUMNS]
    drawn.append(element("line", x1=0.0, y1=8.0, x2=INNER, y2=8.0, stroke=INK, stroke_width=1.6))
    ends = [x for x, _ in _COLUMNS[1:]] + [INNER]
    for row, part in enumerate(found.parts, 1):
        y = row * _ROW + 8.0
        cells = _cells(part, labels.get(part.part, part.part))
        for (x, _), end, words in zip(_COLUMNS, ends, cells, strict=True):
            drawn.append(text(x, y, cut(words, _SMALL, end - x - 12.0), _SMALL))
    return "".join(drawn), (len(found.parts) + 1) * _ROW + MARGIN


def _cells(part: PartRegistration, label: str) -> tuple[str, ...]:
    off = "–" if part.off_px is None else f"{part.off_px:.2f}"
    mean = used = "–"
    if part.by == "outline" and part.outline is not None:
        mean, used = f"{part.outline.mean_px:.2f}", f"{part.outline.used_share:.0%}"
    elif part.by == "picture" and part.content is not None:
        used = f"{part.content.used_share:.0%}"
    if part.correction is None:
        return label, part.said, off, mean, used, "–", "–", "–"
    x, y = part.correction.pivot_px
    numbers = f"{part.correction.px_per_mm:.6g}", f"{x:.2f}, {y:.2f}", f"{part.correction.turn_degrees:+.3f}"
    return (label, part.said, off, mean, used, *numbers)


def _px(value: float) -> str:
    return f"{value:.2f} px" if math.isfinite(value) else "unknown"
