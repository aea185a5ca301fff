"""``choreo status``: how each section stands."""

from __future__ import annotations

import argparse

from choreo.commands import Arguments, Command, Said
from choreo.commands.looking import QUICK_STATUS, drawn_words, stands
from choreo.commands.section_contents import reviewed
from choreo.commands.shared import add_project


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Say of each section whether it is approved, by whom and when, and what has changed since. An approval is "
        "stale exactly where a frame of its section looks otherwise (a code of 8 bits in one pixel is enough): frames "
        "that are made otherwise than those that were signed are drawn, in their order, up to the first that differs. "
        "Nothing is written but what such a look has found, into PROJECT/out/pictures.json if there is that folder."
    )
    add_project(parser)
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--quick", action="store_true", help=QUICK_STATUS)
    how.add_argument("--count", action="store_true", help="go on, and count the frames that look otherwise")
    parser.add_argument(
        "--require", action="store_true", help="exit 1 unless every section is approved as it is, e.g. before delivery"
    )


def _run(arguments: Arguments) -> Said:
    from choreo.review.standing_words import standing_json, standing_words, unsigned  # noqa: PLC0415

    found = reviewed(arguments)
    stand, drawn = stands(found, arguments, count=arguments.count)
    missing = unsigned(stand)
    failed = arguments.require and bool(missing)
    words = [*standing_words(stand), *drawn_words(drawn)]
    if failed:
        words.append(f"Not all is signed off: {', '.join(one.section.name for one in missing)}.")
    data = {
        "ok": not failed,
        "approved": not missing,
        "frames_drawn": drawn,
        "sections": [standing_json(one) for one in stand],
    }
    return Said([found.film.source, *words], data, exit_code=1 if failed else 0)


STATUS = Command("status", "say which sections are signed off, and what has changed since", _add, _run)
