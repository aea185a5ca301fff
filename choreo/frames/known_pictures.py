"""Digests of frames that have been looked at, kept in the build folder: so that nothing is drawn twice to be compared.

It is a memory only. What it does not know is drawn again, and it knows nothing of pictures of other code.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path

from choreo.errors import ChoreoError
from choreo.read.file_bytes import read_bytes
from choreo.read.paths import is_folder
from choreo.read.refused import Refused
from choreo.write.files import write_all

KNOWN_FILE = "pictures.json"
_FORMAT = ("choreo/pictures", 1)
_MOST = 50_000
"""Frames that are remembered."""
_MOST_BYTES = 2**24
_SHORT = re.compile("[0-9a-f]{12}")


def read_known(folder: Path, drawing: str) -> dict[str, str]:
    """Return pictures of frames by what they are made of, as the present code draws them; none where none are known."""
    try:
        content = json.loads(read_bytes(folder / KNOWN_FILE, _MOST_BYTES))
        if (content["format"], content["version"], content["drawn_with"]) != (*_FORMAT, drawing):
            return {}
        return {made: seen for made, seen in content["pictures"].items() if _is_short(made) and _is_short(seen)}
    except (Refused, ValueError, TypeError, LookupError, AttributeError, RecursionError):
        return {}


def write_known(folder: Path, drawing: str, pictures: Mapping[str, str]) -> None:
    """Keep them, the last ones if there are too many. Where there is no such folder, or it takes nothing, none are."""
    kept = dict(list(pictures.items())[-_MOST:])
    text = json.dumps({"format": _FORMAT[0], "version": _FORMAT[1], "drawn_with": drawing, "pictures": kept}, indent=1)
    if is_folder(folder):
        try:
            write_all(folder, {KNOWN_FILE: f"{text}\n"})
        except ChoreoError:
            return


def _is_short(digest: object) -> bool:
    return isinstance(digest, str) and _SHORT.fullmatch(digest) is not None
