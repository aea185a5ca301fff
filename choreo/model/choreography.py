"""How the product should move, with every default already filled in.

Times are frames. A phase of `frames` frames shows its frames 0 to ``frames - 1``; a move of m frames that
starts on frame s arrives on frame ``s + m``, and both of these frames are shown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from choreo.model.assembly import Vector

MOST_FRAMES = 100_000
"""Of a film; more than an hour at 24 frames a second, and a bound on what one run may be asked to compute."""


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
    clip: bool = False
    """Whether a move into contact ends at first contact where its easing would carry it farther; `easing` does."""


@dataclass(frozen=True)
class GroupMotion:
    """How parts that leave as one move while they are together."""

    parts: tuple[str, ...]
    """All of the group, in the order of the file."""
    motion: PartMotion
    stagger: int | None = None
    """Frames between its own parts; None: as in the phase."""


@dataclass(frozen=True)
class Pin:
    """What a shot fixes about one part's way."""

    along: Vector | None = None
    """Direction of its removal leg."""
    travel_mm: float | None = None
    """Length of its removal leg."""
    bow_mm: float = 0.0
    """How far its last free leg bends aside, at most; the sign tells the side."""
    spin: float = 0.0
    """Degrees that it turns about its own z on the whole way."""


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
    groups: tuple[GroupMotion, ...] = ()
    together: tuple[tuple[str, ...], ...] = ()
    """Sets of parts that start on the same frame."""
    waits: tuple[tuple[str, str], ...] = ()
    """(part, other): the part starts only when the other has arrived."""
    least_hold: int = 0
    """Frames at the end of the phase in which nothing moves, at least."""
    fit: bool = False
    """Whether the phase is as short as can be; `frames` is then what was solved, or a first guess."""

    def motion(self, part_id: str) -> PartMotion:
        """Return how that part moves in this phase."""
        return self.parts.get(part_id, self.default)


@dataclass(frozen=True)
class Handoff:
    """The hero still takes over (or hands over) in `frames` frames."""

    frames: int
    handoff_px: float = 0.5
    settle_into_register: bool = False
    """Whether plates are moved, on their way home, to where they were measured to belong on the still."""
    each_part: bool = True
    """Whether the still takes over single parts as they come home, and keeps them until they leave."""


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

    @property
    def assembled_ends(self) -> tuple[bool, ...]:
        """True for a beginning, False for an end, at which the still may take over: the phases leave it assembled.

        Of two such ends one without a hold is left alone if the other has one: a shot that bursts at once and comes
        back to rest means its hand-off for the end.
        """
        moving = [phase.kind for phase in self.phases if phase.kind != "hold"]
        begins = not self.begins_exploded
        ends = not moving or moving[-1] == "assemble"
        if begins and ends:
            held = [self.phases[0].kind == "hold", self.phases[-1].kind == "hold"]
            return tuple(end for end, still in zip((True, False), held, strict=True) if still) or (True, False)
        return (True,) * begins + (False,) * ends


@dataclass(frozen=True)
class Lock:
    """What is kept, digit for digit, as it was approved."""

    tracks_file: str
    shots: tuple[str, ...] = ()
    """Empty: all that the approved tracks hold."""
    parts: tuple[str, ...] = ()
    """Empty: all that the approved tracks hold."""


@dataclass(frozen=True)
class Section:
    """A stretch of the film that is rendered and signed off on its own."""

    name: str
    first: int | None = None
    """Counted in its shot, or in the film where it names none; None: from the beginning."""
    last: int | None = None
    """Included; None: to the end."""
    shot: str | None = None


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
    readable: float = 0.98
    """Fraction of its outline that every part shows at rest, at least."""
    lock: Lock | None = None
    sections: tuple[Section, ...] = ()
    """As written; what they leave of the film makes sections of its own."""
