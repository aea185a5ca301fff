"""A sheet in layers: vector drawings, and pictures of frames between them. Units are tenths of a mm."""

from __future__ import annotations

import base64
from dataclasses import dataclass, field

from choreo.picture.lettering import escaped
from choreo.picture.palette import INK, PAPER
from choreo.picture.sheets.paper import Paper
from choreo.picture.sheets.typeface import FAMILY
from choreo.picture.svg import element, number

FALLBACK = f"{FAMILY}, Helvetica, Arial, sans-serif"


@dataclass(frozen=True)
class FramePicture:
    """A frame of the film as pixels, in its place on the sheet."""

    x: float
    y: float
    width: float
    height: float
    png: bytes


@dataclass
class SheetDrawing:
    """One sheet while it is drawn: what lies under the pictures, the pictures, what lies over them."""

    paper: Paper
    title: str
    under: list[str] = field(default_factory=list)
    pictures: list[FramePicture] = field(default_factory=list)
    over: list[str] = field(default_factory=list)

    def layer(self, drawn: list[str], family: str) -> str:
        """Return one layer as an SVG of the whole sheet."""
        return self._document(element("g", "".join(drawn), font_family=family, fill=INK))

    def svg(self) -> str:
        """Return the whole sheet as one standalone SVG that loads nothing."""
        ground = element("rect", width=self.paper.width, height=self.paper.height, fill=PAPER)
        inside = "".join(self.under) + "".join(map(_image, self.pictures)) + "".join(self.over)
        words = element("g", inside, font_family=FALLBACK, fill=INK)
        return self._document(element("title", escaped(self.title)) + ground + words) + "\n"

    def _document(self, inside: str) -> str:
        width, height = self.paper.width, self.paper.height
        return element(
            "svg",
            inside,
            xmlns="http://www.w3.org/2000/svg",
            width=f"{width / 10:g}mm",
            height=f"{height / 10:g}mm",
            viewBox=f"0 0 {number(width)} {number(height)}",
        )


def placed(drawn: str, x: float, y: float, scale: float = 1.0) -> str:
    """Return a drawing moved and then enlarged."""
    grown = "" if scale == 1.0 else f" scale({scale:.6g})"
    return element("g", drawn, transform=f"translate({number(x)} {number(y)}){grown}")


def _image(picture: FramePicture) -> str:
    data = base64.b64encode(picture.png).decode()
    return element(
        "image",
        x=picture.x,
        y=picture.y,
        width=picture.width,
        height=picture.height,
        href=f"data:image/png;base64,{data}",
    )
