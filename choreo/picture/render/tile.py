"""One part of a picture, whole, as if nothing stood before it."""

from __future__ import annotations

from dataclasses import dataclass

from choreo.picture.render.colour import Picture
from choreo.picture.render.coverage import Window


@dataclass(frozen=True, eq=False)
class Tile:
    """A picture and where it lies on the screen."""

    window: Window
    picture: Picture
