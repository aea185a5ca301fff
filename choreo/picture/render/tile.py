"""One part of a picture, whole, as if nothing stood before it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from choreo.picture.render.colour import Picture, Singles
from choreo.picture.render.coverage import Window


@dataclass(frozen=True, eq=False)
class Tile:
    """A picture and where it lies on the screen."""

    window: Window
    picture: Picture

    @cached_property
    def alpha(self) -> Singles:
        """The last channel by itself."""
        import cv2  # noqa: PLC0415

        return np.asarray(cv2.extractChannel(self.picture, 3), dtype=np.float32)

    def add_to(self, total: Picture, frame: Window, window: Window, share: Singles, weight: float = 1.0) -> None:
        """Add the picture with another alpha (its height, its width), times a weight, to the picture of a frame.

        Parameters
        ----------
        total : (height, width, 4) array
        frame : Window
            Of that.
        window : Window
            Where, inside of both.
        share : (height, width) array
            What becomes of the alpha; the colours stay.
        weight : float

        """
        from choreo.picture.render import blend  # noqa: PLC0415

        own = self.window
        at, there = (window.y - frame.y, window.x - frame.x), (window.y - own.y, window.x - own.x)
        rows, picture = total.reshape(frame.height, -1), self.picture.reshape(own.height, -1)
        blend.add_share(rows, at, picture, self.alpha, share, there, (window.height, window.width), weight)
