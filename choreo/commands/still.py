"""``choreo still``: one frame of the film as a PNG."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from choreo.commands import Arguments, Command, Said
from choreo.commands.picturing import RANGES, add_look, pictured
from choreo.commands.shared import add_project

_HEX = re.compile(r"#[0-9a-fA-F]{6}")


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        f"Write one frame of the film as a PNG: sRGB, 8 bits a channel, with straight alpha. {RANGES} "
        "Its file is called frame.NNNN.png, with that number, padded to four digits."
    )
    add_project(parser)
    parser.add_argument("--frame", required=True, metavar="N", help="which, e.g. 12, or in timecode 00:00:00:12")
    parser.add_argument("--out", type=Path, metavar="DIR", help="where to write (default: PROJECT/out)")
    kind = parser.add_mutually_exclusive_group()
    kind.add_argument("--background", type=colour, metavar="#RRGGBB", help="a colour behind it, and no alpha")
    kind.add_argument("--deep", action="store_true", help="16 bits a channel; not with --background")
    add_look(parser)


def colour(text: str) -> str:
    """Return a colour in lower case."""
    if not _HEX.fullmatch(text):
        raise argparse.ArgumentTypeError(f"{text!r} is no colour; write e.g. #e9e6df")
    return text.lower()


def _run(arguments: Arguments) -> Said:
    from choreo.errors import Finding, wrong_input  # noqa: PLC0415
    from choreo.frames.drawing import WholeFrame  # noqa: PLC0415
    from choreo.write.files import write_all  # noqa: PLC0415

    arguments.shot, arguments.section, arguments.frames = None, None, arguments.frame
    ready = pictured(arguments, option="--frame")
    if len(ready.range) != 1:
        remedy = "Give one frame; choreo animatic makes many."
        raise wrong_input(Finding("no-range", "--frame asks for more than one frame.", remedy=remedy))
    [(shot, frame)] = ready.frames()
    draw = WholeFrame("frame.{:04d}.png", arguments.background, 16 if arguments.deep else 8)
    files = draw(ready.scene.renderer(shot), ready.scene.shot(shot), frame)
    out = arguments.out or ready.film.project.folder / "out"
    write_all(out, files)
    names = [str(out / name) for name in files]
    place = f'Frame {ready.range.first} of the film, frame {frame} of shot "{shot}".'
    return Said(
        [*ready.words, place, "Written:", *(f"  {name}" for name in names)],
        {
            "ok": True,
            "files": names,
            "shot": shot,
            "frame": frame,
            "warnings": [warning.as_json() for warning in ready.scene.warnings],
        },
    )


STILL = Command("still", "write one frame of the film as a PNG", _add, _run)
