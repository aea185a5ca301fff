"""How the product should move, with every default already filled in.

Times are frames. A phase of `frames` frames shows its frames 0 to ``frames - 1``; a move of m frames that
starts on frame s arrives on frame ``s + m``, and both of these frames are shown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from choreo.model.assembly import Vector


@dataclass(frozen=True)
class FrameRate:
    """Frames a second as an exact ratio, e.g. 24000/1001."""

    numerator: int
    denominator: int = 1


@dataclass(frozen=True)
class View:
    """The camera of a shot before it is solved."""

    projection: str
    """``"perspective"`` or ``"orthographic"``."""
    azimuth: float = 0.0
    elevation: float = 0.0
    focal_mm: float | None = None
    sensor_mm: tuple[float, float] | None = None
    distance_mm: float | None = None
    """Camera to target; None: solved so that everything fits (perspective)."""
    px_per_mm: float | None = None
    """None: solved so that everything fits (orthographic)."""
    target: Vector | None = None
    """Point of product space at the centre of the frame; None: solved."""


@dataclass(frozen=True)
class Orbit:
    """How far the camera turns over the whole shot, holds included, degrees."""

    azimuth: float = 0.0
    elevation: float = 0.0
    easing: str = "linear"


@dataclass(frozen=True)
class PartMotion:
    """How one part moves in one phase."""

    easing: str
    """W3C easing syntax, or ``min-jerk``."""
    move: int | None
    """Frames the move takes; None: solved (``move = "fit"``)."""
    delay: int = 0


@dataclass(frozen=True)
class Pin:
    """What a shot fixes about one part's way: direction and length of its removal leg."""

    along: Vector | None = None
    travel_mm: float | None = None


@dataclass(frozen=True)
class Phase:
    """One stretch of a shot."""

    kind: str
    """``"hold"``, ``"explode"`` or ``"assemble"``."""
    frames: int
    stagger: int = 0
    default: PartMotion = field(default_factory=lambda: PartMotion("linear", None))
    parts: Mapping[str, PartMotion] = field(default_factory=lambda: MappingProxyType({}))
    """Only the parts that differ from `default`."""
    beats: tuple[int, ...] = ()
    """Frames of the phase on which parts may arrive, ascending; empty: any."""

    def motion(self, part_id: str) -> PartMotion:
        """Return how that part moves in this phase."""
        return self.parts.get(part_id, self.default)


@dataclass(frozen=True)
class Handoff:
    """The hero still takes over (or hands over) in `frames` frames."""

    frames: int
    handoff_px: float = 0.5


@dataclass(frozen=True)
class Shot:
    """One shot: one camera, one layout, any number of phases."""

    name: str
    view: View
    phases: tuple[Phase, ...]
    orbit: Orbit | None = None
    handoff: Handoff | None = None
    pins: Mapping[str, Pin] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def frames(self) -> int:
        """Length of the shot."""
        return sum(phase.frames for phase in self.phases)

    @property
    def starts(self) -> tuple[int, ...]:
        """First frame of each phase, counted in the shot."""
        total, out = 0, []
        for phase in self.phases:
            out.append(total)
            total += phase.frames
        return tuple(out)

    @property
    def begins_exploded(self) -> bool:
        """Whether the parts are at their rest positions on frame 0."""
        moving = [phase.kind for phase in self.phases if phase.kind != "hold"]
        return bool(moving) and moving[0] == "assemble"


@dataclass(frozen=True)
class Choreography:
    """The whole film."""

    assembly_file: str
    frame_rate: FrameRate
    resolution: tuple[int, int]
    safe_area: tuple[float, float, float, float]
    """Margins left, top, right, bottom as fractions of the frame."""
    gap_px: float
    clearance_mm: float
    shots: tuple[Shot, ...]
