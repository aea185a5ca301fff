"""The page: one HTML file that loads nothing and sends nothing.

Script and style stand inside it and are named by their digests in the content policy, so nothing else can run, not
even from a label or a note that was written to look like markup. The same input gives the same bytes.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files

from choreo.geometry.solid import Solid
from choreo.model.assembly import Assembly
from choreo.model.choreography import FrameRate
from choreo.model.report import Report
from choreo.model.tracks import Tracks
from choreo.motion.timecode import timecode
from choreo.picture.page.film_data import film_data
from choreo.picture.page.layers import layer_chart
from choreo.picture.page.markup import count, data_block, tag, words
from choreo.picture.page.numbers import numbers_of
from choreo.picture.page.panels import figures
from choreo.picture.page.plates import SmallPlate
from choreo.picture.page.sections import for_review, review_data
from choreo.picture.page.timing import timing_chart

SCRIPTS = ("picture.js", "player.js", "marks.js", "start.js")
STYLE = "page.css"


@dataclass(frozen=True, eq=False)
class PageFilm:
    """Everything that a page is made from."""

    assembly: Assembly
    solids: Mapping[str, Solid]
    """In their assembled places, mm."""
    tracks: Tracks
    """With sections."""
    report: Report
    """Of the same compile."""
    contents: Mapping[str, str]
    """Section name to the digest of what it shows; it goes into the director's file."""
    margins_px: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    """Of the safe area: left, top, right, bottom."""
    plates: Mapping[str, Mapping[str, SmallPlate]] = field(default_factory=dict)
    """By shot name and part id; parts without one are drawn as shaded solids."""
    hero: SmallPlate | None = None


