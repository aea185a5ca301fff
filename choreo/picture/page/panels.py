"""The storyboard's panels on the page: the same moments as on the strip, each with a way to it in the film.

Parts are drawn as solids here; where the film shows photographs, the page's script lays the frame in their place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from choreo.geometry.solids.solid import Solid
from choreo.model.assembly import Assembly
from choreo.model.choreography import FrameRate
from choreo.model.report import Report, ShotReport
from choreo.model.tracks import FilmSection, ShotTracks, Tracks
from choreo.motion.timecode import timecode
from choreo.picture.moments import Moment, moments
from choreo.picture.page.markup import tag, words
from choreo.picture.palette import INK
from choreo.picture.panel_svg import Panel, Sheet, panel_layers, sheet_of
from choreo.picture.panels import pictures
from choreo.picture.svg import FONTS, element, number

_WIDE, _NARROW = 1040.0, 620.0
"""Units of a panel at rest, which has labels, and of any other."""
_FINE_WALL = 0.9
"""Units; faces and walls narrower than this are left out."""


@dataclass(frozen=True)
class Figure:
    """One panel."""

    frame: int
    """Of the film."""
    markup: str


def figures(
    assembly: Assembly,
    solids: Mapping[str, Solid],
    tracks: Tracks,
    report: Report,
    margins_px: tuple[float, float, float, float],
) -> list[Figure]:
    """Return all panels of the film, ascending; every section has one at least.

    Parameters
    ----------
    assembly, solids, tracks, report, margins_px
        See `choreo.picture.strip.strip_svg`.

    """
    found: list[Figure] = []
    for shot, about in zip(tracks.shots, report.shots, strict=True):
        chosen = list(moments(shot, about, assembly, tracks.resolution))
        chosen += _for_bare_sections(shot, chosen, tracks.sections)
        chosen.sort(key=lambda moment: moment.frame)
        found += _drawn(shot, about, chosen, assembly, solids, tracks, margins_px)
    return found


def _for_bare_sections(shot: ShotTracks, chosen: list[Moment], sections: tuple[FilmSection, ...]) -> list[Moment]:
    """A moment in the middle of each section that has none and begins in this shot."""
    taken = [shot.start_frame + moment.frame for moment in chosen]
    out = []
    for section in sections:
        inside = shot.start_frame <= section.first < shot.start_frame + shot.frames
        if inside and not any(section.first <= frame <= section.last for frame in taken):
            last = min(section.last, shot.start_frame + shot.frames - 1)
            out.append(Moment((section.first + last) // 2 - shot.start_frame, f"In {section.name}", "moving"))
    return out


def _drawn(
    shot: ShotTracks,
    about: ShotReport,
    chosen: list[Moment],
    assembly: Assembly,
    solids: Mapping[str, Solid],
    tracks: Tracks,
    margins_px: tuple[float, float, float, float],
) -> list[Figure]:
    sheet = sheet_of(assembly, about, solids, tracks.resolution, margins_px)
    widths = [_WIDE if moment.kind == "rest" else _NARROW for moment in chosen]
    fine = [_FINE_WALL * tracks.resolution[0] / width for width in widths]
    offsets = {part.id: part.offset for part in assembly.parts}
    seen = pictures(solids, shot, [moment.frame for moment in chosen], tracks.resolution, fine, offsets)
    rate = FrameRate(*tracks.frame_rate)
    return [
        _figure(Panel(shot, moment, picture, width), sheet, rate)
        for moment, picture, width in zip(chosen, seen, widths, strict=True)
    ]


def _figure(panel: Panel, sheet: Sheet, rate: FrameRate) -> Figure:
    layers = panel_layers(panel, sheet)
    frame = panel.shot.start_frame + panel.moment.frame
    drawn = layers.under + element("g", layers.parts, class_="parts") + layers.over
    picture = tag(
        "svg",
        element("g", drawn, font_family=FONTS, fill=INK),
        viewBox=f"-1 -1 {number(panel.width + 2)} {number(panel.height(sheet) + 2)}",
        role="img",
        aria_label=panel.moment.caption,
    )
    code = timecode(frame, rate)
    go = tag(
        "button",
        tag("span", words(code)) + " · " + tag("span", f"frame {frame}"),
        type="button",
        data_goes=frame,
        aria_label=f"Show frame {frame}, {code}",
    )
    caption = tag("p", words(panel.moment.caption), class_="says")
    if layers.left_out:
        names = ", ".join(sheet.labels[part] for part in layers.left_out)
        caption += tag("p", words(f"Not labelled, hidden or for lack of room: {names}"), class_="soft")
    wide = "wide" if panel.moment.kind == "rest" else None
    if wide:
        # On a phone names have room only where the panel is wider than the screen.
        go += tag("button", "Larger, with names", type="button", class_="larger", aria_pressed="false")
    named = f"Panel: {panel.moment.caption}" if wide else None  # it can be moved sideways, so it needs a name
    drawn = tag("div", picture, class_="drawn", role="group" if wide else None, aria_label=named)
    return Figure(frame, tag("figure", drawn + tag("figcaption", caption + go), class_=wide, data_frame=frame))
