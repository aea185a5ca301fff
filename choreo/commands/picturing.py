"""What all commands that make pictures have in common: which frames, how large, how blurred, and how a run is told."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments
from choreo.commands.shared import Progress, add_project, number_within, read

if TYPE_CHECKING:
    from choreo.frames.film import ProjectFilm
    from choreo.frames.jobs import Forecast, Hearing
    from choreo.frames.ranges import Range
    from choreo.frames.scene import Scene

SIZES = ("full", "half", "quarter")
LONG_S, _LONG_BYTES = 3.0, 200e6
"""From here on work is long, and is announced."""
_BAR = 28

RANGES = (
    "Frames are those of the film, counted from 0 over all shots, as in tracks.json; ranges include their last frame."
)


def add_picture_arguments(parser: argparse.ArgumentParser) -> None:
    """Add PROJECT and the options that all picture commands share."""
    add_project(parser)
    which = parser.add_argument_group("which frames (default: all)", RANGES)
    which.add_argument("--shot", metavar="NAME", help="one shot")
    which.add_argument("--section", metavar="NAME", help="one section")
    which.add_argument(
        "--frames", metavar="A-B", help="a range, e.g. 12-47, or in timecode 00:00:00:12-00:00:01:23; one frame: 12"
    )
    add_look(parser)


def add_look(parser: argparse.ArgumentParser) -> None:
    """Add --size and --shutter."""
    parser.add_argument("--size", choices=SIZES, default="full", help="of the film's resolution (default: full)")
    parser.add_argument(
        "--shutter", type=number_within(float, 0, 360), default=180.0, metavar="DEGREES",
        help="how long the shutter is open, of 360 degrees a frame, about the frame (default: 180; 0: no blur)",
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Pictured:
    """A project ready for pictures."""

    film: ProjectFilm
    scene: Scene
    range: Range

    @property
    def words(self) -> list[str]:
        """What is worth saying about it."""
        return [self.film.source, *(warning.as_text() for warning in self.scene.warnings)]

    def frames(self) -> list[tuple[str, int]]:
        """Return shot and frame of the shot, for each frame asked for."""
        from choreo.frames.ranges import place_of  # noqa: PLC0415

        return [place_of(self.film.tracks, frame) for frame in self.range.frames]


def pictured(arguments: Arguments, *, option: str = "--frames") -> Pictured:
    """Return the project that the arguments name, compiled if need be, with its plates.

    Parameters
    ----------
    arguments : Arguments
        Of `add_picture_arguments`.
    option : str
        As what the frames were given.

    """
    from choreo.frames.film import film_of  # noqa: PLC0415
    from choreo.frames.ranges import chosen_range  # noqa: PLC0415
    from choreo.frames.scene import scene_of  # noqa: PLC0415

    project = read(arguments.project)
    with Progress(arguments.json) as progress:
        film = film_of(project, progress)
    asked = {"shot": arguments.shot, "section": arguments.section, "frames": arguments.frames}
    chosen = chosen_range(film.tracks, **asked, option=option)
    return Pictured(film, scene_of(film, arguments.size, arguments.shutter), chosen)


def out_folder(arguments: Arguments, film: ProjectFilm, name: str) -> Path:
    """Return where a command writes: --out, or a folder of that name in the project's output."""
    return Path(arguments.out) if arguments.out else film.project.folder / "out" / name


def hearing(what: str, folder: Path, *, quiet: bool, to_come: Callable[[], str] = lambda: "") -> Hearing:
    """Return what tells a run: what it will write before long work, and how far it is on a terminal.

    `to_come` says what follows the frames.
    """
    from choreo.frames.jobs import Hearing  # noqa: PLC0415

    if quiet:
        return Hearing()
    bar = _Bar(what)

    def begins(forecast: Forecast) -> None:
        if forecast.seconds > LONG_S or forecast.bytes > _LONG_BYTES:
            after = to_come()
            clear = "\r\x1b[K" if sys.stderr.isatty() else ""  # the bar has told of the first frames already
            sys.stderr.write(f"{clear}{announcement(what, folder, forecast)}{after}\n")
            sys.stderr.flush()

    return Hearing(begins, bar)


def progress_bar(what: str, *, quiet: bool) -> Callable[[int, int, float], None]:
    """Return what shows, on a terminal, how far something is: done, all, seconds left."""
    return (lambda _done, _total, _left: None) if quiet else _Bar(what)


def movies_to_come(names: Sequence[str], seconds: float | None) -> str:
    """Say which movies follow the frames, and how long they take if that is known; empty if there are none."""
    time = "" if seconds is None else f", about {time_text(seconds)} more"
    return f"; then {' and '.join(names)}{time}" if names else ""


def announcement(what: str, folder: Path, forecast: Forecast) -> str:
    """Say what a run will write and how long it will take."""
    kept = f"; {forecast.kept} more are there already" if forecast.kept else ""
    processes = f" in {forecast.processes} processes" if forecast.processes > 1 else ""
    return (
        f"{what}: {forecast.frames} frames to draw, {forecast.files} files, about {size_text(forecast.bytes)} into "
        f"{folder}, about {time_text(forecast.seconds)}{processes} by the first frames{kept}"
    )


def size_text(size: float) -> str:
    """Return a size in MB or GB."""
    return f"{size / 1e9:.1f} GB" if size >= 1e9 else f"{max(size / 1e6, 0.1):.1f} MB"


def time_text(seconds: float) -> str:
    """Return a time in seconds, minutes or hours."""
    if seconds < 90:
        return f"{max(1, round(seconds))} s"
    if seconds < 5400:
        return f"{round(seconds / 60)} min"
    return f"{seconds / 3600:.1f} h"


class _Bar:
    """A bar with the time left, on a terminal; silent elsewhere."""

    def __init__(self, what: str) -> None:
        self._what = what
        self._shown = sys.stderr.isatty()

    def __call__(self, done: int, total: int, left: float) -> None:
        if not self._shown:
            return
        full = round(_BAR * done / total)
        end = "\r\x1b[K" if done == total else ""
        line = f"\r\x1b[K  {self._what} [{'=' * full}{' ' * (_BAR - full)}] {done}/{total}, {time_text(left)} left"
        sys.stderr.write(line + end)
        sys.stderr.flush()
