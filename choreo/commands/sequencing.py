"""What `choreo mattes` and `choreo layers` have in common: kinds of files, numbers, and how a run is told."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments
from choreo.commands.picturing import Pictured, add_picture_arguments, hearing, out_folder
from choreo.commands.shared import number_within

if TYPE_CHECKING:
    from choreo.frames.layers import LayerFiles
    from choreo.frames.mattes import MatteFiles

FIRST_NUMBER = 1001
"""So that frames that are added before the film's first one need no number below 1 (common practice, no source)."""
_MOST = 9_000_000

NAMES = (
    "Files are called PART/PART.NNNN.exr (or .png): the film's first frame has the number 1001, or --first-number, "
    "and each frame keeps its own, whichever are asked for; four digits, more where they do not suffice."
)


def add_sequence_arguments(parser: argparse.ArgumentParser, name: str) -> None:
    """Add PROJECT and the options that both commands share; `name` is that of the folder."""
    add_picture_arguments(parser)
    parser.add_argument(
        "--out", type=Path, metavar="DIR",
        help=f"where to write (default: PROJECT/out/{name}, with -half or -quarter of that size)",
    )  # fmt: skip
    parser.add_argument(
        "--kind", choices=("exr", "png16", "png8"), default="exr",
        help="half-float OpenEXR, or PNG of 16 or 8 bits a channel (default: exr)",
    )  # fmt: skip
    parser.add_argument(
        "--first-number", type=number_within(int, 0, _MOST), default=FIRST_NUMBER, metavar="N",
        help="the number of the film's first frame in file names (default: 1001, common practice)",
    )  # fmt: skip


def sequence_folder(arguments: Arguments, ready: Pictured, name: str) -> Path:
    """Return where a command writes; each size has a folder of its own."""
    return out_folder(arguments, ready.film, name if arguments.size == "full" else f"{name}-{arguments.size}")


def write_sequences(
    arguments: Arguments, ready: Pictured, draw: LayerFiles | MatteFiles, folder: Path, name: str
) -> list[str]:
    """Draw what is missing or stale, and return what was done in words; `name` is that of the command."""
    from choreo.frames.jobs import jobs_of, make  # noqa: PLC0415
    from choreo.frames.sequences import KINDS, film_files  # noqa: PLC0415

    tracks = ready.film.tracks
    shots = {shot.name: shot for shot in tracks.shots}
    jobs = jobs_of(ready.scene, ready.frames(), lambda shot, frame: draw.names(shots[shot], frame), repr(draw))
    film = film_files(tracks, draw.all_sequences, arguments.first_number, sorted(set(KINDS.values())))
    heard = hearing(name, folder, quiet=arguments.json)
    made = make(ready.scene, jobs, draw, folder, hearing=heard, film=film)
    removed = f", {len(made.removed)} files removed that the film no longer has" if made.removed else ""
    return [f"Frames: {made.drawn} drawn, {made.kept} were there already{removed}."]
