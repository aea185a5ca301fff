"""The typeface of everything that is printed: Source Sans Pro (SIL Open Font License), from a package that holds it.

No font of the system is asked for, so every machine sets the same line.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path

FAMILY = "Source Sans Pro"


@cache
def font_files() -> tuple[Path, Path]:
    """Return the files of the regular and the bold style."""
    folder = Path(str(files("font_source_sans_pro"))) / "files"
    return folder / "SourceSansPro-Regular.ttf", folder / "SourceSansPro-Bold.ttf"


@cache
def _advances() -> dict[int, float]:
    """How far each character leads on, in ems, without kerning; by code point."""
    from fontTools.ttLib import TTFont  # noqa: PLC0415

    font = TTFont(font_files()[0], lazy=True)
    widths, em = font["hmtx"].metrics, font["head"].unitsPerEm
    return {code: widths[name][0] / em for code, name in font.getBestCmap().items()}


def measure(text: str, size: float) -> float:
    """Return how wide a line of regular type is; characters that are not set count as an em."""
    known = _advances()
    return size * sum(known.get(ord(char), 1.0) for char in text)


def not_set(text: str) -> str:
    """Return the characters of a text that the typeface lacks, each once, in their order."""
    return "".join(dict.fromkeys(char for char in text if ord(char) not in _advances()))