def page_html(film: PageFilm) -> str:
    """Return the page as one standalone HTML file."""
    script, style = _script(), _read(STYLE)
    policy = (
        f"default-src 'none'; script-src '{_digest(script)}'; style-src '{_digest(style)}'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    name = film.assembly.name
    head = (
        tag("meta", charset="utf-8")
        + tag("meta", http_equiv="Content-Security-Policy", content=policy)
        + tag("meta", name="viewport", content="width=device-width, initial-scale=1")
        + tag("meta", name="color-scheme", content="light dark")
        + tag("meta", name="referrer", content="no-referrer")
        + tag("title", words(f"{name}: review"))
        + f"<style>{style}</style>"
    )
    data = data_block("film-data", film_data(film.assembly, film.solids, film.tracks, film.plates, film.hero))
    data += data_block("review-data", review_data(name, film.tracks, film.contents))
    body = _header(film) + tag("main", _main(film)) + _footer(film.tracks) + data + f"<script>{script}</script>"
    return f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>{body}</body></html>\n'


def _header(film: PageFilm) -> str:
    tracks, rate = film.tracks, FrameRate(*film.tracks.frame_rate)
    frames = sum(shot.frames for shot in tracks.shots)
    per = f"{rate.numerator}" if rate.denominator == 1 else f"{rate.numerator}/{rate.denominator}"
    facts = [
        f"{count(frames, 'frame')}, {timecode(frames, rate)}",
        f"{per} frames a second",
        f"{tracks.resolution[0]} × {tracks.resolution[1]} px",
        count(len(film.assembly.parts), "part"),
    ]
    links = "".join(tag("li", tag("a", text, href=f"#{name}")) for name, text in _PLACES)
    return tag(
        "header",
        tag("p", "For review, before the shoot", class_="kicker")
        + tag("h1", words(film.assembly.name))
        + tag("p", words(" · ".join(facts)), class_="facts")
        + tag("nav", tag("ul", links), aria_label="On this page"),
    )


_PLACES = (
    ("film", "The film"),
    ("sections", "Your marks"),
    ("timing", "Timing"),
    ("layers", "Layers"),
    ("numbers", "Numbers"),
    ("send", "Send back"),
)


def _main(film: PageFilm) -> str:
    tracks = film.tracks
    panels = figures(film.assembly, film.solids, tracks, film.report, film.margins_px)
    layers = "".join(
        tag("section", tag("h3", words(shot.name)) + layer_chart(film.assembly, shot)) for shot in tracks.shots
    )
    return (
        _part("film", "The film", _stage(tracks), hidden=True)
        + _part("sections", "Look, and leave a mark", for_review(tracks, panels))
        + _part("timing", "When each part moves", timing_chart(film.assembly, tracks, film.report))
        + _part("layers", "Who lies before whom", tag("p", _LAYERS, class_="lead") + layers)
        + _part("numbers", "The numbers", numbers_of(film.assembly, film.report, tracks.frame_rate))
        + _part("send", "Send it back", _SEND)
    )


def _part(name: str, title: str, content: str, *, hidden: bool = False) -> str:
    heading = tag("h2", title, id=f"{name}-title", class_="unseen" if hidden else None)
    return tag("section", heading + content, id=name, aria_labelledby=f"{name}-title")


def _stage(tracks: Tracks) -> str:
    width, height = tracks.resolution
    frames = sum(shot.frames for shot in tracks.shots)
    canvas = tag("canvas", id="picture", width=width, height=height, role="img", aria_label="The moving picture")
    repeat = tag("option", "the whole film", value="film", selected=True)
    repeat += "".join(tag("option", words(one.name), value=index) for index, one in enumerate(tracks.sections))
    repeat += tag("option", "nothing", value="none")
    speeds = "".join(
        tag("option", text, value=value, selected=value == "1")
        for value, text in (
            ("0.1", "a tenth"),
            ("0.25", "a quarter"),
            ("0.5", "half"),
            ("1", "as shot"),
            ("2", "double"),
        )
    )
    buttons = (
        tag("button", "Play", type="button", id="play", class_="main")
        + tag("button", "One frame back", type="button", id="back")
        + tag("button", "One frame on", type="button", id="on")
    )
    choices = tag("label", "Speed " + tag("select", speeds, id="speed"))
    choices += tag("label", "Repeat " + tag("select", repeat, id="repeat"))
    keep = tag("button", "Save this frame as a picture", type="button", id="keep", class_="quiet")
    read_out = (
        tag("span", "Frame " + tag("b", "0", id="number")) + tag("span", "", id="code") + tag("span", "", id="where")
    )
    slider = tag(
        "input", type="range", id="frame", min=0, max=frames - 1, value=0, step=1, aria_label="Frame of the film"
    )
    return (
        tag("div", canvas, class_="stage")
        + tag("div", tag("p", read_out, class_="read-out", aria_hidden="true") + keep, class_="under")
        + slider
        + tag("div", buttons + choices, class_="controls")
        + tag("p", "", id="heard", class_="unseen", aria_live="polite")
        + tag("noscript", tag("p", "The film needs a browser that runs the script inside this file."))
    )


_LAYERS = (
    "The nearest layer is on top. Where a line is dashed, what stands before the part is left out of it, so that the "
    "part goes in and not over."
)
_SEND = (
    tag(
        "p",
        "Nothing on this page is sent by itself. Save your marks as a small file, and send that file back.",
        class_="lead",
    )
    + tag("p", "", id="count", class_="count")
    + tag(
        "div",
        tag("label", "Your name " + tag("input", type="text", id="name", maxlength=200, autocomplete="name"))
        + tag("button", "Save my marks", type="button", id="save", class_="main"),
        class_="sending",
    )
    + tag("p", "", id="status", role="status")
    + tag(
        "div",
        tag("label", "Go on from marks saved earlier ", for_="open")
        + tag("input", type="file", id="open", accept=".json,application/json"),
        class_="earlier",
    )
)


def _footer(tracks: Tracks) -> str:
    short = [digest.partition(":")[2][:8] for digest in (tracks.assembly_digest, tracks.choreography_digest)]
    said = f"Made from assembly {short[0]} and choreography {short[1]}. This file loads nothing and sends nothing."
    return tag("footer", tag("p", words(said)))


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


@cache
def _script() -> str:
    inside = "\n".join(_read(name) for name in SCRIPTS)
    return f'"use strict";\n(() => {{\n{inside}}})();\n'


def _read(name: str) -> str:
    return (files("choreo.picture.page") / name).read_text(encoding="utf-8")
