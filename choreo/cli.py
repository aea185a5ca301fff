"""The command line: arguments in, one call, words out. No decision about the work is taken here."""

from __future__ import annotations

import argparse
import io
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, Self

from choreo import __version__
from choreo.errors import ChoreoError, Finding

if TYPE_CHECKING:
    from choreo.compile import Apart, Film
    from choreo.model.plan import RemovalStep
    from choreo.read.project import Project

_DEFECT = 3
_INTERRUPTED = 130


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns
    -------
    int
        0 done; 1 the input is sound but has no solution; 2 the input or the command line is wrong; 3 a defect
        of choreo itself; 130 interrupted.

    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that lacks a letter gets its number instead
            stream.reconfigure(errors="backslashreplace")
    arguments = _parser().parse_args(argv)
    try:
        code = _run(arguments)
        sys.stdout.flush()
    except BrokenPipeError:  # whoever read our words has left; the work itself is done
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return code


def _run(arguments: argparse.Namespace) -> int:
    try:
        said = arguments.run(arguments)
    except ChoreoError as error:
        _say_findings(error, as_json=arguments.json)
        return error.exit_code
    except KeyboardInterrupt:
        print("choreo: stopped; nothing was written", file=sys.stderr)
        return _INTERRUPTED
    except Exception as error:  # noqa: BLE001 - the one place where a defect of ours is put into words
        _say_defect(error, as_json=arguments.json)
        return _DEFECT
    print(json.dumps(said["json"]) if arguments.json else "\n".join(said["words"]))
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="choreo",
        description="Compile an assembly and a choreography into collision-free tracks, layer orders, holdout masks "
        "and a storyboard strip.",
        epilog="PROJECT is a folder with assembly.json and choreography.toml, or the choreography file itself.",
    )
    parser.add_argument("--version", action="version", version=f"choreo {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    check = commands.add_parser("check", help="validate a project and prove that the product comes apart")
    check.set_defaults(run=_check)
    compile_ = commands.add_parser("compile", help="compile a project: tracks.json, report.json, strip.svg")
    compile_.add_argument("--out", type=Path, metavar="DIR", help="where to write (default: PROJECT/out)")
    compile_.add_argument("--shot", metavar="NAME", help="compile this shot only")
    compile_.add_argument("--prove", action="store_true", help="also run the slow checks of the result")
    compile_.add_argument(
        "--dump", metavar="STAGE", action="append", default=[],
        help="also write what a stage found out as DIR/dump/STAGE.json (all: every stage)",
    )  # fmt: skip
    compile_.set_defaults(run=_compile)
    for command in (check, compile_):
        command.add_argument("project", type=Path, metavar="PROJECT")
        command.add_argument("--json", action="store_true", help="answer in JSON, for programs")
    return parser


def _check(arguments: argparse.Namespace) -> dict[str, Any]:
    from choreo.compile import take_apart  # noqa: PLC0415 - geometry is imported only where it is used

    project = _read(arguments.project)
    with _Progress(arguments.json) as progress:
        apart = take_apart(project.assembly, file=_assembly_name(project), on_stage=progress)
    return {"words": _check_words(project, apart), "json": _check_json(project, apart)}


def _compile(arguments: argparse.Namespace) -> dict[str, Any]:
    from choreo.compile import compile_film  # noqa: PLC0415
    from choreo.write.files import write_all  # noqa: PLC0415

    project = _read(arguments.project)
    _require_shot(project, arguments.shot, arguments.project)
    out = arguments.out or project.folder / "out"
    dumps: dict[str, Any] = {}
    with _Progress(arguments.json, dumps if arguments.dump else None) as progress:
        film = compile_film(
            project.assembly,
            project.choreography,
            digests=(project.assembly_digest, project.choreography_digest),
            file=_assembly_name(project),
            only_shot=arguments.shot,
            warnings=project.warnings,
            on_stage=progress,
        )
        proved = _prove(film, progress) if arguments.prove else []
        files = _files(film, project)
        files.update(_dump_files(dumps, arguments.dump))
        write_all(out, files)
    alone = f'Only shot "{arguments.shot}" was compiled: the files hold this shot alone.' if arguments.shot else None
    return {
        "words": [*_compile_words(film, out, files), *proved, *filter(None, [alone])],
        "json": {**_compile_json(film, out, files), "proved": bool(proved)},
    }


def _read(path: Path) -> Project:
    from choreo.read.project import read_project  # noqa: PLC0415

    return read_project(path)


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

    unknown = [name for name in wanted if name != "all" and name not in artefacts]
    if unknown:
        raise ChoreoError(tuple(_unknown("stage", name, list(artefacts), "--dump") for name in unknown))
    names = list(artefacts) if "all" in wanted else wanted
    return {f"dump/{file_name(name)}": dump_text(artefacts[name]) for name in names}


def _prove(film: Film, progress: _Progress) -> list[str]:
    """Run the slow checks; return what they proved, in words."""
    from choreo.checks.check_collisions import check_collisions  # noqa: PLC0415
    from choreo.checks.check_masking import check_masking  # noqa: PLC0415

    solids = film.apart.solids
    touch = film.apart.assembly.touch_mm
    pressed = {frozenset((j.part, j.into)): j.press_mm for j in film.apart.assembly.joints if j.press_mm}
    for shot in film.tracks.shots:
        progress(f"slow checks of {shot.name}", None)
        check_collisions(shot, solids, touch, pressed)
        positions = {track.id: track.position for track in shot.parts}
        broken = [f for f in check_masking(shot.masking, solids, shot.cameras, positions) if f.severity == "error"]
        if broken:
            raise ChoreoError(tuple(broken), exit_code=_DEFECT)
    return ["Proved once more: no overlap at 8 instants a frame; orders and holdouts agree with lines of sight."]


def _require_shot(project: Project, shot: str | None, path: Path) -> None:
    names = [one.name for one in project.choreography.shots]
    if shot is not None and shot not in names:
        raise ChoreoError((_unknown("shot", shot, names, str(path)),))


def _unknown(kind: str, name: str, known: list[str], where: str) -> Finding:
    from choreo.read.notes import clipped, printable  # noqa: PLC0415

    return Finding(
        code=f"unknown-{kind}",
        what=f'There is no {kind} "{printable(clipped(name))}".',
        file=where,
        remedy=f"Choose one of: {', '.join(known)}.",
    )


def _assembly_name(project: Project) -> str:
    return str(project.folder / Path(project.choreography.assembly_file).name)


def _check_words(project: Project, apart: Apart) -> list[str]:
    labels = {part.id: part.label for part in project.assembly.parts}
    from choreo.passes.removal import say_direction  # noqa: PLC0415

    count = len(project.assembly.parts)
    contacts = len(apart.contacts.contacts)
    lines = [
        (
            f"{project.assembly.name}: {count} part{'s' * (count != 1)}, {contacts} contact{'s' * (contacts != 1)}. "
            "It comes apart:"
        )
    ]
    for number, step in enumerate(apart.removal.steps, start=1):
        note = "" if step.joint_axis is None else f" (its joint asked for {say_direction(step.joint_axis)})"
        lines.append(f"  {number:2d}  {labels[step.part]} [{step.part}] leaves {_way_words(step)}{note}")
    lines.append(f"      {labels[apart.removal.body]} [{apart.removal.body}] stays")
    lines += [warning.as_text() for warning in (*project.warnings, *apart.warnings)]
    return lines


def _way_words(step: RemovalStep) -> str:
    from choreo.passes.removal import say_direction  # noqa: PLC0415

    if not step.via:
        return f"along {say_direction(step.direction)}"
    stops = "".join("(" + ", ".join(f"{c:.4g}" for c in corner) + "), then " for corner in step.via)
    return f"by {len(step.via) + 1} moves: to {stops}along {say_direction(step.direction)}"


def _check_json(project: Project, apart: Apart) -> dict[str, Any]:
    return {
        "ok": True,
        "assembly": project.assembly.name,
        "body": apart.removal.body,
        "removal": [
            {
                "part": step.part,
                "direction": list(step.direction),
                "joint_axis": list(step.joint_axis) if step.joint_axis else None,
                "via": [list(corner) for corner in step.via],
            }
            for step in apart.removal.steps
        ],
        "warnings": [warning.as_json() for warning in (*project.warnings, *apart.warnings)],
    }


def _compile_words(film: Film, out: Path, files: dict[str, Any]) -> list[str]:
    from choreo.write.report_json import report_words  # noqa: PLC0415

    made = [f"  {out / name}" for name in files]
    return [*report_words(film.report, film.tracks.frame_rate), "Written:", *made]


def _compile_json(film: Film, out: Path, files: dict[str, Any]) -> dict[str, Any]:
    return {
        "ok": True,
        "out": str(out),
        "files": [str(out / name) for name in files],
        "shots": [shot.name for shot in film.tracks.shots],
        "warnings": [warning.as_json() for warning in film.report.warnings],
    }


def _say_findings(error: ChoreoError, *, as_json: bool) -> None:
    if as_json:
        findings = [finding.as_json() for finding in error.findings]
        print(json.dumps({"ok": False, "exit": error.exit_code, "findings": findings}))
        return
    for finding in error.findings:
        print(finding.as_text(), file=sys.stderr)
    count = len(error.findings)
    ending = "" if count == 1 else f" ({count} findings)"
    print(f"choreo: nothing was written{ending}", file=sys.stderr)


def _say_defect(error: Exception, *, as_json: bool) -> None:
    finding = Finding(
        code="defect",
        what=f"choreo itself failed: {type(error).__name__}: {error}",
        why="This is a defect of choreo, not of your files. Nothing was written.",
        remedy="Please report it together with the two project files.",
    )
    _say_findings(ChoreoError((finding,), exit_code=_DEFECT), as_json=as_json)


class _Parser(argparse.ArgumentParser):
    """Answers a command line that makes no sense, without the control characters that may be in it."""

    def error(self, message: str) -> NoReturn:
        from choreo.read.notes import printable  # noqa: PLC0415

        super().error(printable(message))


class _Progress:
    """One line on a terminal that says what is being worked on; silent elsewhere. Keeps artefacts if asked to."""

    def __init__(self, quiet: bool, keep: dict[str, Any] | None = None) -> None:
        self.shown = not quiet and sys.stderr.isatty()
        self.keep = keep

    def __enter__(self) -> Self:
        return self

    def __call__(self, stage: str, artefact: Any) -> None:
        if self.keep is not None and artefact is not None:
            self.keep[stage] = artefact
        if self.shown:
            print(f"\r\x1b[K  {stage} ...", end="", file=sys.stderr, flush=True)

    def __exit__(self, *_: object) -> None:
        if self.shown:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)
