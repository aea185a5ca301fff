"""The page of a project that is being edited: the review page's picture and charts, without marks, always the newest.

It is empty until it is told what there is; so it can be opened before a project compiles for the first time.
"""

from __future__ import annotations

from choreo.picture.page.document import part
from choreo.picture.page.markup import tag, words
from choreo.picture.page.shell import STYLE, whole_page
from choreo.picture.page.stage import stage

SCRIPTS = ("picture.js", "player.js", "boards.js", "live.js")


def desk_html(project: str) -> str:
    """Return the page; it asks the server that it came from for everything else.

    Parameters
    ----------
    project : str
        How the project is called on the command line.

    """
    header = tag(
        "header",
        tag("p", "On the desk", class_="kicker")
        + tag("h1", words(project))
        + tag("p", "Nothing compiled yet", id="facts", class_="facts"),
    )
    news = tag(
        "p",
        tag("b", "Waiting", id="state") + tag("span", "The first compile is under way.", id="said"),
        class_="news",
        role="status",
    )
    body = (
        news
        + tag("ul", "", id="findings", class_="findings", aria_label="What stands in the way")
        + part("film", "The film", stage((1920, 1080), 1, ()), hidden=True)
        + part("sections", "The storyboard", tag("div", "", id="panels", class_="panels"))
        + part("timing", "When each part moves", tag("div", "", id="timing-body"))
        + part("layers", "Who lies before whom", tag("div", "", id="layers-body"))
        + part("numbers", "The numbers", tag("div", "", id="numbers-body"))
    )
    foot = tag("footer", tag("p", "This page comes from this machine and is told of each save. Nothing leaves it."))
    whole = header + tag("main", body) + foot
    return whole_page(f"{project}: on the desk", whole, SCRIPTS, styles=(STYLE, "live.css"), connect="'self'")
