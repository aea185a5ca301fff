"""The numbers of the report, in plain words."""

from __future__ import annotations

import math
from collections.abc import Mapping

from choreo.errors import Finding
from choreo.model.assembly import Assembly
from choreo.model.choreography import FrameRate
from choreo.model.report import Report, ShotReport
from choreo.motion.plate_frames import turntable_in_words
from choreo.motion.timecode import timecode
from choreo.picture.page.markup import count, listed, tag, words
from choreo.picture.page.timing import labels


def numbers_of(assembly: Assembly, report: Report, rate: tuple[int, int]) -> str:
    """Return what a compile found, shot by shot, then the product and what is worth a second look.

    Frames are those of the film, as everywhere on the page; warnings are in the compile's own words.
    """
    names, out, start = labels(assembly), "", 0
    for shot in report.shots:
        out += tag("section", tag("h3", words(shot.name)) + _list(_shot(shot, start, names, FrameRate(*rate))))
        start += shot.frames
    out += tag("section", tag("h3", "The product") + _list(_product(assembly, report, names)))
    if report.warnings:
        warnings = "".join(_warning(finding) for finding in report.warnings)
        out += tag("section", tag("h3", "Worth a second look") + tag("ul", warnings), class_="warnings")
    return tag("div", out, class_="numbers")


def _list(lines: list[str]) -> str:
    return tag("ul", "".join(tag("li", words(line)) for line in lines))


def _shot(shot: ShotReport, start: int, names: Mapping[str, str], rate: FrameRate) -> list[str]:
    moving = sum(bool(part.moves) for part in shot.parts)
    lines = [
        f"Lasts {count(shot.frames, 'frame')}, in timecode {timecode(shot.frames, rate)}.",
        f"{moving} of {count(len(shot.parts), 'part')} {'moves' if moving == 1 else 'move'}.",
    ]
    lines += _rest(shot, names)
    changes = {0: "never changes", 1: "changes once", 2: "changes twice"}
    lines.append(f"The layer order {changes.get(shot.order_changes, f'changes {shot.order_changes} times')}.")
    if shot.holdout_frames:
        lines.append(f"On {count(shot.holdout_frames, 'frame')} something is left out of a layer, so that parts go in.")
    else:
        lines.append("No frame needs anything left out of a layer.")
    fastest = next((part for part in shot.parts if part.id == shot.fastest_part), None)
    if fastest is not None and fastest.fastest_frame is not None:
        lines.append(
            f"{names[fastest.id]} is the fastest: {_px(fastest.fastest_px)} from frame "
            f"{start + fastest.fastest_frame - 1} to frame {start + fastest.fastest_frame}, "
            f"a smear of {_px(fastest.blur_px)} under a shutter of 180 degrees."
        )
    lines += _camera(shot)
    if shot.middle is not None and shot.middle.wide:
        lines.append(f"Assembled, the product stands {shot.middle.aside} the middle of the frame.")
    lines += _home(shot, start, names) + _taken_over(shot, start, names)
    return lines + _photographs(shot, start, names)


def _rest(shot: ShotReport, names: Mapping[str, str]) -> list[str]:
    lines = []
    if shot.least_gap_px is not None:
        lines.append(f"At rest no two parts come nearer to each other than {_px(shot.least_gap_px)}.")
    shown = [(part.visible, part.id) for part in shot.parts if part.visible is not None]
    if shown:
        least, part = min(shown)
        whole = "Every part shows all of its outline at rest."
        lines.append(whole if least >= 0.9995 else f"{names[part]} shows least of itself at rest: {100 * least:.1f} %.")
    if shot.crossings is not None:
        crosses = "crosses" if shot.crossings == 1 else "cross"
        ways = f"{count(shot.crossings, 'pair')} of parts {crosses}" if shot.crossings else "no two parts cross"
        lines.append(f"On the way out {ways} on the screen.")
    return lines


def _camera(shot: ShotReport) -> list[str]:
    where = "" if shot.distance_mm is None else f", from {shot.distance_mm:.0f} mm away"
    return [f"The camera shows {shot.px_per_mm:.1f} px a mm on the first frame{where}."]


def _home(shot: ShotReport, start: int, names: Mapping[str, str]) -> list[str]:
    settled = [(part.settled_frame, part.id) for part in shot.parts if part.settled_frame is not None]
    if not settled:
        return []
    frame, part = max(settled)
    return [f"From frame {start + frame} on all parts stand where the hero still has them; {names[part]} is the last."]


def _taken_over(shot: ShotReport, start: int, names: Mapping[str, str]) -> list[str]:
    lines = []
    for at, who in shot.taken_over:
        lines.append(f"The still takes over {listed([names[part] for part in who])} from frame {start + at} on.")
    for at, who in shot.kept:
        lines.append(f"The still stays over {listed([names[part] for part in who])} until frame {start + at}.")
    if lines:
        off = max(part.still.off_px for part in shot.parts if part.still is not None)
        home = f"within {math.ceil(off * 100 - 1e-6) / 100:g} px of home" if off > 0 else "home"
        lines.append(f"Every part is {home} while the still lies over it.")
    return lines


def _photographs(shot: ShotReport, start: int, names: Mapping[str, str]) -> list[str]:
    lines = []
    for use in shot.plates:
        if use.magnification > 1.005:
            lines.append(
                f"The photograph of {names[use.part]} is enlarged to {100 * use.magnification:.0f} % on frame "
                f"{start + use.magnification_frame}."
            )
        if use.step_degrees is not None:
            said = turntable_in_words(use.step_degrees, use.repeated, len(use.plate_frame))
            lines.append(f"{names[use.part]}: {said}.")
        if use.speed_percent is not None:
            lines.append(f"{names[use.part]}: its film runs at {use.speed_percent:.1f} % of its speed.")
    return lines


def _product(assembly: Assembly, report: Report, names: Mapping[str, str]) -> list[str]:
    order = ", ".join(names[part] for part in report.removal_order)
    lines = [f"It comes apart in this order: {order}; {names[report.body]} stays."]
    lines += [f"{part.label} is a stand-in: {part.stand_in}" for part in assembly.parts if part.stand_in is not None]
    return lines


def _warning(finding: Finding) -> str:
    more = "".join(tag("p", words(text), class_="soft") for text in (finding.why, finding.remedy) if text)
    return tag("li", tag("p", words(finding.what)) + more)


def _px(value: float) -> str:
    """At most one decimal, rounded down from a hundredth above: a gap must not look wider than it is."""
    return f"{int(value * 10 + 0.1) / 10:g} px"
