"""What is marked: each section with its panels, a mark and a note, and what the director's file says about it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from choreo.model.choreography import FrameRate
from choreo.model.tracks import FilmSection, Tracks
from choreo.motion.timecode import timecode
from choreo.picture.page.markup import count, tag, words
from choreo.picture.page.panels import Figure

VERDICTS = (("none", "No mark"), ("approved", "Approved"), ("not-yet", "Not yet"))
"""As the director's file has them, and as the page says them."""


def for_review(tracks: Tracks, panels: Sequence[Figure], said: Mapping[str, str]) -> str:
    """Return all sections of the film, each with what was said of it before."""
    rate = FrameRate(*tracks.frame_rate)
    return "".join(_section(index, one, panels, rate, said.get(one.name)) for index, one in enumerate(tracks.sections))


def review_data(project: str, tracks: Tracks, contents: Mapping[str, str]) -> dict[str, Any]:
    """Return what the page needs to write a director's file."""
    return {
        "project": project,
        "file": _file_name(project),
        "source": {"assembly": tracks.assembly_digest, "choreography": tracks.choreography_digest},
        "sections": [
            {"name": one.name, "from": one.first, "to": one.last, "content": contents[one.name]}
            for one in tracks.sections
        ],
    }


def _file_name(project: str) -> str:
    """A name that every system takes, from a name that may hold anything."""
    plain = re.sub(r"[^a-z0-9]+", "-", project.lower()).strip("-")[:60].strip("-")
    return plain or "film"


def _section(index: int, section: FilmSection, panels: Sequence[Figure], rate: FrameRate, said: str | None) -> str:
    first, last = timecode(section.first, rate), timecode(section.last, rate)
    frames = count(section.last + 1 - section.first, "frame")
    span = f"{first} to {last}, frames {section.first} to {section.last}, {frames}"
    shown = [figure.markup for figure in panels if section.first <= figure.frame <= section.last]
    play = tag("button", f"Play {words(section.name)}", type="button", data_plays=index)
    head = tag("div", tag("h3", words(section.name)) + tag("p", words(span), class_="span") + play, class_="head")
    before = tag("p", words(f"So far: {said}."), class_="so-far") if said else ""
    panels_shown = tag("div", "".join(shown), class_="panels")
    return tag("article", head + before + panels_shown + _mark(index, section), data_section=index)


def _mark(index: int, section: FilmSection) -> str:
    radios = "".join(
        tag(
            "label",
            tag("input", type="radio", name=f"mark-{index}", value=value, checked=value == "none") + tag("span", text),
            class_=f"mark {value}",
        )
        for value, text in VERDICTS
    )
    choice = tag("fieldset", tag("legend", f"Your mark for {words(section.name)}") + radios)
    note = tag(
        "label",
        tag("span", f"Note on {words(section.name)}") + tag("textarea", rows=3, maxlength=4000),
        class_="note",
    )
    # A text area prints only what it has room for: on paper the note stands below its label as a paragraph.
    noting = tag("div", note + tag("p", class_="printed-note"))
    return tag("div", choice + noting, class_="marking")
