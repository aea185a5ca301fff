"""The moving picture on a page, and what it is played, stepped and repeated by: native controls, in plain words."""

from __future__ import annotations

from collections.abc import Sequence

from choreo.model.tracks import FilmSection
from choreo.picture.page.markup import tag, words


def stage(size: tuple[int, int], frames: int, sections: Sequence[FilmSection]) -> str:
    """Return the moving picture with what it is played by.

    Parameters
    ----------
    size : (width, height)
        Of the film, px.
    frames : int
        Of the film.
    sections : sequence of FilmSection

    """
    width, height = size
    canvas = tag("canvas", id="picture", width=width, height=height, role="img", aria_label="The moving picture")
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
    choices += tag("label", "Repeat " + tag("select", repeat_choices(sections), id="repeat"))
    keep = tag("button", "Save this frame as a picture", type="button", id="keep", class_="quiet")
    read_out = (
        tag("span", "Frame " + tag("b", "0", id="number")) + tag("span", "", id="code") + tag("span", "", id="where")
    )
    slider = tag(
        "input", type="range", id="frame", min=0, max=frames - 1, value=0, step=1, aria_label="Frame of the film"
    )
    return (
        tag("div", canvas, class_="stage")
        + tag("p", read_out, class_="read-out", aria_hidden="true")
        + slider
        + tag("div", buttons + choices + keep, class_="controls")
        + tag("p", "", id="heard", class_="unseen", aria_live="polite")
        + tag("noscript", tag("p", "The film needs a browser that runs the script inside this file."))
    )


def repeat_choices(sections: Sequence[FilmSection]) -> str:
    """Return what can be played again and again: the film, each section, or nothing."""
    whole = tag("option", "the whole film", value="film", selected=True)
    each = "".join(tag("option", words(one.name), value=index) for index, one in enumerate(sections))
    return whole + each + tag("option", "nothing", value="none")
