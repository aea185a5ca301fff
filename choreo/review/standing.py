"""How each section stands: approved, stale and since which change, not yet, or never marked.

A verdict is one on a picture. It holds as long as the section shows exactly that picture, and again when it does so
again; the last verdict on the present picture counts, by its day and then by its place in the file. A picture that
was marked under a name which no section has any more counts for a section that shows it now: a new name changes no
picture.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from choreo.model.sign_off import APPROVED, NO_MARK, NOT_YET, Mark, SectionNow

STALE, UNMARKED = "stale", "unmarked"
COMMON = ("film", "camera", "order", "masks", "hero")
"""What all parts have in common, in the order in which changes are told."""
OF_PARTS = ("path", "look", "plate")
LENGTH, GONE, NEW, SCREEN, UNKNOWN = "length", "gone", "new", "screen", "unknown"


@dataclass(frozen=True)
class Change:
    """One thing that has changed about a section since it was marked."""

    what: str
    """One of `COMMON` and `OF_PARTS`, or length, gone, new, screen; unknown where the ledger cannot tell."""
    parts: tuple[str, ...] = ()
    before: int = 0
    """Of the length: frames then and now."""
    after: int = 0


@dataclass(frozen=True)
class Standing:
    """How one section stands."""

    section: SectionNow
    state: str
    """approved, stale, not-yet or unmarked."""
    mark: Mark | None = None
    """The verdict that counts; of a stale section the last one."""
    changed: tuple[Change, ...] = ()
    """What has changed since that verdict; empty where it was on the present picture."""
    later: Mark | None = None
    """A later verdict on another picture of it."""
    note: Mark | None = None
    """The last note without a verdict that came after."""


def standings(sections: Sequence[SectionNow], ledger: Sequence[Mark]) -> tuple[Standing, ...]:
    """Return how each section stands by what the ledger says.

    Parameters
    ----------
    sections : sequence of SectionNow
        All sections of the film as it is.
    ledger : sequence of Mark
        In the order of the file.

    """
    present = {section.name for section in sections}
    said = sorted(ledger, key=lambda mark: mark.on)  # two versions of a file may have been merged in any order
    return tuple(_standing(section, said, present) for section in sections)


def changes(mark: Mark, section: SectionNow) -> tuple[Change, ...]:
    """Return what has changed about a section since it was marked; nothing where it shows the same."""
    if mark.content == section.content:
        return ()
    if mark.frames != section.frames:  # then all that is told frame by frame differs as well
        return (Change(LENGTH, before=mark.frames, after=section.frames),)
    then, now = mark.makings, section.makings
    found = [Change(what) for what in COMMON if _differs(then.common, now.common, what)]
    gone = tuple(part for part in then.parts if part not in now.parts)
    new = tuple(part for part in now.parts if part not in then.parts) if then.parts else ()
    found += [Change(what, parts) for what, parts in ((GONE, gone), (NEW, new)) if parts]
    both = [part for part in now.parts if part in then.parts]
    for what in OF_PARTS:
        parts = tuple(part for part in both if _differs(then.parts[part], now.parts[part], what))
        if parts:
            found.append(Change(what, parts))
    if not found:
        found.append(Change(SCREEN if _differs(then.common, now.common, SCREEN) else UNKNOWN))
    return tuple(found)


def _differs(then: Mapping[str, str], now: Mapping[str, str], what: str) -> bool:
    return what in then and what in now and then[what] != now[what]


def _standing(section: SectionNow, ledger: Sequence[Mark], present: Collection[str]) -> Standing:
    own = [mark for mark in ledger if mark.section == section.name]
    verdicts = _verdicts(own)
    renamed = [mark for mark in _verdicts(ledger) if mark.section not in present]
    same = [mark for mark in verdicts if mark.content == section.content]
    same = same or [mark for mark in renamed if mark.content == section.content]
    mark = same[-1] if same else verdicts[-1] if verdicts else None
    note = own[-1] if own and own[-1].verdict == NO_MARK else None
    if mark is None:
        return Standing(section, UNMARKED, note=note)
    later = verdicts[-1] if verdicts and verdicts[-1].content != mark.content else None
    state = NOT_YET if mark.verdict == NOT_YET else APPROVED if same else STALE
    return Standing(section, state, mark, changes(mark, section), later, note)


def _verdicts(marks: Iterable[Mark]) -> list[Mark]:
    return [mark for mark in marks if mark.verdict != NO_MARK]
