"""The broken files of tests/invalid, each with what must be said about it.

Beside ``x.json`` or ``x.toml`` stands ``x.json.expect``: one line a finding, ``code place line``, ``-`` for none.
The lines were marked in the broken file when it was written, not taken from the reader.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from choreo.errors import ChoreoError, Finding
from choreo.read.project import read_assembly, read_project

INVALID = Path(__file__).parent.parent / "invalid"
GOOD = Path(__file__).parent / "good"
Expected = tuple[str, str, str]


def cases() -> list[Path]:
    return sorted(path.with_suffix("") for path in INVALID.glob("*.expect"))


def expected(case: Path) -> list[Expected]:
    lines = case.with_name(case.name + ".expect").read_text(encoding="utf-8").splitlines()
    return [tuple(line.split(" ")) for line in lines]


def error_of(case: Path, folder: Path) -> ChoreoError:
    """Return what reading a case raises; a choreography is read beside a good assembly in `folder`."""
    read, path = read_assembly, case
    if case.suffix == ".toml":
        shutil.copy(GOOD / "assembly.json", folder)
        shutil.copy(case, folder / "choreography.toml")
        read, path = read_project, folder
    with pytest.raises(ChoreoError) as caught:
        read(path)
    return caught.value


def summary(finding: Finding) -> Expected:
    return (finding.code, finding.place or "-", str(finding.line or "-"))
