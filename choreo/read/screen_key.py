"""A rough matte from a picture before a green or blue screen, for planning only.

Colour difference: how much the screen's channel stands above the larger of the two others, against how much it does
so on the screen itself (Vlahos's principle, common practice). Hair, glass, spill and shadows need a real key.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from choreo.errors import ChoreoError, Finding, wrong_input

SCREENS = {"green": 1, "blue": 2}
"""Channel of each screen colour."""
_SCREEN_LEAST = 0.08
"""Of full scale: a border that stands out by less is no screen."""
_CLEAN = 0.75
"""What stands out by this share of the screen's own difference counts as screen: lights fall off to the corners."""


def key_screen(colour: NDArray[np.float64], screen: str) -> NDArray[np.float64]:
    """Return a matte, (height, width) from 0 to 1.

    Parameters
    ----------
    colour : (height, width, 3) array
        Red, green, blue from 0 to 1, as stored.
    screen : str
        ``"green"`` or ``"blue"``.

    Raises
    ------
    ChoreoError
        Exit 2, ``no-screen``: the picture's border shows no such screen.

    """
    channel = SCREENS[screen]
    others = [index for index in range(3) if index != channel]
    difference = colour[..., channel] - colour[..., others].max(axis=2)
    border = np.concatenate([difference[0], difference[-1], difference[1:-1, 0], difference[1:-1, -1]])
    backing = float(np.median(border))
    if backing < _SCREEN_LEAST:
        raise _no_screen(screen)
    return np.asarray(1.0 - np.clip(difference / (_CLEAN * backing), 0.0, 1.0))


def _no_screen(screen: str) -> ChoreoError:
    return wrong_input(
        Finding(
            "no-screen",
            f"The border of this picture shows no {screen} screen.",
            remedy="Check the colour given with --screen, or key the picture and save it with its alpha channel.",
        )
    )
