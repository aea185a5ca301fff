"""The storyboard's sheet: how wide it is, and how large the panels on it are for one shape of frame.

It stands down here because the layout, too, has to know how large a label is beside the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

SHEET, MARGIN, GAP = 2088.0, 48.0, 24.0
INNER = SHEET - 2 * MARGIN
CAPTION = 56.0
"""Room for the two lines below a panel, and the space after them."""
_SMALL_AREA = 480.0 * 270.0
_WIDEST = 480.0


@dataclass(frozen=True)
class Grid:
    """Columns of small panels for one shape of frame."""

    columns: int
    width: float
    height: float

    @property
    def large(self) -> float:
        """Width of a large panel: two columns."""
        return 2 * self.width + GAP

    @property
    def row(self) -> float:
        """From the top of one small panel to the top of the one below it."""
        return self.height + CAPTION


def grid_of(resolution: tuple[int, int]) -> Grid:
    """Return the columns for frames of that shape: as many as leave each panel about the same area."""
    aspect = resolution[0] / resolution[1]
    wish = min((_SMALL_AREA * aspect) ** 0.5, _WIDEST)
    columns = max(2, int((INNER + GAP) / (wish + GAP)))
    width = min((INNER + GAP) / columns - GAP, wish * 1.05)
    return Grid(columns, width, width / aspect)
