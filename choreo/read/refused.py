"""Why a file that an assembly names cannot be used; its reader turns that into a finding with the file's name."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(eq=False)
class Refused(Exception):  # noqa: N818  (an answer, not a mistake of ours)
    """Code, sentence, remedy and reason of a finding."""

    code: str
    what: str
    remedy: str
    why: str = ""
