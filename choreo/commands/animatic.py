"""``choreo animatic``: the film as a movie."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments, Command, Said
from choreo.commands.picturing import add_picture_arguments, hearing, out_folder, pictured, progress_bar
from choreo.commands.still import colour

if TYPE_CHECKING:
    from choreo.errors import Finding
    from choreo.frames.jobs import Made
    from choreo.frames.movies import Movies

_BACKGROUND = "#e6e6e6"
"""A plain grey, light as paper: light and dark parts stand out from it, and no decoder can tint it."""


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Write the film as a movie, H.264 in MP4 and VP9 in WebM, at its exact rate. The frames that it is made of "
        "stay in DIR/frames/SIZE as frame.NNNN.png, with their number in the film, padded to four digits; the next "
        "run draws only what has changed. The movie is called after what it shows: film, the name of the shot or "
        "section, or frames-A-B, with -half or -quarter. Needs the package av."
    )
    add_picture_arguments(parser)
    parser.add_argument("--out", type=Path, metavar="DIR", help="where to write (default: PROJECT/out/animatic)")
    parser.add_argument("--format", choices=("both", "mp4", "webm"), default="both", help="which (default: both)")
    parser.add_argument(
        "--background", type=colour, default=_BACKGROUND, metavar="#RRGGBB",
        help=f"the colour behind the product (default: {_BACKGROUND})",
    )  # fmt: skip
    parser.add_argument(
        "--burn-in", action="store_true", help="draw timecode, frame, section and the parts' names into the picture"
    )


def _run(arguments: Arguments) -> Said:
    from choreo.frames.drawing import WholeFrame  # noqa: PLC0415
    from choreo.frames.jobs import jobs_of, make  # noqa: PLC0415
    from choreo.frames.movies import flashing, make_movies  # noqa: PLC0415
    from choreo.write.movie import KINDS, encoder_version  # noqa: PLC0415

    encoder_version()  # say at once what is missing, not when all frames are drawn
    ready = pictured(arguments)
    out = out_folder(arguments, ready.film, "animatic")
    folder = out / "frames" / arguments.size
    draw = WholeFrame("frame.{:04d}.png", arguments.background)
    shots = {shot.name: shot for shot in ready.film.tracks.shots}
    jobs = jobs_of(ready.scene, ready.frames(), lambda shot, frame: [draw.name(shots[shot], frame)], repr(draw))
    film = {draw.name(shot, frame) for shot in shots.values() for frame in range(shot.frames)}
    heard = hearing("animatic", folder, quiet=arguments.json)
    made = make(ready.scene, jobs, draw, folder, hearing=heard, film=film)
    stem = ready.range.name + ("" if arguments.size == "full" else f"-{arguments.size}")
    kinds = KINDS if arguments.format == "both" else (arguments.format,)
    names = [f"{stem}.{kind}" for kind in kinds]
    bar = progress_bar(quiet=arguments.json)
    movies = make_movies(ready.scene, jobs, folder, out, names, burn_in=arguments.burn_in, hear=bar)
    warnings = flashing(ready.scene, jobs, folder)
    words = [*ready.words, *_words(made, movies, out), *(warning.as_text() for warning in warnings)]
    return Said(words, _data(made, movies, out, (*ready.scene.warnings, *warnings)))


def _words(made: Made, movies: Movies, out: Path) -> list[str]:
    frames = f"Frames: {made.drawn} drawn, {made.kept} were there already" + (
        f", {len(made.removed)} removed that the film no longer has." if made.removed else "."
    )
    written = ["Written:", *(f"  {out / name}" for name in movies.written)] if movies.written else []
    kept = [f"Still up to date: {out / name}" for name in movies.kept]
    return [frames, *written, *kept]


def _data(made: Made, movies: Movies, out: Path, warnings: tuple[Finding, ...]) -> dict[str, object]:
    return {
        "ok": True,
        "files": [str(out / name) for name in (*movies.written, *movies.kept)],
        "written": [str(out / name) for name in movies.written],
        "frames_drawn": made.drawn,
        "frames_kept": made.kept,
        "warnings": [warning.as_json() for warning in warnings],
    }


ANIMATIC = Command("animatic", "write the film as a movie, MP4 and WebM", _add, _run)
