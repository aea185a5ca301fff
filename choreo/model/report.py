"""What a compile has to say about itself, in numbers: the content of `report.json`."""

from __future__ import annotations

from dataclasses import dataclass, field

from choreo.errors import Finding
from choreo.model.assembly import Vector
from choreo.model.plan import RemovalStep
from choreo.model.plate_use import PlateUse

SHUTTER = 180.0 / 360.0
"""Share of a frame's time in which a shutter of 180 degrees is open."""


@dataclass(frozen=True)
class MoveReport:
    """One move of one part, frames counted in the shot."""

    phase: int
    kind: str
    start: int
    arrive: int
    wish: int
    """The start that stagger and delay asked for."""
    reason: str
    """Why it starts elsewhere; empty where it does not."""


@dataclass(frozen=True)
class StillOver:
    """When the hero still lies over one part, or over the whole; frames counted in the shot."""

    first: int | None
    """From where on it shows at the end of the shot; None where it takes over nothing there."""
    last: int | None
    """Until where, included, it shows from the beginning on; None where it hands over nothing there."""
    off_px: float
    """How far the part (of all, the farthest) or its plate is from where the still has it on those frames, at most."""


@dataclass(frozen=True)
class PartReport:
    """One part in one shot."""

    id: str
    removal_number: int | None
    """1 for the first part that leaves; None for the body."""
    direction: Vector | None
    """Unit direction of its removal leg."""
    joint_axis: Vector | None
    """The axis its joint asked for, where geometry made it leave another way."""
    travel_mm: float
    legs_mm: tuple[float, ...]
    fastest_px: float
    """The most its origin moves on the screen from one frame to the next, px."""
    fastest_frame: int | None
    """The later of those two frames."""
    least_clearance_mm: float | None
    """Room kept to parts that it does not touch while it moves; None where it is not kept or not asked."""
    moves: tuple[MoveReport, ...]
    visible: float | None = None
    """The least fraction of its outline that it shows while all are at rest; None if they never are."""
    settled_frame: int | None = None
    """From where on it is within the hand-off's px for good, where the still takes over at the end; else None."""
    register_px: float | None = None
    """How far its plate is moved to meet the still, at its farthest point, px of the still; None if it is not."""
    still: StillOver | None = None
    """When the still lies over it; None in a shot without a hand-off."""
    blur_px: float = field(init=False)
    """How long its smear is where it is fastest, under a shutter of 180 degrees, px."""

    def __post_init__(self) -> None:
        """Work out what follows from the rest."""
        object.__setattr__(self, "blur_px", self.fastest_px * SHUTTER)


@dataclass(frozen=True)
class Middle:
    """Where the middle of the assembled product stands in the frame."""

    point: Vector
    """The middle of its bounds, mm."""
    right_px: float
    """From the middle of the frame to its image."""
    down_px: float
    frame: int
    """The last of the shot if all is assembled there, else the first."""
    wished: bool
    """Whether the shot says what stands in the middle (`view.target`)."""
    wide: bool
    """Whether that is far enough to be seen as off the middle."""

    @property
    def aside(self) -> str:
        """How far off it is in words that "the middle" may follow, e.g. "194 px left of and 39 px above"."""
        across, down = round(self.right_px), round(self.down_px)
        said = [f"{abs(across)} px {'right' if across > 0 else 'left'} of"] if across else []
        said += [f"{abs(down)} px {'below' if down > 0 else 'above'}"] if down else []
        return " and ".join(said) or "in"


@dataclass(frozen=True)
class ShotReport:
    """One shot."""

    name: str
    frames: int
    least_gap_px: float | None
    """Smallest gap between two outlines while all are at rest; None if they never are."""
    px_per_mm: float
    """Scale at the camera's target on frame 0."""
    distance_mm: float | None
    """Camera to target; None for an orthographic camera."""
    order_changes: int
    holdout_frames: int
    """Frames on which at least one holdout stands."""
    fastest_part: str | None
    parts: tuple[PartReport, ...]
    crossings: int | None = None
    """Pairs of parts whose straight lines from assembled to rest cross on the screen; None if they never rest."""
    plates: tuple[PlateUse, ...] = ()
    """How the photographs fit this shot, a part that has any."""
    still: StillOver | None = None
    """When the hero still lies over the whole; None without a hand-off."""
    middle: Middle | None = None
    """Where the assembled product stands; None where it is not assembled at either end of the shot."""

    @property
    def taken_over(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """Parts that the still takes over before the whole: frame, and whom from then on; ascending."""
        whole = None if self.still is None else self.still.first
        first = {part.id: part.still.first for part in self.parts if part.still is not None}
        found = {part: frame for part, frame in first.items() if frame is not None and frame != whole}
        return tuple((at, tuple(p for p in found if found[p] == at)) for at in sorted(set(found.values())))

    @property
    def kept(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """Parts over which the still stays beyond the whole: frame, and whom until then; ascending."""
        whole = None if self.still is None else self.still.last
        last = {part.id: part.still.last for part in self.parts if part.still is not None}
        found = {part: frame for part, frame in last.items() if frame is not None and frame != whole}
        return tuple((at, tuple(p for p in found if found[p] == at)) for at in sorted(set(found.values())))


@dataclass(frozen=True)
class Report:
    """The whole compile."""

    assembly: str
    body: str
    removal_order: tuple[str, ...]
    shots: tuple[ShotReport, ...]
    warnings: tuple[Finding, ...] = ()
    removal: tuple[RemovalStep, ...] = ()
    """How the product comes apart, as a tree: groups that leave as one hold the steps that take them apart."""
    stand_ins: tuple[tuple[str, str], ...] = ()
    """Parts that are not the real ones, and why, in file order."""
    without_plate: tuple[str, ...] = ()
    """Parts without a photograph, where others have one."""
