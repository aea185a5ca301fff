"""``choreo compile``: tracks, report and storyboard strip."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from choreo.commands import Arguments, Command, Said
from choreo.commands.shared import Progress, add_project, add_search, read, require_shot, unknown
from choreo.errors import DEFECT, ChoreoError
from choreo.model.interlock import Interlocked

if TYPE_CHECKING:
    from choreo.compile import Film
    from choreo.read.project import Project


def _add(parser: argparse.ArgumentParser) -> None:
    add_project(parser)
    parser.add_argument("--out", type=Path, metavar="DIR", help="where to write (default: PROJECT/out)")
    parser.add_argument("--shot", metavar="NAME", help="compile this shot only")
    parser.add_argument("--prove", action="store_true", help="also run the slow checks of the result")
    parser.add_argument(
        "--dump", metavar="STAGE", action="append", default=[],
        help="also write what a stage found out as DIR/dump/STAGE.json (all: every stage)",
    )  # fmt: skip
    add_search(parser)


def _run(arguments: Arguments) -> Said:
    project = read(arguments.project)
    require_shot(project, arguments.shot, arguments.project)
    out = arguments.out or project.folder / "out"
    try:
        return _compiled(arguments, project, out)
    except Interlocked as error:
        error.written = _draw_proof(error, project, out)
        raise


def _compiled(arguments: Arguments, project: Project, out: Path) -> Said:
    from choreo.frames.compiled import compile_project  # noqa: PLC0415
    from choreo.write.files import write_all  # noqa: PLC0415

    dumps: dict[str, Any] = {}
    with Progress(arguments.json, dumps if arguments.dump else None) as progress:
        film = compile_project(project, progress, only_shot=arguments.shot, search=arguments.search)
        proved = _prove(film, progress) if arguments.prove else []
        files = _files(film, project)
        files.update(_dump_files(dumps, arguments.dump))
        write_all(out, files)
    alone = f'Only shot "{arguments.shot}" was compiled: the files hold this shot alone.' if arguments.shot else None
    words = [*_words(film, out, files), *proved, *filter(None, [alone])]
    return Said(words, {**_data(film, out, files), "proved": bool(proved)})


def _draw_proof(error: Interlocked, project: Project, out: Path) -> tuple[str, ...]:
    """Write the picture of an interlock; earlier output in the folder stays as it was."""
    from choreo.geometry.solids.solid import build_solid  # noqa: PLC0415
    from choreo.picture.interlock import interlock_svg  # noqa: PLC0415
    from choreo.write.files import write_all  # noqa: PLC0415

    solids = {part.id: build_solid(part.slabs, part.offset) for part in project.assembly.parts}
    write_all(out, {"interlock.svg": interlock_svg(project.assembly, solids, error.interlock)})
    return (str(out / "interlock.svg"),)


def _files(film: Film, project: Project) -> dict[str, str | bytes]:
    from choreo.picture.strip import strip_svg  # noqa: PLC0415
    from choreo.write.report_json import report_text  # noqa: PLC0415
    from choreo.write.tracks_json import tracks_text  # noqa: PLC0415

    strip = strip_svg(project.assembly, film.apart.solids, film.tracks, film.report, margins_px=film.frame.margins)
    return {"tracks.json": tracks_text(film.tracks), "report.json": report_text(film.report), "strip.svg": strip}


def _dump_files(artefacts: dict[str, Any], wanted: list[str]) -> dict[str, str]:
    if not wanted:
        return {}
    from choreo.write.dump import dump_text, file_name  # noqa: PLC0415

    strange = [name for name in wanted if name != "all" and name not in artefacts]
    if strange:
        raise ChoreoError(tuple(unknown("stage", name, list(artefacts), "--dump") for name in strange))
    names = list(artefacts) if "all" in wanted else wanted
    return {f"dump/{file_name(name)}": dump_text(artefacts[name]) for name in names}


def _prove(film: Film, progress: Progress) -> list[str]:
    """Run the slow checks; return what they proved, in words."""
    from choreo.checks.check_collisions import check_collisions  # noqa: PLC0415
    from choreo.checks.check_masking import check_masking  # noqa: PLC0415
    from choreo.geometry.solids.turned import turns_of  # noqa: PLC0415

    solids = film.apart.solids
    offsets = {part.id: part.offset for part in film.apart.assembly.parts}
    touch = film.apart.assembly.touch_mm
    pressed = {frozenset((j.part, j.into)): j.press_mm for j in film.apart.assembly.joints if j.press_mm}
    for shot in film.tracks.shots:
        progress(f"slow checks of {shot.name}", None)
        check_collisions(shot, solids, touch, pressed, offsets=offsets)
        positions = {track.id: track.position for track in shot.parts}
        turns = turns_of(shot.parts, offsets)
        seen = (shot.masking, solids, shot.cameras, positions)
        found = check_masking(*seen, turns=turns, touch_mm=touch, pressed=pressed)
        broken = [finding for finding in found if finding.severity == "error"]
        if broken:
            raise ChoreoError(tuple(broken), exit_code=DEFECT)
    return ["Proved once more: no overlap at 8 instants a frame; orders and holdouts agree with lines of sight."]


def _words(film: Film, out: Path, files: dict[str, Any]) -> list[str]:
    from choreo.write.report_json import report_words  # noqa: PLC0415

    made = [f"  {out / name}" for name in files]
    return [*report_words(film.report, film.tracks.frame_rate), "Written:", *made]


def _data(film: Film, out: Path, files: dict[str, Any]) -> dict[str, Any]:
    return {
        "ok": True,
        "out": str(out),
        "files": [str(out / name) for name in files],
        "shots": [shot.name for shot in film.tracks.shots],
        "warnings": [warning.as_json() for warning in film.report.warnings],
    }


COMPILE = Command("compile", "compile a project: tracks.json, report.json, strip.svg", _add, _run)
