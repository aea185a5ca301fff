"""``choreo animatic``: the film as a movie."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments, Command, Said
from choreo.commands.picturing import add_picture_arguments, hearing, movies_to_come, out_folder, pictured, progress_bar
from choreo.commands.still import colour

if TYPE_CHECKING:
    from choreo.errors import Finding
    from choreo.frames.jobs import Made
    from choreo.frames.movies import MoviePlan

_BACKGROUND = "#e4e4e4"
"""A plain grey, light as paper: light and dark parts stand out from it, no decoder can tint it, and it is one of those
that the codes of a movie give back as they were."""


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
    from choreo.frames.interrupts import on_whole_frames  # noqa: PLC0415
    from choreo.frames.jobs import jobs_of, make  # noqa: PLC0415
    from choreo.frames.movies import flashing, make_movies, plan_movies, seconds_to_encode  # noqa: PLC0415
    from choreo.write.movie import KINDS, encoder_version  # noqa: PLC0415

    encoder_version()  # say at once what is missing, not when all frames are drawn
    ready = pictured(arguments)
    out = out_folder(arguments, ready.film, "animatic")
    folder = out / "frames" / arguments.size
    draw = WholeFrame("frame.{:04d}.png", arguments.background)
    shots = {shot.name: shot for shot in ready.film.tracks.shots}
    jobs = jobs_of(ready.scene, ready.frames(), lambda shot, frame: [draw.name(shots[shot], frame)], repr(draw))
    film = {draw.name(shot, frame) for shot in shots.values() for frame in range(shot.frames)}
    stem = ready.range.name + ("" if arguments.size == "full" else f"-{arguments.size}")
    kinds = KINDS if arguments.format == "both" else (arguments.format,)
    plan = plan_movies(ready.scene, jobs, out, [f"{stem}.{kind}" for kind in kinds], burn_in=arguments.burn_in)

    def to_come() -> str:
        return movies_to_come(plan.due, seconds_to_encode(plan, folder) if plan.due else None)

    heard = hearing("animatic", folder, quiet=arguments.json, to_come=to_come)
    made = make(ready.scene, jobs, draw, folder, hearing=heard, film=film)
    with on_whole_frames(len(jobs)):
        make_movies(plan, folder, progress_bar("movies", quiet=arguments.json))
        warnings = flashing(ready.scene, jobs, folder, progress_bar("looking for flashes", quiet=arguments.json))
    words = [*ready.words, *_words(made, plan), *(warning.as_text() for warning in warnings)]
    return Said(words, _data(made, plan, (*ready.scene.warnings, *warnings)))


def _words(made: Made, plan: MoviePlan) -> list[str]:
    frames = f"Frames: {made.drawn} drawn, {made.kept} were there already" + (
        f", {len(made.removed)} removed that the film no longer has." if made.removed else "."
    )
    written = ["Written:", *(f"  {plan.folder / name}" for name in plan.due)] if plan.due else []
    kept = [f"Still up to date: {plan.folder / name}" for name in plan.kept]
    return [frames, *written, *kept]


def _data(made: Made, plan: MoviePlan, warnings: tuple[Finding, ...]) -> dict[str, object]:
    return {
        "ok": True,
        "files": [str(plan.folder / name) for name in (*plan.due, *plan.kept)],
        "written": [str(plan.folder / name) for name in plan.due],
        "frames_drawn": made.drawn,
        "frames_kept": made.kept,
        "warnings": [warning.as_json() for warning in warnings],
    }


ANIMATIC = Command("animatic", "write the film as a movie, MP4 and WebM", _add, _run)
