"""The storyboard strip: the whole film on one sheet, drawn from the tracks alone.

Each shot has small panels at the moments that matter and one large panel where its parts are at rest, named
and numbered. Two shots fill a sheet of A4 landscape; its unit is a 2088th of the sheet's width.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from choreo.geometry.solids.solid import Solid
from choreo.model.assembly import Assembly
from choreo.model.choreography import FrameRate
from choreo.model.report import Report, ShotReport
from choreo.model.tracks import ShotTracks, Tracks
from choreo.motion.timecode import timecode
from choreo.picture.flow import INNER, MARGIN, SHEET, flow, grid_of
from choreo.picture.legend import legend_items
from choreo.picture.lettering import BOLD, cut, wrapped
from choreo.picture.moments import moments
from choreo.picture.palette import HAIRLINE, INK, QUIET
from choreo.picture.panel_svg import Panel, Sheet, panel_svg, sheet_of
from choreo.picture.panels import pictures
from choreo.picture.svg import element, moved_to, sheet_document, text

_TITLE, _META, _SHOT, _CAPTION, _SMALL = 40.0, 20.0, 26.0, 18.5, 16.0
_HEAD_ROOM, _SHOT_ROOM, _SHOT_GAP = 100.0, 48.0, 16.0
_TITLE_STEP, _NOTE_STEP = 48.0, 22.0
_A4 = (297.0, 210.0)
"""mm, ISO 216."""
_SHORT_DIGEST = 8
_NOTES_FROM = 600.0
"""Width from which a panel has room for what it does not show."""
_FINE_WALL = 0.9
"""Faces and walls narrower than this on the sheet are left out."""


def strip_svg(
    assembly: Assembly,
    solids: Mapping[str, Solid],
    tracks: Tracks,
    report: Report,
    margins_px: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0),
) -> str:
    """Return the storyboard strip as one standalone SVG.

    The same input gives the same bytes. Nothing is loaded from elsewhere and nothing runs in it.

    Parameters
    ----------
    assembly : Assembly
        Names, colours and stand-ins of the parts.
    solids : mapping of part id to Solid
        In their assembled places, mm.
    tracks : Tracks
        What is drawn.
    report : Report
        Of the same compile.
    margins_px : (left, top, right, bottom)
        Of the safe area, px; nothing is drawn of it where all are 0.

    """
    film = _Film(assembly, solids, tracks, report, margins_px)
    head, lower = film.head()
    body, top = [head], MARGIN + _HEAD_ROOM + lower
    for shot, about in zip(tracks.shots, report.shots, strict=True):
        drawn, height = film.shot(shot, about)
        body.append(element("g", drawn, transform=moved_to(MARGIN, top)))
        top += height + _SHOT_GAP
    foot, height = film.foot()
    body.append(element("g", foot, transform=moved_to(MARGIN, top)))
    whole = top + height + MARGIN * 0.5
    # One sheet of A4 landscape where all of it fits on one without turning small; else as many as it takes.
    wide = min(_A4[0], _A4[1] * SHEET / whole) if whole <= SHEET else _A4[0]
    return sheet_document("".join(body), f"{assembly.name}: storyboard strip", whole, wide)


@dataclass(frozen=True, eq=False)
class _Film:
    """Everything a strip is drawn from."""

    assembly: Assembly
    solids: Mapping[str, Solid]
    tracks: Tracks
    report: Report
    margins_px: tuple[float, float, float, float]

    @property
    def rate(self) -> FrameRate:
        return FrameRate(*self.tracks.frame_rate)

    def head(self) -> tuple[str, float]:
        """Name of the product, and what the film is technically; and how much lower a long name pushes the rest."""
        frames = sum(shot.frames for shot in self.tracks.shots)
        width_px, height_px = self.tracks.resolution
        facts = (
            _rate(self.rate),
            f"{width_px} × {height_px} px",
            f"{_count(frames, 'frame')}, {timecode(frames, self.rate)}",
            _count(len(self.assembly.parts), "part"),
        )
        titles = wrapped(self.assembly.name, _TITLE * BOLD, INNER)
        lower = (len(titles) - 1) * _TITLE_STEP
        drawn = "".join(
            text(MARGIN, MARGIN + 34 + row * _TITLE_STEP, words, _TITLE, font_weight="bold")
            for row, words in enumerate(titles)
        )
        return drawn + text(MARGIN, MARGIN + 72 + lower, " · ".join(facts), _META, fill=QUIET), lower

    def shot(self, shot: ShotTracks, about: ShotReport) -> tuple[str, float]:
        """Return one shot with its top-left corner at the origin, and its height."""
        moving = moments(shot, about, self.assembly, self.tracks.resolution)
        resolution = self.tracks.resolution
        grid = grid_of(resolution)
        rests = [index for index, moment in enumerate(moving) if moment.kind == "rest"]
        cells, height = flow([index in rests[:1] for index in range(len(moving))], grid)
        fine = [_FINE_WALL * resolution[0] / cell.width for cell in cells]
        offsets = {part.id: part.offset for part in self.assembly.parts}
        seen = pictures(self.solids, shot, [moment.frame for moment in moving], resolution, fine, offsets)
        sheet = sheet_of(self.assembly, about, self.solids, resolution, self.margins_px)
        drawn = [_shot_head(shot, self.rate)]
        for moment, picture, cell in zip(moving, seen, cells, strict=True):
            panel = Panel(shot, moment, picture, cell.width)
            place = moved_to(cell.x, _SHOT_ROOM + cell.y)
            drawn.append(element("g", self._panel(panel, sheet, about), transform=place, class_="panel"))
        return "".join(drawn), _SHOT_ROOM + height

    def _panel(self, panel: Panel, sheet: Sheet, about: ShotReport) -> str:
        """A panel, what happens in it, and when."""
        drawn, left_out = panel_svg(panel, sheet)
        below = panel.height(sheet)
        frame = panel.moment.frame
        code = timecode(panel.shot.start_frame + frame, self.rate)
        caption = cut(panel.moment.caption, _CAPTION * BOLD, panel.width)
        lines = [
            text(0.0, below + 24, caption, _CAPTION, font_weight="bold"),
            text(0.0, below + 45, f"{code} · frame {frame}", _SMALL, fill=QUIET),
        ]
        notes = _facts(about, sheet) if panel.moment.kind == "rest" and panel.width > _NOTES_FROM else []
        if left_out:
            notes.append(
                "Not labelled, hidden or for lack of room: " + ", ".join(sheet.labels[part] for part in left_out)
            )
        lines += [
            text(0.0, below + 45 + step * _NOTE_STEP, cut(note, _SMALL, panel.width), _SMALL, fill=QUIET)
            for step, note in enumerate(notes, 1)
        ]
        return drawn + "".join(lines)

    def foot(self) -> tuple[str, float]:
        """Return stand-ins, parts without a plate, legend and sources, and their height."""
        notes = [
            line
            for part in self.assembly.parts
            if part.stand_in is not None
            for line in wrapped(f"* {part.label} is a stand-in: {part.stand_in}", _SMALL, INNER)
        ]
        drawn = [text(0.0, 10 + index * _NOTE_STEP, line, _SMALL) for index, line in enumerate(notes)]
        bare = [self.assembly.part(part).label for part in self.assembly.without_plate]
        quiet = wrapped("No plate yet: " + ", ".join(bare), _SMALL, INNER) if bare else []
        drawn += [
            text(0.0, 10 + index * _NOTE_STEP, line, _SMALL, fill=QUIET) for index, line in enumerate(quiet, len(notes))
        ]
        top = (len(notes) + len(quiet)) * _NOTE_STEP + 12
        drawn.append(element("line", x1=0.0, y1=top, x2=INNER, y2=top, stroke=HAIRLINE, stroke_width=1.0))
        drawn.append(element("g", self._legend(), transform=moved_to(0.0, top + 28)))
        return "".join(drawn), top + 34

    def _legend(self) -> str:
        digests = (self.tracks.assembly_digest, self.tracks.choreography_digest)
        short = [digest.partition(":")[2][:_SHORT_DIGEST] or digest[:_SHORT_DIGEST] for digest in digests]
        sources = f"assembly {short[0]} · choreography {short[1]}"
        items = legend_items(safe_area=any(self.margins_px))
        return items + text(INNER, 0.0, sources, _SMALL, fill=QUIET, text_anchor="end")


def _facts(about: ShotReport, sheet: Sheet) -> list[str]:
    """What the panels do not show, in a line or two."""
    changes = {0: "Layer order never changes", 1: "Layer order changes once", 2: "Layer order changes twice"}
    order = changes.get(about.order_changes, f"Layer order changes {about.order_changes} times")
    held = f"holdouts on {_count(about.holdout_frames, 'frame')}" if about.holdout_frames else "no holdouts"
    fastest = next((part for part in about.parts if part.id == about.fastest_part), None)
    if fastest is None:
        return [f"{order}, {held}"]
    return [f"{order}, {held}", f"Fastest: {sheet.labels[fastest.id]}, {fastest.fastest_px:.0f} px in one frame"]


def _shot_head(shot: ShotTracks, rate: FrameRate) -> str:
    """Name and span of a shot above a rule."""
    first, last = timecode(shot.start_frame, rate), timecode(shot.start_frame + shot.frames - 1, rate)
    span = f"{first} to {last}, {_count(shot.frames, 'frame')}"
    name = cut(shot.name, _SHOT * BOLD, INNER / 2)
    return (
        element("line", x1=0.0, y1=0.0, x2=INNER, y2=0.0, stroke=INK, stroke_width=1.6)
        + text(0.0, 31.0, name, _SHOT, font_weight="bold")
        + text(INNER, 30.0, span, _META * 0.9, fill=QUIET, text_anchor="end")
    )


def _rate(rate: FrameRate) -> str:
    if rate.denominator == 1:
        return f"{_count(rate.numerator, 'frame')} a second"
    return f"{rate.numerator}/{rate.denominator} frames a second"


def _count(number_of: int, noun: str) -> str:
    return f"{number_of} {noun}" if number_of == 1 else f"{number_of} {noun}s"
