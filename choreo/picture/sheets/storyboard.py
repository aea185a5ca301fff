"""The storyboard on sheets of paper: panels of each shot, then what there is to know, and a place to sign.

It shows the moments of the strip that a compile writes, larger: see `choreo.picture.sheets.paper` for how large.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from choreo.geometry.labels.block import LABEL_SIZE
from choreo.geometry.labels.sheet import grid_of
from choreo.geometry.solids.solid import Solid
from choreo.model.assembly import Assembly
from choreo.model.choreography import FrameRate
from choreo.model.report import Report, ShotReport
from choreo.model.tracks import FilmSection, ShotTracks, Tracks
from choreo.motion.timecode import timecode
from choreo.picture.lettering import BOLD, cut
from choreo.picture.moments import moments
from choreo.picture.palette import QUIET
from choreo.picture.panel_svg import SMALL_LABEL_SIZE, Panel, Sheet, panel_layers, sheet_of
from choreo.picture.panels import pictures
from choreo.picture.sheets.compose import Place, compose
from choreo.picture.sheets.drawing import FramePicture, SheetDrawing, placed
from choreo.picture.sheets.heading import heading
from choreo.picture.sheets.notes import note_sheets
from choreo.picture.sheets.paper import CAPTION, FINE, MARGIN, SMALL, Paper
from choreo.picture.sheets.typeface import measure
from choreo.picture.svg import text

FrameOf = Callable[[ShotTracks, int, bool], bytes | None]
"""Gives the picture of a frame, PNG with alpha, large or small; None: it is drawn from the solids."""
_LEAST_ROOM = 0.75
"""Of a strip's panel: narrower, names would find no room. Upright frames have smaller names for that."""
_FINE_WALL = 0.9
"""Units of a panel; faces and walls narrower than this are left out."""


@dataclass(frozen=True, eq=False)
class Storyboard:
    """Everything that sheets are drawn from."""

    assembly: Assembly
    solids: Mapping[str, Solid]
    """In their assembled places, mm."""
    tracks: Tracks
    report: Report
    """Of the same compile."""
    margins_px: tuple[float, float, float, float]
    """Of the safe area."""
    frame_of: FrameOf
    revision: str
    """A few digits that tell one compile from another."""

    @property
    def rate(self) -> FrameRate:
        """Of the film."""
        return FrameRate(*self.tracks.frame_rate)


def sheets_of(board: Storyboard, paper: Paper) -> list[SheetDrawing]:
    """Return all sheets, in their order; the same input gives the same sheets.

    Parameters
    ----------
    board : Storyboard
    paper : Paper

    """
    out: list[SheetDrawing] = []
    for shot, about in zip(board.tracks.shots, board.report.shots, strict=True):
        out.extend(_shot_sheets(board, shot, about, paper))
    out.extend(note_sheets(board.assembly, board.tracks, board.report, paper, board.revision))
    for index, sheet in enumerate(out, 1):
        sheet.over.append(_foot(board, sheet, index, len(out)))
    return out


def _shot_sheets(board: Storyboard, shot: ShotTracks, about: ShotReport, paper: Paper) -> list[SheetDrawing]:
    resolution = board.tracks.resolution
    chosen = moments(shot, about, board.assembly, resolution)
    large = [moment.kind == "rest" for moment in chosen]
    places = compose(large, resolution[0] / resolution[1], paper)
    widths = [_panel_width(place, whole, resolution) for place, whole in zip(places, large, strict=True)]
    fine = [_FINE_WALL * resolution[0] / width for width in widths]
    offsets = {part.id: part.offset for part in board.assembly.parts}
    seen = pictures(board.solids, shot, [moment.frame for moment in chosen], resolution, fine, offsets)
    look = sheet_of(board.assembly, about, board.solids, resolution, board.margins_px, measure)
    sheets = [_titled(board, shot, paper) for _ in range(places[-1].sheet + 1)] if places else []
    for moment, picture, place, width, whole in zip(chosen, seen, places, widths, large, strict=True):
        _draw(board, sheets[place.sheet], Panel(shot, moment, picture, width), look, place, whole=whole)
    return sheets


def _panel_width(place: Place, whole: bool, resolution: tuple[int, int]) -> float:
    """Units of a panel: as many as bring its names to `SMALL` on the sheet, as far as names still have room."""
    grid = grid_of(resolution)
    size, usual = (LABEL_SIZE, grid.large) if whole else (SMALL_LABEL_SIZE, grid.width)
    return min(max(size * place.width / SMALL, _LEAST_ROOM * usual), usual)


def _draw(board: Storyboard, on: SheetDrawing, panel: Panel, look: Sheet, place: Place, *, whole: bool) -> None:
    layers = panel_layers(panel, look)
    scale = place.width / panel.width
    png = board.frame_of(panel.shot, panel.moment.frame, whole)
    on.under.append(placed(layers.under + (layers.parts if png is None else ""), place.x, place.y, scale))
    if png is not None:
        on.pictures.append(FramePicture(place.x, place.y, place.width, place.height, png))
    on.over.append(placed(layers.over, place.x, place.y, scale))
    on.over.append(placed(_caption(board, panel, look, place, layers.left_out), place.x, place.y + place.height))


def _caption(board: Storyboard, panel: Panel, look: Sheet, place: Place, left_out: tuple[str, ...]) -> str:
    """What happens, and when: timecode, frame and section; beside it at rest, what had no room for a name."""
    moment = panel.moment
    at = panel.shot.start_frame + moment.frame
    when = f"{timecode(at, board.rate)} · frame {moment.frame}{_section(board.tracks.sections, at)}"
    drawn = text(0.0, 62.0, cut(moment.caption, CAPTION * BOLD, place.width), CAPTION, font_weight="bold")
    drawn += text(0.0, 116.0, cut(when, SMALL, place.width), SMALL, fill=QUIET)
    if left_out:
        names = "No room for: " + ", ".join(look.labels[part] for part in left_out)
        room = place.width * 0.45
        drawn += text(place.width, 116.0, cut(names, FINE, room), FINE, fill=QUIET, text_anchor="end")
    return drawn


def _section(sections: tuple[FilmSection, ...], frame: int) -> str:
    return next((f" · {one.name}" for one in sections if one.first <= frame <= one.last), "")


def _titled(board: Storyboard, shot: ShotTracks, paper: Paper) -> SheetDrawing:
    """An empty sheet of a shot, with its head."""
    sheet = SheetDrawing(paper, f"{board.assembly.name}: storyboard")
    first, last = (timecode(shot.start_frame + frame, board.rate) for frame in (0, shot.frames - 1))
    span = f"{first} to {last}, {shot.frames} frames"
    sheet.under.append(heading(paper, shot.name, span))
    return sheet


def _foot(board: Storyboard, sheet: SheetDrawing, number: int, of: int) -> str:
    paper = sheet.paper
    y = paper.height - MARGIN - 4
    said = f"sheet {number} of {of} · revision {board.revision}"
    name = cut(board.assembly.name, FINE, paper.width - 2 * MARGIN - 900)
    return text(MARGIN, y, name, FINE, fill=QUIET) + text(
        paper.width - MARGIN, y, said, FINE, fill=QUIET, text_anchor="end"
    )
