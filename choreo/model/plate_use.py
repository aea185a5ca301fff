"""How a shot uses the photographs of one part."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PlateUse:
    """One part in one shot; frames of the shot are counted from 0."""

    part: str
    plate: int
    """Which of the assembly's plates."""
    plate_frame: tuple[float | None, ...]
    """One a frame of the shot; None for a single picture, and where no photograph shows the angle."""
    magnification: float
    """The most by which the plate is enlarged; 1 shows each of its px as one px."""
    magnification_frame: int
    view_off: float
    """Degrees by which the view that was photographed differs from the one needed, at most."""
    parallax_px: float
    """The most by which a point of the part lies elsewhere in the plate than where the shot's camera sees it."""
    parallax_frame: int
    missing: tuple[tuple[int, int], ...] = ()
    """Stretches of the shot whose angle no photograph shows, both ends included."""
    missing_degrees: tuple[float, ...] = ()
    """The table's angle at the beginning of each."""
    step_degrees: float | None = None
    """Of a turntable: the largest turn from one frame of the shot to the next."""
    repeated: int = 0
    """Frames of the shot that show the same photograph as the one before."""
    speed_percent: float | None = None
    """Of a sequence with a rate of its own: how fast it runs when it is shown frame for frame."""
