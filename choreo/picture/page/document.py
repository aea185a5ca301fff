"""The page: one HTML file that loads nothing and sends nothing.

Script and style stand inside it and are named by their digests in the content policy, so nothing else can run, not
even from a label or a note that was written to look like markup. The same input gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from choreo.geometry.solids.solid import Solid
from choreo.model.assembly import Assembly
from choreo.model.choreography import FrameRate
from choreo.model.report import Report
from choreo.model.tracks import Tracks
from choreo.picture.page.film_data import film_data
from choreo.picture.page.layers import layer_chart
from choreo.picture.page.markup import count, data_block, tag, words
from choreo.picture.page.numbers import numbers_of
from choreo.picture.page.panels import figures
from choreo.picture.page.plates import SmallPlate
from choreo.picture.page.sections import for_review, review_data
from choreo.picture.page.shell import whole_page
from choreo.picture.page.stage import repeat_choices, stage
from choreo.picture.page.timing import timing_chart

SCRIPTS = ("picture.js", "player.js", "boards.js", "marks.js", "start.js")


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
    said: Mapping[str, str] = field(default_factory=dict)
    """Section name to what was said of it before, in words; sections of which nothing was said are not in it."""


def page_html(film: PageFilm) -> str:
    """Return the page as one standalone HTML file."""
    name = film.assembly.name
    data = data_block("film-data", film_data(film.assembly, film.solids, film.tracks, film.plates, film.hero))
    data += data_block("review-data", review_data(name, film.tracks, film.contents))
    body = _header(film) + tag("main", _main(film)) + _footer(film.tracks) + data
    return whole_page(f"{name}: review", body, SCRIPTS)


def facts_of(film: PageFilm) -> str:
    """Return what the film is, technically, on one line."""
    tracks, rate = film.tracks, FrameRate(*film.tracks.frame_rate)
    frames = sum(shot.frames for shot in tracks.shots)
    per = f"{rate.numerator}" if rate.denominator == 1 else f"{rate.numerator / rate.denominator:.3f}"
    facts = [
        f"{frames * rate.denominator / rate.numerator:.1f} seconds",
        f"{count(frames, 'frame')} at {per} a second",
        f"{tracks.resolution[0]} × {tracks.resolution[1]} px",
        count(len(film.assembly.parts), "part"),
    ]
    return " · ".join(facts)


def page_pieces(film: PageFilm) -> dict[str, str]:
    """Return what stands below the moving picture, without marks, by the id of its place."""
    tracks = film.tracks
    panels = figures(film.assembly, film.solids, tracks, film.report, film.margins_px)
    return {
        "facts": words(facts_of(film)),
        "panels": "".join(figure.markup for figure in panels),
        "timing-body": timing_chart(film.assembly, tracks, film.report),
        "layers-body": layers_of(film),
        "numbers-body": numbers_of(film.assembly, film.report, tracks.frame_rate),
        "repeat": repeat_choices(tracks.sections),
    }


def _header(film: PageFilm) -> str:
    return tag(
        "header",
        tag("p", "For review, before the shoot", class_="kicker")
        + tag("h1", words(film.assembly.name))
        + tag("p", words(facts_of(film)), class_="facts")
        + tag(
            "nav",
            tag("ol", _links(_STEPS), class_="steps") + tag("ul", _links(_MORE), class_="more"),
            aria_label="On this page",
        ),
    )


def _links(places: tuple[tuple[str, str], ...]) -> str:
    return "".join(tag("li", tag("a", text, href=f"#{name}")) for name, text in places)


_STEPS = (("film", "Watch the film"), ("sections", "Mark each section"), ("send", "Send your marks back"))
"""What is asked of who opens the page."""
_MORE = (("timing", "Timing"), ("layers", "Layers"), ("numbers", "Numbers"))
"""For who wants to know more."""


def _main(film: PageFilm) -> str:
    tracks = film.tracks
    panels = figures(film.assembly, film.solids, tracks, film.report, film.margins_px)
    frames = sum(shot.frames for shot in tracks.shots)
    return (
        part("film", "The film", stage(tracks.resolution, frames, tracks.sections), hidden=True)
        + part("sections", "Mark each section", for_review(tracks, panels, film.said))
        + part("send", "Send your marks back", _SEND)
        + part("timing", "When each part moves", timing_chart(film.assembly, tracks, film.report))
        + part("layers", "Who lies before whom", layers_of(film))
        + part("numbers", "The numbers", numbers_of(film.assembly, film.report, tracks.frame_rate))
    )


def layers_of(film: PageFilm) -> str:
    """Return the charts of all shots, and how they are read."""
    charts = (tag("h3", words(shot.name)) + layer_chart(film.assembly, shot) for shot in film.tracks.shots)
    return tag("p", _LAYERS, class_="lead") + "".join(tag("section", chart) for chart in charts)


def part(name: str, title: str, content: str, *, hidden: bool = False) -> str:
    """Return a section of a page under its heading."""
    heading = tag("h2", title, id=f"{name}-title", class_="unseen" if hidden else None)
    return tag("section", heading + content, id=name, aria_labelledby=f"{name}-title")


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
