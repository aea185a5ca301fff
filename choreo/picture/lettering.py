"""Text on a picture: what `geometry.lettering` measures and cuts, and how it is written into XML."""

from __future__ import annotations

from xml.sax.saxutils import escape

from choreo.geometry.lettering import BOLD, ELLIPSIS, clean, cut, width, wrapped

__all__ = ["BOLD", "ELLIPSIS", "clean", "cut", "escaped", "width", "wrapped"]


def escaped(text: str) -> str:
    """Return clean text that means nothing but itself in XML, in an attribute as well."""
    return escape(clean(text), {'"': "&quot;", "'": "&#39;"})
