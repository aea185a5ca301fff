"""Text on a picture: what `geometry.labels.lettering` measures and cuts, and how it is written into XML."""

from __future__ import annotations

from html import escape

from choreo.geometry.labels.lettering import BOLD, ELLIPSIS, clean, cut, width, wrapped

__all__ = ["BOLD", "ELLIPSIS", "clean", "cut", "escaped", "width", "wrapped"]


def escaped(text: str) -> str:
    """Return clean text that means nothing but itself in XML, in an attribute as well."""
    # Not by the XML library's own function: it brings all that it takes to read from a network.
    return escape(clean(text), quote=False).replace('"', "&quot;").replace("'", "&#39;")
