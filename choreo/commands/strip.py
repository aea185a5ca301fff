"""``choreo strip``: the storyboard on sheets of paper, for the wall and for the signature."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments, Command, Said
from choreo.commands.picturing import size_text
from choreo.commands.shared import Progress, add_project, number_within, read
from choreo.picture.sheets.paper import PAPERS

if TYPE_CHECKING:
    from choreo.compile import Film
    from choreo.errors import Finding
    from choreo.model.tracks import ShotTracks
    from choreo.picture.sheets.drawing import SheetDrawing
    from choreo.picture.sheets.storyboard import FrameOf, Storyboard
    from choreo.read.project import Project

_DOTS = 150
_REVISION_DIGITS = 8
_WIDE_PX = {True: 1920, False: 960}
"""Wanted of a frame's picture on a large and on a small panel: 124 and 107 dots to the inch on A3."""


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Write the storyboard on sheets for print: strip.pdf, and each sheet as strip-01.svg and strip-01.png. Panels "
        "show the plates, where a shot has any; parts at rest have a sheet to themselves; the last sheet has notes and "
        "a line to sign for each section. Enlarged to A3 (letter: to 11 x 17 in) it is made to be read from 3 m."
    )
    add_project(parser)
    parser.add_argument("--out", type=Path, metavar="DIR", help="where to write (default: PROJECT/out/strip)")
    parser.add_argument("--paper", choices=tuple(PAPERS), default="a4", help="size of the sheets (default: a4)")
    parser.add_argument(
        "--dots",
        type=number_within(int, 50, 600),
        default=_DOTS,
        metavar="N",
        help=f"of the PNG, to the inch, 50 to 600 (default: {_DOTS})",
    )
    parser.add_argument("--solids", action="store_true", help="draw solids in place of plates")


def _run(arguments: Arguments) -> Said:
    from choreo.frames.compiled import compile_project  # noqa: PLC0415
    from choreo.picture.sheets.legible import legible  # noqa: PLC0415
    from choreo.picture.sheets.output import pdf_of, png_of  # noqa: PLC0415
    from choreo.picture.sheets.storyboard import Storyboard, sheets_of  # noqa: PLC0415
    from choreo.write.files import write_all  # noqa: PLC0415

    project = read(arguments.project)
    out = arguments.out or project.folder / "out" / "strip"
    with Progress(arguments.json) as progress:
        film = compile_project(project, progress)
        frame_of, warnings = _photographed(project, film, solids=arguments.solids)
        margins, revision, assembly = film.frame.margins, _revision(film), legible(project.assembly)
        board = Storyboard(assembly, film.apart.solids, film.tracks, film.report, margins, frame_of, revision)
        progress("sheets", None)
        sheets = sheets_of(board, PAPERS[arguments.paper])
        files: dict[str, str | bytes] = {}
        for number, sheet in enumerate(sheets, 1):
            files[f"strip-{number:02d}.svg"] = sheet.svg()
            files[f"strip-{number:02d}.png"] = png_of(sheet, arguments.dots)
        files["strip.pdf"] = pdf_of(sheets, f"{project.assembly.name}: storyboard")
    write_all(out, files)
    warnings = (*warnings, *_not_set(project))
    return Said(_words(board, sheets, files, out, warnings), _data(board, files, out, warnings))


def _revision(film: Film) -> str:
    """The first digits of the digest of `tracks.json`, as sha256sum prints it."""
    import hashlib  # noqa: PLC0415

    from choreo.write.tracks_json import tracks_text  # noqa: PLC0415

    return hashlib.sha256(tracks_text(film.tracks).encode()).hexdigest()[:_REVISION_DIGITS]


def _photographed(project: Project, film: Film, *, solids: bool) -> tuple[FrameOf, tuple[Finding, ...]]:
    """What gives the picture of a frame, in shots that have plates or a still."""
    if solids or not (project.assembly.plates or project.assembly.hero):
        return (lambda _shot, _frame, _large: None), ()
    from choreo.frames.film import ProjectFilm  # noqa: PLC0415
    from choreo.frames.scene import scene_of  # noqa: PLC0415
    from choreo.write.png import png_bytes  # noqa: PLC0415

    source = ProjectFilm(project, film.apart.solids, film.tracks, compiled=True, source="")
    scenes = {large: scene_of(source, _size(film, large), 0.0) for large in (True, False)}

    def frame_of(shot: ShotTracks, frame: int, large: bool) -> bytes | None:
        scene = scenes[large]
        shown = scene.plates[shot.name]
        if not shown.plates and shown.hero is None:
            return None
        return png_bytes(scene.renderer(shot.name).frame(shot, frame, 8))

    return frame_of, scenes[True].warnings


def _size(film: Film, large: bool) -> str:
    """The smallest size that is as wide as wanted."""
    width = film.tracks.resolution[0]
    return "quarter" if width / 4 >= _WIDE_PX[large] else "half" if width / 2 >= _WIDE_PX[large] else "full"


def _not_set(project: Project) -> tuple[Finding, ...]:
    from choreo.errors import Finding  # noqa: PLC0415
    from choreo.picture.sheets.typeface import FAMILY, not_set  # noqa: PLC0415

    words = "".join((project.assembly.name, *(p.label + (p.stand_in or "") for p in project.assembly.parts)))
    lacking = not_set("".join(char for char in words if char.isprintable()))
    if not lacking:
        return ()
    what = f"{FAMILY} lacks letters that names or notes are written in: {lacking[:40]}"
    why = "On the sheets those parts go by their id; elsewhere a question mark stands for each of these letters."
    remedy = "Give them a label in Latin, Greek or Cyrillic letters, or leave it at that."
    return (Finding("letters-not-set", what, why=why, remedy=remedy, severity="warning"),)


def _words(
    board: Storyboard,
    sheets: list[SheetDrawing],
    files: dict[str, str | bytes],
    out: Path,
    warnings: tuple[Finding, ...],
) -> list[str]:
    size = size_text(len(files["strip.pdf"]))
    return [
        f"{len(sheets)} sheets, revision {board.revision}.",
        *(warning.as_text() for warning in warnings),
        "Written:",
        f"  {out / 'strip.pdf'} ({size})",
        f"  {out / 'strip-01.svg'}, .png, to strip-{len(sheets):02d}",
    ]


def _data(
    board: Storyboard, files: dict[str, str | bytes], out: Path, warnings: tuple[Finding, ...]
) -> dict[str, object]:
    return {
        "ok": True,
        "files": [str(out / name) for name in files],
        "revision": board.revision,
        "warnings": [warning.as_json() for warning in warnings],
    }


STRIP = Command("strip", "write the storyboard on sheets for print: PDF, SVG, PNG", _add, _run)
