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
from choreo.review.frame_content import COMMON, OF_PARTS
from choreo.review.sight import BLIND, Seen, Sight, seen

STALE, UNMARKED = "stale", "unmarked"
LENGTH, GONE, NEW, UNKNOWN, DRAWING = "length", "gone", "new", "unknown", "drawing"
TIME, HOME = "time", "home"


@dataclass(frozen=True)
class Change:
    """One thing that has changed about a section since it was marked."""

    what: str
    """One of `COMMON` and `OF_PARTS`, or length, gone, new, drawing (the code that draws is another one); unknown where
    the ledger cannot tell."""
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
    """What has changed since that verdict; where `seen` says so, none of it shows."""
    later: Mark | None = None
    """A later verdict on another picture of it."""
    note: Mark | None = None
    """The last note without a verdict that came after."""
    seen: Seen | None = None
    """What is known of its picture beside the one of that verdict."""


def standings(sections: Sequence[SectionNow], ledger: Sequence[Mark], sight: Sight = BLIND) -> tuple[Standing, ...]:
    """Return how each section stands by what the ledger says.

    Parameters
    ----------
    sections : sequence of SectionNow
        All sections of the film as it is.
    ledger : sequence of Mark
        In the order of the file.
    sight : Sight, optional
        What is known of pictures; where that does not suffice, a picture counts as another one.

    """
    return tuple(_standing(section, *_said_of(section, sections, ledger), sight) for section in sections)


def to_be_drawn(
    sections: Sequence[SectionNow], ledger: Sequence[Mark], sight: Sight, *, count: bool = False
) -> tuple[SectionNow, Mark, tuple[int, ...]] | None:
    """Return the next section whose standing hangs on pictures that are not known.

    Parameters
    ----------
    sections, ledger, sight
        See `standings`.
    count : bool
        Whether all frames that look otherwise are asked for, not only the first one.

    Returns
    -------
    (section, mark, frames) or None
        Frames of the section, counted from 0, that have to be drawn to tell whether it shows what was marked. Unless
        all are asked for, those after the first one that looks otherwise need not be. None where all is known.

    """
    for section in sections:
        own, renamed = _said_of(section, sections, ledger)
        marks = [*_verdicts(renamed), *_verdicts(own)]
        last = _verdicts(own)[-1:]
        for mark in reversed(marks):
            found = seen(mark, section, sight)
            if found.same:
                break
            asked = found.unknown if count and [mark] == last else found.before_first
            if asked and (found.same is None or [mark] == last):
                return section, mark, asked
    return None


def changes(mark: Mark, section: SectionNow) -> tuple[Change, ...]:
    """Return in what a section is made otherwise than when it was marked; nothing where it is made of the same."""
    if mark.content == section.content:
        return ()
    if mark.frames != section.frames:  # then all that is told frame by frame differs as well
        return (Change(LENGTH, before=mark.frames, after=section.frames),)
    if not mark.frame_contents:  # of before frames were told apart: its digests are of other things
        return (Change(UNKNOWN),)
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
    told = [change for change in found if change.what not in (TIME, HOME)]  # these follow when anything else changes
    return tuple(told or found) or (Change(UNKNOWN),)


def _differs(then: Mapping[str, str], now: Mapping[str, str], what: str) -> bool:
    return what in then and what in now and then[what] != now[what]


def _said_of(
    section: SectionNow, sections: Sequence[SectionNow], ledger: Sequence[Mark]
) -> tuple[list[Mark], list[Mark]]:
    """What was said of a section, and of sections that are no more; in the order in which it was said."""
    present: Collection[str] = {one.name for one in sections}
    said = sorted(ledger, key=lambda mark: mark.on)  # two versions of a file may have been merged in any order
    return [mark for mark in said if mark.section == section.name], [
        mark for mark in said if mark.section not in present
    ]


def _standing(section: SectionNow, own: Sequence[Mark], renamed: Sequence[Mark], sight: Sight) -> Standing:
    verdicts = _verdicts(own)
    same = [mark for mark in verdicts if seen(mark, section, sight).same]
    same = same or [mark for mark in _verdicts(renamed) if seen(mark, section, sight).same]
    mark = same[-1] if same else verdicts[-1] if verdicts else None
    note = own[-1] if own and own[-1].verdict == NO_MARK else None
    if mark is None:
        return Standing(section, UNMARKED, note=note)
    found = seen(mark, section, sight)
    later = verdicts[-1] if verdicts and not seen(verdicts[-1], section, sight).same and same else None
    state = NOT_YET if mark.verdict == NOT_YET else APPROVED if same else STALE
    changed = changes(mark, section)
    if found.redrawn:
        changed = (*changed, Change(DRAWING))
    return Standing(section, state, mark, changed, later, note, found)


def _verdicts(marks: Iterable[Mark]) -> list[Mark]:
    return [mark for mark in marks if mark.verdict != NO_MARK]
