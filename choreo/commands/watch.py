"""``choreo watch``: a page on this machine that shows every save at once."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments, Command, Said
from choreo.commands.shared import add_project, add_search, number_within
from choreo.errors import Finding, wrong_input

if TYPE_CHECKING:
    from choreo.live.message import Message

_HIGHEST_PORT = 65535
_NAMED = 3
"""Warnings that are named in a line each; the page has all of them in full."""


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Serve a page, to this machine only, that shows the project as it is and shows each save of its files at once: "
        "new paths first, then layer order and masks, then panels, charts and numbers. What an edit does not touch is "
        "not computed again. A mistake is shown at its place in the file, and the last good picture stays. Ctrl-C ends "
        "it. It writes nothing."
    )
    add_project(parser)
    parser.add_argument(
        "--port",
        type=number_within(int, 0, _HIGHEST_PORT),
        default=0,
        metavar="N",
        help="port of the page (default: one that is free)",
    )
    parser.add_argument("--build", type=Path, metavar="DIR", help="whose files /build/ shows (default: PROJECT/out)")
    add_search(parser)


def _run(arguments: Arguments) -> Said:
    from choreo.live.watching import Watch  # noqa: PLC0415
    from choreo.read.paths import exists, is_folder  # noqa: PLC0415

    path = Path(arguments.project)
    if not is_folder(path) and not exists(path):
        remedy = "Give the folder of a project, or its choreography file."
        raise wrong_input(Finding("missing-file", f"There is no {path}.", remedy=remedy))
    folder = path if is_folder(path) else path.parent
    try:
        watch = Watch(path, arguments.build or folder / "out", arguments.port, arguments.search)
    except OSError as error:
        what = f"Port {arguments.port} cannot be opened: {error.strerror or error}."
        raise wrong_input(Finding("port-taken", what, remedy="Leave --port out, or choose another one.")) from None
    watch.heard = _as_json if arguments.json else _as_words
    first = json.dumps({"ok": True, "address": watch.address}) if arguments.json else f"Open {watch.address}"
    _say(first)  # it has to be known while the command runs
    try:
        watch.run()
    except KeyboardInterrupt:
        watch.stopped.set()
    return Said(["Stopped; nothing was written."], {"ok": True, "rounds": watch.desk.rounds})


def _as_words(message: Message) -> None:
    """One line a round, what is wrong in full, and the first of what is worth a second look in a line each."""
    if message.state in {"whole", "failed"}:
        lines = [f"{message.round}: {message.said}", *(finding.as_text() for finding in message.findings)]
        lines += [f"  {finding.what}" for finding in message.warnings[:_NAMED]]
        if len(message.warnings) > _NAMED:
            lines.append(f"  and {len(message.warnings) - _NAMED} more")
        sys.stderr.write("\n".join(lines) + "\n")
        sys.stderr.flush()


def _as_json(message: Message) -> None:
    told = {"round": message.round, "state": message.state, "said": message.said}
    _say(json.dumps({**told, "findings": [f.as_json() for f in message.findings]}))


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


WATCH = Command("watch", "show every save at once, on a page of this machine", _add, _run)
