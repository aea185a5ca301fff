"""What a director's file says, held against the film as it is: entries for the ledger, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from choreo.errors import Finding, wrong_input
from choreo.model.sign_off import NO_MARK, DirectorsFile, Mark, SectionNow, SectionSaid, runs
from choreo.review.sight import Sight

_SHOWN = 19
"""Of a digest, in messages: its kind and twelve digits."""
_LONGEST_NOTE = 200
"""Of a note, in messages; the director's file has all of it."""


@dataclass(frozen=True)
class Taken:
    """What a director's file comes to."""

    marks: tuple[Mark, ...]
    """Of sections as they are."""
    refused: tuple[Finding, ...]
    """One for each section that was marked in another version, or that is not there."""


def take(said: DirectorsFile, on: str, project: str, sections: Sequence[SectionNow], ledger: Sequence[Mark]) -> Taken:
    """Return what a director's file says about the film as it is.

    Parameters
    ----------
    said : DirectorsFile
        Its words are printable.
    on : str
        The day that its entries are given.
    project : str
        Name of the assembly, printable.
    sections : sequence of SectionNow
        Of the film as it is.
    ledger : sequence of Mark

    Raises
    ------
    ChoreoError
        Exit 2: the file is about another product.

    """
    if said.project != project:
        raise wrong_input(
            Finding(
                "another-project",
                f'This file is about "{said.project}", the project about "{project}".',
                remedy="Give the project whose page was marked.",
            )
        )
    now = {section.name: section for section in sections}
    marks: list[Mark] = []
    refused: list[Finding] = []
    for one in said.sections:
        if one.verdict == NO_MARK and not one.note:
            continue
        section = now.get(one.section)
        if section is None or section.content != one.content:
            refused.append(_gone(said, one) if section is None else _another(said, one, section, ledger))
            continue
        marks.append(mark_of(section, one.verdict, said.by, on, one.note))
    return Taken(tuple(marks), tuple(refused))


def mark_of(section: SectionNow, verdict: str, by: str, on: str, note: str) -> Mark:
    """Return an entry about a section as it is, by what it is made of."""
    made = runs(section.frame_contents)
    return Mark(section.name, verdict, by, on, section.content, section.frames, note, section.makings, made)


def with_pictures(mark: Mark, section: SectionNow, sight: Sight) -> Mark:
    """Return an entry about a section with the pictures of its frames, all of which must be known."""
    pictures = [sight.known[content] for content in section.frame_contents]
    return replace(mark, frame_pictures=runs(pictures), drawn_with=sight.drawing)


def _gone(said: DirectorsFile, one: SectionSaid) -> Finding:
    return Finding(
        "section-gone",
        f'{said.by} has marked section "{one.section}", which the film does not have now.',
        why=_mark_words(one),
        remedy="Send a page of the present film, or bring the section back.",
    )


def _another(said: DirectorsFile, one: SectionSaid, section: SectionNow, ledger: Sequence[Mark]) -> Finding:
    seen = f"{one.content[:_SHOWN]} ({one.last - one.first + 1} frames)"
    earlier = [mark for mark in ledger if mark.section == one.section and mark.content == one.content]
    if earlier:
        seen += f", which {earlier[-1].by} marked on {earlier[-1].on} too"
    return Finding(
        "another-version",
        f'{said.by} looked at another version of section "{one.section}": it is made otherwise now.',
        why=f"Seen: {seen}. Now: {section.content[:_SHOWN]} ({section.frames} frames).\n{_mark_words(one)}",
        remedy="Write a page of the present film and ask for another look; nothing was noted of this section.",
    )


def _mark_words(one: SectionSaid) -> str:
    verdict = {"approved": "Marked: approved.", "not-yet": "Marked: not yet."}.get(one.verdict, "No mark.")
    note = one.note if len(one.note) <= _LONGEST_NOTE else one.note[: _LONGEST_NOTE - 1] + "…"
    return f"{verdict} Note: {note}" if note else verdict
