"""The command line: finds the command, runs it, and puts what it says into words. No decision is taken here."""

from __future__ import annotations

import argparse
import io
import json
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from choreo import __version__
from choreo.commands import Command, Said
from choreo.commands.animatic import ANIMATIC
from choreo.commands.check import CHECK
from choreo.commands.compare import COMPARE
from choreo.commands.compile import COMPILE
from choreo.commands.layers import LAYERS
from choreo.commands.mattes import MATTES
from choreo.commands.new import NEW
from choreo.commands.page import PAGE
from choreo.commands.sign_off import SIGN_OFF
from choreo.commands.status import STATUS
from choreo.commands.still import STILL
from choreo.commands.strip import STRIP
from choreo.commands.watch import WATCH
from choreo.errors import DEFECT, ChoreoError, Finding
from choreo.frames.interrupts import deafen

COMMANDS: tuple[Command, ...] = (
    NEW, CHECK, COMPILE, WATCH, PAGE, STRIP, ANIMATIC, STILL, LAYERS, MATTES, COMPARE, SIGN_OFF, STATUS,
)  # fmt: skip
"""In the order in which a project needs them."""
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
    arguments, unknown = _parser().parse_known_args(argv)
    if unknown:  # answered by the command itself, whose usage says what it does take
        arguments.parser.error(f"unrecognized arguments: {' '.join(unknown)}")
    # Our matrices are small: threads would spend their time waiting for each other. Read when numpy is imported.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        code = _run(arguments)
        if code == _INTERRUPTED and argv is None:  # a program of its own, on its way out
            deafen()
        sys.stdout.flush()
    except BrokenPipeError:  # whoever read our words has left; the work itself is done
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:  # once more, in the middle of the last words
        return _INTERRUPTED
    return code


def _run(arguments: argparse.Namespace) -> int:
    try:
        said: Said = arguments.run(arguments)
    except ChoreoError as error:
        _say_findings(error, as_json=arguments.json)
        return error.exit_code
    except KeyboardInterrupt as stop:  # runs that write many files say what is there
        print(f"choreo: {stop}" if stop.args else "choreo: stopped; nothing was written", file=sys.stderr)
        return _INTERRUPTED
    except Exception as error:  # noqa: BLE001 - the one place where a defect of ours is put into words
        _say_defect(error, as_json=arguments.json)
        return DEFECT
    print(json.dumps(said.data) if arguments.json else "\n".join(said.words))
    return said.exit_code


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="choreo",
        description="Compile an assembly and a choreography into collision-free tracks, layer orders, holdout masks "
        "and a storyboard strip.",
        epilog="PROJECT is a folder with assembly.json and choreography.toml, or the choreography file itself.",
    )
    parser.add_argument("--version", action="version", version=f"choreo {__version__}")
    choices = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for command in COMMANDS:
        one = choices.add_parser(command.name, help=command.help)
        command.add(one)
        one.add_argument("--json", action="store_true", help="answer in JSON, for programs")
        one.set_defaults(run=command.run, parser=one)
    return parser


def _say_findings(error: ChoreoError, *, as_json: bool) -> None:
    left = "; ".join(getattr(error, "__notes__", ()))  # what a run of many files leaves behind
    if as_json:
        findings = [finding.as_json() for finding in error.findings]
        written = {"files": list(error.written)} if error.written else {}
        there = {"there": left} if left else {}
        print(json.dumps({"ok": False, "exit": error.exit_code, "findings": findings, **written, **there}))
        return
    for finding in error.findings:
        print(finding.as_text(), file=sys.stderr)
    count = len(error.findings)
    ending = "" if count == 1 else f" ({count} findings)"
    kept = f"nothing was written but {', '.join(error.written)}" if error.written else "nothing was written"
    print(f"choreo: {left or kept}{ending}", file=sys.stderr)


def _say_defect(error: Exception, *, as_json: bool) -> None:
    finding = Finding(
        code="defect",
        what=f"choreo itself failed: {type(error).__name__}: {error}",
        why="This is a defect of choreo, not of your files.",
        remedy="Please report it together with the two project files.",
    )
    told = ChoreoError((finding,), exit_code=DEFECT)
    for note in getattr(error, "__notes__", ()):
        told.add_note(note)
    _say_findings(told, as_json=as_json)


class _Parser(argparse.ArgumentParser):
    """Answers a command line that makes no sense, without the control characters that may be in it."""

    def error(self, message: str) -> NoReturn:
        from choreo.read.notes import printable  # noqa: PLC0415

        super().error(printable(message))
