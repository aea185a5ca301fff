"""``choreo compare``: in what two compiles differ."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments, Command, Said

if TYPE_CHECKING:
    from choreo.model.tracks import Tracks


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Say which shots, parts and frames of two compiles differ, and by how much. OLD and NEW are tracks.json files, "
        "or folders that hold one."
    )
    parser.add_argument("old", type=Path, metavar="OLD")
    parser.add_argument("new", type=Path, metavar="NEW")


def _run(arguments: Arguments) -> Said:
    from choreo.review.compare import compare  # noqa: PLC0415
    from choreo.review.compare_words import comparison_json, comparison_words  # noqa: PLC0415

    comparison = compare(_read(arguments.old), _read(arguments.new))
    return Said(comparison_words(comparison), {"ok": True, **comparison_json(comparison)})


def _read(path: Path) -> Tracks:
    from choreo.read.paths import is_folder  # noqa: PLC0415
    from choreo.read.source import read_source  # noqa: PLC0415
    from choreo.read.tracks_json import read_tracks  # noqa: PLC0415

    source = read_source(path / "tracks.json" if is_folder(path) else path, "json")
    return read_tracks(source.text, source.shown)


COMPARE = Command("compare", "say in what two compiles differ", _add, _run)
