"""What several commands need: the project, names in it, and a line that says what is being worked on."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self, TypeVar

from choreo.errors import ChoreoError, Finding

if TYPE_CHECKING:
    from choreo.read.project import Project

_Number = TypeVar("_Number", int, float)
_MOST_EFFORT = 1_000_000
"""Nobody waits for more than this; and what is counted stays a small number."""


def add_project(parser: argparse.ArgumentParser) -> None:
    """Add the argument PROJECT."""
    parser.add_argument("project", type=Path, metavar="PROJECT")


def add_search(parser: argparse.ArgumentParser) -> None:
    """Add the option --search."""
    parser.add_argument(
        "--search", type=number_within(int, 1, _MOST_EFFORT), default=1, metavar="N",
        help="look N times as far for ways out of several moves, and for groups that leave by them "
        "(default: 1, which tries 250 groups)",
    )  # fmt: skip


def number_within(kind: type[_Number], least: int, most: int) -> Callable[[str], _Number]:
    """Return what reads an option's number, both ends included, and says what it may be where it is not."""

    def number(text: str) -> _Number:
        try:
            value = kind(text)
            if least <= value <= most:  # NaN lies nowhere
                return value
        except ValueError:
            pass
        whole = "a whole number" if kind is int else "a number"
        raise argparse.ArgumentTypeError(f"{text!r} is not {whole} from {least} to {most}")

    return number


def read(path: Path) -> Project:
    """Return the project, checked."""
    from choreo.read.project import read_project  # noqa: PLC0415

    return read_project(path)


def require_shot(project: Project, shot: str | None, path: Path) -> None:
    """Refuse a shot that the project does not have."""
    names = [one.name for one in project.choreography.shots]
    if shot is not None and shot not in names:
        raise ChoreoError((unknown("shot", shot, names, str(path)),))


def unknown(kind: str, name: str, known: list[str], where: str) -> Finding:
    """Say that a name on the command line is none."""
    from choreo.read.notes import clipped, printable  # noqa: PLC0415

    return Finding(
        code=f"unknown-{kind}",
        what=f'There is no {kind} "{printable(clipped(name))}".',
        file=where,
        remedy=f"Choose one of: {', '.join(known)}.",
    )


def assembly_name(project: Project) -> str:
    """Return the assembly's file as messages call it."""
    return str(project.folder / Path(project.choreography.assembly_file).name)


class Progress:
    """One line on a terminal that says what is being worked on; silent elsewhere. Keeps artefacts if asked to."""

    def __init__(self, quiet: bool, keep: dict[str, Any] | None = None) -> None:
        self.shown = not quiet and sys.stderr.isatty()
        self.keep = keep

    def __enter__(self) -> Self:
        return self

    def __call__(self, stage: str, artefact: Any) -> None:
        """Say that a stage is done, and keep what it found."""
        if self.keep is not None and artefact is not None:
            self.keep[stage] = artefact
        if self.shown:
            sys.stderr.write(f"\r\x1b[K  {stage} ...")
            sys.stderr.flush()

    def __exit__(self, *_: object) -> None:
        if self.shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()
