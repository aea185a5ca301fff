"""The ledger of a project, and the file that a director sends back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from choreo.errors import wrong_input
from choreo.model.sign_off import DirectorsFile, Makings, Mark, SectionSaid, in_runs
from choreo.read.names import entries, note_repeats
from choreo.read.notes import Notes, printable
from choreo.read.parse import parse
from choreo.read.schema import check_schema
from choreo.read.source import read_source

_MOST_BYTES = 32 * 2**20
"""Of a ledger: an entry takes 30 bytes for each frame of its section."""
NO_DATE = "There is no such day."


def read_ledger(path: Path) -> tuple[str, tuple[Mark, ...]]:
    """Return the text of a ledger and its entries, in their order.

    Raises
    ------
    ChoreoError
        Exit 2 with all that is wrong with the file, e.g. what a merge has left in it.

    """
    source = read_source(path, "toml", _MOST_BYTES)
    value, notes = parse(source)
    check_schema("sign-off", value, notes)
    if isinstance(value, dict):
        for index, mark in enumerate(entries(value, "mark")):
            if notes.sound("mark", index):
                _check_date(notes, ("mark", index, "on"), mark["on"])
                _check_frames(notes, index, mark)
    _refuse(notes)
    return source.text, tuple(_mark(mark) for mark in value.get("mark", ()))


def read_director(path: Path) -> DirectorsFile:
    """Return what a director's file says.

    Raises
    ------
    ChoreoError
        Exit 2 with all that is wrong with the file.

    """
    source = read_source(path, "json")
    value, notes = parse(source)
    check_schema("director", value, notes)
    if isinstance(value, dict):
        named = [
            (("sections", index, "name"), section["name"])
            for index, section in enumerate(entries(value, "sections"))
            if notes.sound("sections", index)
        ]
        note_repeats(notes, "repeated-section", "section", named)
        if notes.sound("saved") and "saved" in value:
            _check_date(notes, ("saved",), value["saved"])
    _refuse(notes)
    sections = tuple(
        SectionSaid(one["name"], one["from"], one["to"], one["content"], one["verdict"], plain(one["note"]))
        for one in value["sections"]
    )
    return DirectorsFile(printable(value["project"]), printable(value["name"]), value["saved"][:10], sections)


def plain(note: str) -> str:
    """Return a note with its lines, and everything else that cannot be printed written as escapes."""
    return "\n".join(printable(line) for line in note.replace("\r\n", "\n").split("\n")).strip()


def is_a_day(text: str) -> bool:
    """Whether text that begins ``YYYY-MM-DD`` names a day of the calendar."""
    year, month, day = int(text[:4]), int(text[5:7]), int(text[8:10])
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    days = (31, 29 if leap else 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    return year > 0 and 1 <= month <= 12 and 1 <= day <= days[month - 1]


def _check_date(notes: Notes, place: tuple[str | int, ...], text: str) -> None:
    if not is_a_day(text):
        notes.add("bad-date", place, NO_DATE, remedy="Write year, month and day, e.g. 2026-11-28.")


def _check_frames(notes: Notes, index: int, mark: dict[str, Any]) -> None:
    """What is said frame by frame must be said of each."""
    for key in ("frame_contents", "frame_pictures"):
        if key in mark and (told := in_runs(mark[key])) != mark["frames"]:
            what = f"{told} frames are told apart, of {mark['frames']}."
            remedy = "Take the line as `choreo sign-off` wrote it."
            notes.add("frames-left-out", ("mark", index, key), what, remedy=remedy)


def _refuse(notes: Notes) -> None:
    if notes.failed:
        raise wrong_input(*notes.findings())


def _mark(mark: dict[str, Any]) -> Mark:
    return Mark(
        printable(mark["section"]),
        mark["verdict"],
        printable(mark["by"]),
        mark["on"],
        mark["content"],
        mark["frames"],
        plain(mark.get("note", "")),
        Makings(mark.get("made_of", {}), mark.get("parts", {})),
        mark.get("frame_contents", ""),
        mark.get("frame_pictures", ""),
        mark.get("drawn_with", ""),
    )
