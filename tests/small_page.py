"""The review page of a small film of three sections: a tin with a lid and a knob, invented."""

from __future__ import annotations

from dataclasses import replace

from small_film import MARGINS, film

from choreo.model.tracks import FilmSection
from choreo.picture.page.document import PageFilm, page_html

SECTIONS = (FilmSection("apart", 0, 12), FilmSection("rest", 13, 25), FilmSection("together", 26, 49))
CONTENTS = {one.name: f"sha256:{number:064x}" for number, one in enumerate(SECTIONS)}


def page_film(**changes) -> PageFilm:
    assembly, solids, tracks, report = film()
    tracks = replace(tracks, sections=SECTIONS)
    return replace(PageFilm(assembly, solids, tracks, report, CONTENTS, MARGINS), **changes)


def page_of_tin() -> str:
    return page_html(page_film())
