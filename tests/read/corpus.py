"""The broken files of tests/invalid, each with what must be said about it.

Beside ``x.json`` or ``x.toml`` stands ``x.json.expect``: one line a finding, ``code place line``, ``-`` for none.
The lines were marked in the broken file when it was written, not taken from the reader.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from choreo.errors import ChoreoError, Finding
from choreo.model.tracks import Key, Masking, OrderSpan, PartTrack, ShotTracks, Tracks
from choreo.read.project import read_assembly, read_project
from choreo.write.tracks_json import tracks_text

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
        (folder / "approved.tracks.json").write_text(tracks_text(approved_tracks()), encoding="utf-8")
        read, path = read_project, folder
    with pytest.raises(ChoreoError) as caught:
        read(path)
    return caught.value


def approved_tracks() -> Tracks:
    """Return tracks of the choreography that the broken ones were made from, and of a shot that was cut since."""
    shots = tuple(_still_shot(name, frames) for name, frames in (("burst", 96), ("return", 48), ("gone", 8)))
    return Tracks("sha256:0", "sha256:0", (24000, 1001), (1920, 1080), shots)


def _still_shot(name: str, frames: int) -> ShotTracks:
    zeros, ones = np.zeros((frames, 3)), np.ones(frames)
    samples = (zeros, zeros[:, :2], ones, ones, (None,) * frames)
    parts = tuple(PartTrack(part, zeros[:1], (Key(0, 0.0),), *samples) for part in ("shell", "lens", "dropped"))
    masking = Masking((OrderSpan(0, frames - 1, ("shell", "lens", "dropped")),), ())
    return ShotTracks(name, 0, frames, np.zeros((frames, 3, 4)), parts, zeros[:, 0], masking)


def summary(finding: Finding) -> Expected:
    return (finding.code, finding.place or "-", str(finding.line or "-"))
