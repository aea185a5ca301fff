"""The layer order over time, a chart a shot: who lies before whom, and what is left out of whom.

Each part is a line; the nearest layer is on top. A line that is broken into dashes stands for frames on which a
holdout leaves out of the part what stands before it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from choreo.model.assembly import Assembly
from choreo.model.tracks import OrderSpan, ShotTracks
from choreo.picture.page.markup import count, listed, tag, words
from choreo.picture.page.timing import labels

_ROW = 22
"""px"""
_SWAP = 0.5
"""Frames on either side of a change within which the lines cross."""


def layer_chart(assembly: Assembly, shot: ShotTracks) -> str:
    """Return the chart of one shot, with the same in words below."""
    names, colours = labels(assembly), {part.id: part.colour for part in assembly.parts}
    spans = sorted(shot.masking.orders, key=lambda span: span.first)
    held = held_spans(shot)
    rows = len(spans[0].back_to_front)
    lines = "".join(_line(part, spans, held.get(part, ()), colours[part]) for part in spans[0].back_to_front)
    now = f'<line class="now" x1="0.5" x2="0.5" y1="0" y2="{rows}" data-start="{shot.start_frame}"/>'
    drawn = tag(
        "svg",
        lines + now,
        viewBox=f"0 0 {shot.frames} {rows}",
        preserveAspectRatio="none",
        height=rows * _ROW,
        role="img",
        aria_label=_summary(shot, spans),
    )
    first, last = spans[0].back_to_front[::-1], spans[-1].back_to_front[::-1]
    left = tag("ol", "".join(tag("li", words(names[part])) for part in first), class_="ranks", aria_hidden="true")
    right = "".join(tag("li", words(names[part])) for part in last) if first != last else ""
    right = tag("ol", right, class_="ranks after", aria_hidden="true") if right else ""
    chart = tag("div", left + drawn + right, class_="layers" + (" both" if right else ""))
    said = tag("summary", "The same in words") + _in_words(names, spans, held, shot.start_frame)
    return chart + tag("details", said)


Held = Mapping[str, Sequence[tuple[int, int, tuple[str, ...]]]]


def held_spans(shot: ShotTracks) -> Held:
    """Return, for each part with holdouts, stretches of frames (first, last) and who stands before it there."""
    behind: dict[str, dict[int, list[str]]] = {}
    for holdout in shot.masking.holdouts:
        for frame in range(holdout.first, holdout.last + 1):
            names = behind.setdefault(holdout.part, {}).setdefault(frame, [])
            names.extend(name for name in holdout.behind if name not in names)
    out: dict[str, list[tuple[int, int, tuple[str, ...]]]] = {}
    for part, frames in behind.items():
        runs = out.setdefault(part, [])
        for frame in sorted(frames):
            others = tuple(sorted(frames[frame]))
            if runs and runs[-1][1] == frame - 1 and runs[-1][2] == others:
                runs[-1] = (runs[-1][0], frame, others)
            else:
                runs.append((frame, frame, others))
    return out


def _line(part: str, spans: Sequence[OrderSpan], held: Sequence[tuple[int, int, tuple[str, ...]]], colour: str) -> str:
    heights = [len(span.back_to_front) - span.back_to_front.index(part) - 0.5 for span in spans]
    points = []
    for index, (span, height) in enumerate(zip(spans, heights, strict=True)):
        points.append((span.first + (_SWAP if index else 0), height))
        points.append((span.last + 1 - (_SWAP if index < len(spans) - 1 else 0), height))
    path = "M" + "L".join(f"{x:g} {y:g}" for x, y in points)
    drawn = f'<path class="under" d="{path}"/><path d="{path}" stroke="{words(colour)}"/>'
    for first, last, _ in _joined(held):
        for span, height in zip(spans, heights, strict=True):
            low, high = max(first, span.first), min(last, span.last)
            if low <= high:
                drawn += f'<path class="held" d="M{low} {height:g}L{high + 1} {height:g}"/>'
    return drawn


def _joined(held: Sequence[tuple[int, int, tuple[str, ...]]]) -> list[tuple[int, int, tuple[str, ...]]]:
    """Neighbouring stretches as one, whoever stands before the part."""
    out: list[tuple[int, int, tuple[str, ...]]] = []
    for first, last, names in held:
        if out and out[-1][1] == first - 1:
            out[-1] = (out[-1][0], last, names)
        else:
            out.append((first, last, names))
    return out


def _summary(shot: ShotTracks, spans: Sequence[OrderSpan]) -> str:
    changes = len(spans) - 1
    order = f"changes {count(changes, 'time')}" if changes else "never changes"
    frames = {f for one in shot.masking.holdouts for f in range(one.first, one.last + 1)}
    held = f"something is left out of a layer on {count(len(frames), 'frame')}" if frames else "nothing is left out"
    return f"{shot.name}: the layer order {order}; {held}."


def _in_words(names: Mapping[str, str], spans: Sequence[OrderSpan], held: Held, start: int) -> str:
    """Frames are those of the film."""
    orders = [
        f"{_frames(start + span.first, start + span.last)}, back to front: ".capitalize()
        + f"{', '.join(names[part] for part in span.back_to_front)}."
        for span in spans
    ]
    gone = [
        f"{names[part]}, {_frames(start + first, start + last)}: left out where "
        f"{listed([names[one] for one in others])} {'stands' if len(others) == 1 else 'stand'} before it."
        for part, runs in held.items()
        for first, last, others in runs
    ]
    return tag("ul", "".join(tag("li", words(line)) for line in [*orders, *gone]))


def _frames(first: int, last: int) -> str:
    return f"frame {first}" if first == last else f"frames {first} to {last}"
