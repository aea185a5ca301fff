"""The timing chart: one row a part, how far out it is over the whole film, and what it waited for.

The height of a row's band is the part's progress, so the slope of its edge is the easing itself. Where a move starts
later or earlier than was asked for, a dotted line runs from the frame that was asked for to the one it got.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np

from choreo.geometry.labels.lettering import cut
from choreo.model.assembly import Assembly, Part
from choreo.model.report import MoveReport, Report, ShotReport
from choreo.model.tracks import Key, PartTrack, Tracks
from choreo.motion.law import evaluate_keys
from choreo.picture.page.markup import tag, words
from choreo.picture.svg import element, number

_HEIGHT, _TOP, _FOOT = 30.0, 6.0, 27.0
"""Of a row, of its band at rest, and of its base line; units of the row, whose width is one a frame."""
_STEP = 0.5
"""Frames between the points of a moving edge."""
_LONGEST_EASING = 44
_AXIS_TYPE, _LEAST_WIDTH = 13.0, 380.0
"""px: size of the sections' names, and how wide a chart is at least where they are shown."""


def timing_chart(assembly: Assembly, tracks: Tracks, report: Report) -> str:
    """Return the chart as a table with one row a part, in the order in which they come apart, the body last."""
    frames = sum(shot.frames for shot in tracks.shots)
    order = [*report.removal_order, *(part for part in assembly.ids if part not in report.removal_order)]
    over = tag("th", f"How far out it is{_axis(tracks, frames)}", scope="col", class_="over")
    head = tag("th", "Part", scope="col") + over + tag("th", "Moves on frames", scope="col")
    rows = [_row(assembly.part(part), tracks, report, frames) for part in order]
    return tag(
        "table",
        tag("caption", words(_CAPTION)) + tag("thead", tag("tr", head)) + tag("tbody", "".join(rows)),
        class_="timing",
    )


_CAPTION = (
    "High is at rest, low is assembled; the edge between is the easing. A dotted line leads from the frame that was "
    "asked for to the frame on which the part really starts."
)


def _axis(tracks: Tracks, frames: int) -> str:
    """Sections over the chart; each name is cut to what its section has room for."""
    drawn = ""
    for section in tracks.sections:
        share = (section.last + 1 - section.first) / frames
        left = f"{100 * section.first / frames:.3f}%"
        name = words(cut(section.name, _AXIS_TYPE, share * _LEAST_WIDTH - 10))
        drawn += f'<line x1="{left}" x2="{left}" y1="0" y2="20"/><text x="{left}" dx="6" y="14">{name}</text>'
    return f'<svg class="axis" width="100%" height="20" aria-hidden="true">{drawn}</svg>'


def _row(part: Part, tracks: Tracks, report: Report, frames: int) -> str:
    bands, waits, said, notes = "", "", [], []
    for shot, about in zip(tracks.shots, report.shots, strict=True):
        track = next(one for one in shot.parts if one.id == part.id)
        bands += _band(track, shot.start_frame, shot.frames)
        easings = {key.frame: key.easing for key in track.keys}
        for move in _moves(about, part.id):
            start = shot.start_frame + move.start
            said.append(_when(start, shot.start_frame + move.arrive, easings.get(move.start)))
            if move.start != move.wish:
                waits += _wait(shot.start_frame + move.wish, start)
                notes.append(_why(start, move))
    drawn = tag(
        "svg",
        bands + waits + _cuts(tracks) + '<line class="now" x1="0.5" x2="0.5" y1="0" y2="30" data-start="0"/>',
        viewBox=f"0 0 {frames} {number(_HEIGHT)}",
        preserveAspectRatio="none",
        aria_hidden="true",
        class_="row",
    )
    chart = drawn + "".join(tag("p", words(note), class_="waits") for note in notes)
    when = "".join(tag("p", one) for one in said) or tag("p", "stays where it is", class_="soft")
    label = swatch(part.colour) + tag("span", words(part.label), class_="part-name")
    return tag("tr", tag("th", label, scope="row") + tag("td", chart, class_="chart") + tag("td", when, class_="when"))


def swatch(colour: str) -> str:
    """Return a small square of a part's colour; it only helps the eye, the name stands beside it."""
    square = element("rect", x=0.5, y=0.5, width=11.0, height=11.0, rx=2.0, fill=colour)
    return tag("svg", square, class_="swatch", viewBox="0 0 12 12", aria_hidden="true")


def _moves(about: ShotReport, part: str) -> tuple[MoveReport, ...]:
    return next((one.moves for one in about.parts if one.id == part), ())


def _when(start: int, arrive: int, easing: str | None) -> str:
    text = easing or "linear"
    shown = text if len(text) <= _LONGEST_EASING else f"{text.partition('(')[0]}(…)"
    return tag("span", f"{start} to {arrive}", class_="from") + tag("span", words(shown), class_="easing")


def _why(start: int, move: MoveReport) -> str:
    by = abs(move.start - move.wish)
    shift = f"{by} frame{'s' * (by != 1)} {'later' if move.start > move.wish else 'earlier'} than asked for"
    return f"Frame {start}: {move.reason.rstrip('.') or shift}."


def _band(track: PartTrack, start: int, frames: int) -> str:
    """Progress over one shot as a filled band."""
    times = _times(track.keys, frames)
    heights = np.clip(evaluate_keys(track.keys, times), -0.2, 1.25)
    deep = _FOOT - (_FOOT - _TOP) * heights
    edge = " ".join(f"{_short(start + time + 0.5)},{_short(float(y))}" for time, y in zip(times, deep, strict=True))
    left, right = _short(start + times[0] + 0.5), _short(start + times[-1] + 0.5)
    area = f"{left},{number(_FOOT)} {edge} {right},{number(_FOOT)}"
    return f'<polygon points="{area}"/><polyline points="{edge}"/>'


def _times(keys: tuple[Key, ...], frames: int) -> list[float]:
    """Both ends of the shot and, closely, what lies between keys of different value."""
    times = {-0.5, frames - 0.5}
    for one, two in pairwise(keys):
        if one.value != two.value:
            times.update(np.arange(one.frame, two.frame, _STEP).tolist())
        times.update((float(one.frame), float(two.frame)))
    return sorted(time for time in times if -0.5 <= time <= frames - 0.5)


def _wait(wish: int, start: int) -> str:
    middle = (_TOP + _FOOT) / 2
    return (
        f'<line class="wait" x1="{wish + 0.5}" x2="{start + 0.5}" y1="{middle}" y2="{middle}"/>'
        f'<line class="wish" x1="{wish + 0.5}" x2="{wish + 0.5}" y1="{middle - 5}" y2="{middle + 5}"/>'
    )


def _cuts(tracks: Tracks) -> str:
    return "".join(
        f'<line class="cut" x1="{one.first}" x2="{one.first}" y1="0" y2="30"/>' for one in tracks.sections[1:]
    )


def _short(value: float) -> str:
    return f"{round(value, 2):g}"


def labels(assembly: Assembly) -> Mapping[str, str]:
    """Return labels by part id."""
    return {part.id: part.label for part in assembly.parts}
