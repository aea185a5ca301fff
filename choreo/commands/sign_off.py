"""``choreo sign-off``: a verdict on sections goes into the project's ledger; what is approved can be locked."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments, Command, Said
from choreo.commands.section_contents import LEDGER, Reviewed, ledger_path, reviewed
from choreo.commands.shared import add_project, unknown
from choreo.commands.today import day, today

if TYPE_CHECKING:
    from collections.abc import Sequence

    from choreo.errors import Finding
    from choreo.model.sign_off import Mark
    from choreo.review.signing import Taken

_MOST_NAME, _MOST_NOTE = 200, 4000


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        f"Note what was said of sections in PROJECT/{LEDGER}, a text file that belongs into version control. An "
        "approval is one of a picture: it holds as long as the section shows exactly that. So each frame is drawn "
        "once, at full size with a shutter of 180 degrees, and a short digest of its pixels is noted; the frames "
        "themselves are not kept. Ctrl-C leaves the ledger as it was."
    )
    add_project(parser)
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("--from", dest="director", type=Path, metavar="FILE", help="what a review page has saved")
    which.add_argument("--section", action="append", metavar="NAME", help="a section; may be given more than once")
    which.add_argument(
        "--lock", action="store_true",
        help="keep the tracks of shots that are approved throughout: approved.tracks.json and [lock]",
    )  # fmt: skip
    parser.add_argument(
        "--quick", action="store_true",
        help="draw nothing: the verdict is then tied to what the section is made of, and goes stale with any change of "
        "that, seen or not",
    )  # fmt: skip
    parser.add_argument("--by", metavar="NAME", help="who says it, with --section")
    parser.add_argument("--note", metavar="TEXT", help="a remark, with --section")
    parser.add_argument("--not-yet", action="store_true", help="it is not approved yet, with --section")
    parser.add_argument("--on", type=day, metavar="DATE", help="the day (default: the file's, else today)")


def _run(arguments: Arguments) -> Said:
    _check(arguments)
    if arguments.lock:
        from choreo.commands.locking import lock  # noqa: PLC0415

        return lock(arguments)
    return _from_file(arguments) if arguments.director is not None else _by_hand(arguments)


def _check(arguments: Arguments) -> None:
    """Refuse options that do not belong together, and words that the ledger does not take."""
    from choreo.errors import Finding, wrong_input  # noqa: PLC0415

    by_hand = arguments.section is not None
    stray = [name for name in ("by", "note", "not_yet") if getattr(arguments, name) not in (None, False)]
    if stray and not by_hand:
        what = f"--{stray[0].replace('_', '-')} goes with --section."
        raise wrong_input(Finding("stray-option", what, remedy="Leave it out, or name a section."))
    if by_hand and not (arguments.by or "").strip():
        raise wrong_input(Finding("no-name", "Nobody is named who says it.", remedy="Add --by NAME."))
    for name, most in (("by", _MOST_NAME), ("note", _MOST_NOTE)):
        if len(getattr(arguments, name) or "") > most:
            what = f"--{name} has more than {most} characters."
            raise wrong_input(Finding("too-long", what, remedy="Say it in fewer words."))


def _by_hand(arguments: Arguments) -> Said:
    from choreo.errors import wrong_input  # noqa: PLC0415
    from choreo.model.sign_off import APPROVED, NOT_YET  # noqa: PLC0415
    from choreo.read.notes import printable  # noqa: PLC0415
    from choreo.read.sign_off import plain  # noqa: PLC0415
    from choreo.review.signing import mark_of  # noqa: PLC0415

    found = reviewed(arguments)
    sections = {section.name: section for section in found.sections}
    strange = [name for name in arguments.section if name not in sections]
    if strange:
        raise wrong_input(*(unknown("section", name, list(sections), str(arguments.project)) for name in strange))
    verdict = NOT_YET if arguments.not_yet else APPROVED
    on, by, note = arguments.on or today(), printable(arguments.by.strip()), plain(arguments.note or "")
    marks = [mark_of(sections[name], verdict, by, on, note) for name in dict.fromkeys(arguments.section)]
    return _noted(found, arguments, marks, ())


def _from_file(arguments: Arguments) -> Said:
    from choreo.read.notes import printable  # noqa: PLC0415
    from choreo.read.sign_off import read_director  # noqa: PLC0415
    from choreo.review.signing import take  # noqa: PLC0415

    said = read_director(arguments.director)
    found = reviewed(arguments)
    name = printable(found.project.assembly.name)
    taken: Taken = take(said, arguments.on or said.on, name, found.sections, found.ledger)
    return _noted(found, arguments, taken.marks, taken.refused)


def _noted(found: Reviewed, arguments: Arguments, said: Sequence[Mark], refused: Sequence[Finding]) -> Said:
    """Write new entries, and say what came of each section."""
    from choreo.commands.looking import Looker, drawn_words  # noqa: PLC0415
    from choreo.write.files import write_all  # noqa: PLC0415
    from choreo.write.sign_off import ledger_with  # noqa: PLC0415

    path = ledger_path(found.project)
    looker = Looker(found, quiet=arguments.json)
    asked = list(said) if arguments.quick else looker.with_pictures(said)
    marks = [mark for mark in asked if mark not in found.ledger]
    known = [mark.section for mark in asked if mark in found.ledger]
    if marks:
        write_all(path.parent, {path.name: ledger_with(found.ledger_text, marks)})
    verdicts = {"approved": "approved", "not-yet": "not yet", "none": "a note"}
    words = [f"{mark.section}: {verdicts[mark.verdict]}, {mark.by}, {mark.on}." for mark in marks]
    words += [f"{name}: the ledger says so already." for name in known]
    words += [finding.as_text() for finding in refused]
    words += drawn_words(looker.drawn)
    words += [f"Written: {path}"] if marks else ["Nothing was written."]
    return Said(
        words,
        {
            "ok": not refused,
            "files": [str(path)] if marks else [],
            "noted": [
                {"section": mark.section, "verdict": mark.verdict, "by": mark.by, "on": mark.on} for mark in marks
            ],
            "known": list(known),
            "frames_drawn": looker.drawn,
            "findings": [finding.as_json() for finding in refused],
        },
        exit_code=1 if refused else 0,
    )


SIGN_OFF = Command("sign-off", "note who approves which sections; lock what is approved", _add, _run)
