"""A page of HTML that loads nothing from elsewhere: what stands around its body.

Script and style stand inside it and are named by their digests in the content policy, so nothing else can run, not
even from a label or a note that was written to look like markup.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from importlib.resources import files

from choreo.picture.page.markup import tag, words

STYLE = "page.css"


def whole_page(
    title: str, body: str, scripts: Sequence[str], *, styles: Sequence[str] = (STYLE,), connect: str = ""
) -> str:
    """Return a page.

    Parameters
    ----------
    title : str
    body : str
        Markup.
    scripts, styles : sequence of str
        Files beside this one; run in this order, as one.
    connect : str
        Where the script may connect to, as a content policy says it; nowhere if left out.

    """
    inside, style = "\n".join(map(_read, scripts)), "\n".join(map(_read, styles))
    script = f'"use strict";\n(() => {{\n{inside}}})();\n'
    policy = (
        f"default-src 'none'; script-src '{_digest(script)}'; style-src '{_digest(style)}'; img-src data:; "
        + (f"connect-src {connect}; " if connect else "")
        + "base-uri 'none'; form-action 'none'"
    )
    head = (
        tag("meta", charset="utf-8")
        + tag("meta", http_equiv="Content-Security-Policy", content=policy)
        + tag("meta", name="viewport", content="width=device-width, initial-scale=1")
        + tag("meta", name="color-scheme", content="light dark")
        + tag("meta", name="referrer", content="no-referrer")
        + tag("title", words(title))
        + f"<style>{style}</style>"
    )
    whole = body + f"<script>{script}</script>"
    return f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>{whole}</body></html>\n'


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _read(name: str) -> str:
    return (files("choreo.picture.page") / name).read_text(encoding="utf-8")
