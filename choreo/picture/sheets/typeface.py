"""The typeface of everything that is printed: Source Sans Pro (SIL Open Font License), from a package that holds it.

No font of the system is asked for, so every machine sets the same line.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path

FAMILY = "Source Sans Pro"
CAPITAL = 0.656
"""Height of a capital letter, in ems."""


@cache
def font_files() -> tuple[Path, Path]:
    """Return the files of the regular and the bold style."""
    folder = Path(str(files("font_source_sans_pro"))) / "files"
    return folder / "SourceSansPro-Regular.ttf", folder / "SourceSansPro-Bold.ttf"


@cache
def _known() -> frozenset[int]:
    from fontTools.ttLib import TTFont  # noqa: PLC0415

    return frozenset(TTFont(font_files()[0], lazy=True).getBestCmap())


def not_set(text: str) -> str:
    """Return the characters of a text that the typeface lacks, each once, in their order."""
    return "".join(dict.fromkeys(char for char in text if ord(char) not in _known()))
