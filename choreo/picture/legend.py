"""The signs of a strip and what they mean, each drawn as it is on the panels."""

from __future__ import annotations

from choreo.picture.lettering import width
from choreo.picture.palette import HAIRLINE, INK, PAPER, QUIET
from choreo.picture.svg import element, text

_SIZE = 15.5
_SIGN, _SPACE = 34.0, 26.0


def legend_items(*, safe_area: bool) -> str:
    """Return the legend on one line, its base line at the origin.

    Parameters
    ----------
    safe_area : bool
        Whether panels show one.

    """
    items = [(_number(), "order of removal, 1 leaves first"), (_way(), "way from assembled to rest")]
    if safe_area:
        items.append((_dashes(), "safe area"))
    drawn, left = [], 0.0
    for sign, words in items:
        drawn.append(element("g", sign, transform=f"translate({left:.0f} -5)"))
        drawn.append(text(left + _SIGN, 0.0, words, _SIZE, fill=QUIET))
        left += round(_SIGN + width(words, _SIZE) + _SPACE)
    return "".join(drawn)


def _number() -> str:
    ring = element("circle", cx=14.0, cy=0.0, r=9.0, fill=PAPER, stroke=INK, stroke_width=1.1)
    return ring + text(14.0, 4.3, "1", 12.0, text_anchor="middle")


def _way() -> str:
    shaft = element("line", x1=0.0, y1=0.0, x2=22.0, y2=0.0, stroke=QUIET, stroke_width=1.0)
    return shaft + element("path", d="M28 0l-7 2.5v-5z", fill=QUIET)


def _dashes() -> str:
    return element(
        "rect",
        x=2.0,
        y=-8.0,
        width=24.0,
        height=15.0,
        fill="none",
        stroke=HAIRLINE,
        stroke_width=1.0,
        stroke_dasharray="5 5",
    )
