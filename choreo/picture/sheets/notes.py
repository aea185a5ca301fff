"""The last sheets of a storyboard: what stands in for what, what is still to come, and a line to sign a section on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from choreo.model.assembly import Assembly
from choreo.model.choreography import FrameRate
from choreo.model.report import Report, ShotReport
from choreo.model.tracks import FilmSection, Tracks
from choreo.motion.timecode import timecode
from choreo.picture.lettering import BOLD, cut, wrapped
from choreo.picture.palette import HAIRLINE, INK, QUIET
from choreo.picture.sheets.drawing import SheetDrawing, placed
from choreo.picture.sheets.heading import heading
from choreo.picture.sheets.paper import CAPTION, FINE, MARGIN, NOTE, SMALL, Paper
from choreo.picture.svg import element, text

_SIGN = 110.0
"""Height of a row that is signed."""
_BOX = 40.0
_COLUMNS = (0.0, 0.24, 0.52, 0.65, 0.78)
"""Of a row that is signed, as shares of the width: section, timecode, yes, not yet, name and date."""


@dataclass(frozen=True)
class _Row:
    """Something with a height; a heading stays with the row below it."""

    height: float
    drawn: str
    heads: bool = False


def note_sheets(assembly: Assembly, tracks: Tracks, report: Report, paper: Paper, revision: str) -> list[SheetDrawing]:
    """Return the sheets of notes and of sections to sign; what does not fit goes on the next one."""
    wide = paper.width - 2 * MARGIN
    rows = [*_notes(assembly, report, wide), *_signing(tracks, wide)]
    _, top, _, high = paper.room
    out: list[SheetDrawing] = []
    y = 0.0
    for index, row in enumerate(rows):
        needed = row.height + (rows[index + 1].height if row.heads and index + 1 < len(rows) else 0.0)
        if not out or y + needed > high:
            out.append(SheetDrawing(paper, f"{assembly.name}: notes"))
            out[-1].under.append(heading(paper, "Notes and signatures", f"revision {revision}"))
            y = 0.0
        out[-1].over.append(placed(row.drawn, MARGIN, top + y))
        y += row.height
    return out


def _notes(assembly: Assembly, report: Report, wide: float) -> Iterator[_Row]:
    stand_ins = [f"* {part.label} is a stand-in: {part.stand_in}" for part in assembly.parts if part.stand_in]
    if stand_ins:
        yield from _block("Stand-ins", stand_ins, wide)
    bare = [assembly.part(part).label for part in assembly.without_plate]
    if bare:
        yield from _block("No plate yet", [", ".join(bare)], wide)
    yield from _block("Shots", [f"{shot.name}: {_facts(assembly, shot)}" for shot in report.shots], wide)
    if report.warnings:
        yield from _block("Worth a look", [warning.what for warning in report.warnings[:_MOST]], wide)
        if len(report.warnings) > _MOST:
            yield _line(f"and {len(report.warnings) - _MOST} more, which report.json lists", wide)


_MOST = 8


def _block(title: str, lines: list[str], wide: float) -> Iterator[_Row]:
    yield _Row(84.0, text(0.0, 62.0, title, SMALL, font_weight="bold"), heads=True)
    for said in lines:
        for one in wrapped(said, SMALL * 0.8, wide):
            yield _line(one, wide)


def _line(words: str, wide: float) -> _Row:
    return _Row(NOTE, text(0.0, 42.0, cut(words, SMALL * 0.8, wide), SMALL * 0.8))


def _facts(assembly: Assembly, shot: ShotReport) -> str:
    """What the panels do not show."""
    order = {0: "the layer order never changes", 1: "the layer order changes once"}.get(
        shot.order_changes, f"the layer order changes {shot.order_changes} times"
    )
    held = f"{shot.holdout_frames} of {shot.frames} frames need holdouts" if shot.holdout_frames else "no holdouts"
    fastest = next((part for part in shot.parts if part.id == shot.fastest_part), None)
    fast = (
        f"; fastest is {assembly.part(fastest.id).label}, {fastest.fastest_px:.0f} px in one frame" if fastest else ""
    )
    return f"{order}; {held}{fast}"


def _signing(tracks: Tracks, wide: float) -> Iterator[_Row]:
    if not tracks.sections:
        return
    yield _Row(84.0, text(0.0, 62.0, "Signed off, section by section", SMALL, font_weight="bold"), heads=True)
    rate = FrameRate(*tracks.frame_rate)
    for section in tracks.sections:
        yield _Row(_SIGN, _signed(section, rate, wide))


def _signed(section: FilmSection, rate: FrameRate, wide: float) -> str:
    x = [share * wide for share in _COLUMNS]
    base = _SIGN - 34.0
    span = f"{timecode(section.first, rate)} to {timecode(section.last, rate)}"
    drawn = text(x[0], base, cut(section.name, CAPTION * 0.8 * BOLD, x[1] - 20), CAPTION * 0.8, font_weight="bold")
    drawn += text(x[1], base, cut(span, FINE, x[2] - x[1] - 20), FINE, fill=QUIET)
    for at, words in ((x[2], "approved"), (x[3], "not yet")):
        drawn += element(
            "rect", x=at, y=base - _BOX + 6, width=_BOX, height=_BOX, fill="none", stroke=INK, stroke_width=3.0
        )
        drawn += text(at + _BOX + 16, base, words, FINE)
    drawn += element("line", x1=x[4], y1=base, x2=wide, y2=base, stroke=INK, stroke_width=2.0)
    drawn += text(x[4], base + 28, "name, date", FINE * 0.75, fill=QUIET)
    return drawn + element("line", x1=0.0, y1=_SIGN, x2=wide, y2=_SIGN, stroke=HAIRLINE, stroke_width=1.0)
