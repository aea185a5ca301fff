"""``choreo compare``: in what two compiles differ, in words and as a picture."""

from __future__ import annotations

import argparse
from pathlib import Path

from choreo.commands import Arguments, Command, Said
from choreo.commands.shared import Progress


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Say which sections, shots, parts and frames of two compiles differ, and by how much. OLD and NEW are "
        "projects, tracks.json files, or folders that hold one. Colours, shapes and plates count as well where the "
        "assemblies of both are there."
    )
    parser.add_argument("old", type=Path, metavar="OLD")
    parser.add_argument("new", type=Path, metavar="NEW")
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--picture",
        type=Path,
        metavar="FILE.svg",
        help="also draw old and new where they differ most, beside and on each other",
    )
    where.add_argument("--out", type=Path, metavar="DIR", help="the same, as DIR/compare.svg")


def _run(arguments: Arguments) -> Said:
    from choreo.commands.compared import contents_of, picture_of, read_pair  # noqa: PLC0415
    from choreo.review.compare import compare  # noqa: PLC0415
    from choreo.review.compare_words import comparison_json, comparison_words  # noqa: PLC0415
    from choreo.write.files import write_all  # noqa: PLC0415

    with Progress(arguments.json) as progress:
        old, new = read_pair(arguments.old, arguments.new, progress)
        comparison = compare(old.tracks, new.tracks, contents_of(old, new))
        words, files = comparison_words(comparison), []
        if comparison.shots:
            words.append("Frames are counted in each shot, from 0.")
        path = arguments.picture or (arguments.out / "compare.svg" if arguments.out else None)
        picture = None if path is None else picture_of(old, new, comparison)
    if path is not None and picture is not None:
        write_all(path.parent, {path.name: picture})
        files = [str(path)]
        words += ["Written:", f"  {path}"]
    elif path is not None:
        words.append("No picture was written: there is no frame to be drawn that differs.")
    return Said(words, {"ok": True, **comparison_json(comparison), "files": files})


COMPARE = Command("compare", "say in what two compiles differ", _add, _run)
