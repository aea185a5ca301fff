"""``choreo mattes``: how much of each pixel shows each part, one sequence a part and one with ID mattes."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments, Command, Said
from choreo.commands.picturing import Pictured, pictured
from choreo.commands.sequencing import NAMES, add_sequence_arguments, sequence_folder, write_sequences

if TYPE_CHECKING:
    from choreo.errors import Finding
    from choreo.frames.mattes import MatteFiles

_MOST_RANKS = 32


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Write mattes: how much of each pixel shows each part in the film's picture, motion blur, masks and the hero "
        "still over it counted in. They sum to the picture's alpha. One sequence a part, grey (OpenEXR: channel Y, "
        "half floats; PNG: proportional to coverage, no curve), and one sequence _id of OpenEXR with ID mattes by the "
        "open Cryptomatte specification (names, numbers and manifest as CryptoObject, 32-bit floats). "
        f"{NAMES}"
    )
    add_sequence_arguments(parser, "mattes")
    parser.add_argument(
        "--only", choices=("parts", "id"), help="only the sequences of single parts, or only the one with ID mattes"
    )
    parser.add_argument(
        "--ranks", type=int, choices=range(2, _MOST_RANKS + 1, 2), default=6, metavar="N",
        help="how many parts a pixel of the ID mattes can name, an even number; those that show least are left out, "
        "and a warning says so (default: 6, the specification's)",
    )  # fmt: skip


def _run(arguments: Arguments) -> Said:
    from choreo.frames.mattes import MatteFiles  # noqa: PLC0415
    from choreo.frames.sequences import pictured_parts  # noqa: PLC0415
    from choreo.write.id_mattes import require_different  # noqa: PLC0415

    ready = pictured(arguments)
    draw = MatteFiles(
        pictured_parts(ready.scene),
        arguments.kind,
        arguments.first_number,
        arguments.ranks,
        singly=arguments.only != "id",
        by_id=arguments.only != "parts",
    )
    if draw.by_id:
        require_different(draw.parts)
    folder = sequence_folder(arguments, ready, "mattes")
    done = write_sequences(arguments, ready, draw, folder, "mattes")
    patterns = draw.patterns
    missing = _not_named(ready, draw, folder) if draw.by_id else ()
    told = [*ready.words, *done, *(warning.as_text() for warning in missing)]
    return Said(
        [*told, "Sequences:", *(f"  {folder / pattern}" for pattern in patterns.values())],
        {
            "ok": True,
            "out": str(folder),
            "sequences": {part: str(folder / pattern) for part, pattern in patterns.items()},
            "warnings": [warning.as_json() for warning in (*ready.scene.warnings, *missing)],
        },
    )


def _not_named(ready: Pictured, draw: MatteFiles, folder: Path) -> tuple[Finding, ...]:
    """A warning if pixels show more parts than ID mattes have ranks for."""
    from choreo.errors import Finding  # noqa: PLC0415
    from choreo.frames.mattes import ID, left_out  # noqa: PLC0415

    places = zip(ready.range.frames, ready.frames(), strict=True)
    name = draw.id_numbering.name
    found = left_out((at, folder / name(ID, ready.scene.shot(shot), frame)) for at, (shot, frame) in places)
    if found is None:
        return ()
    frames, more = len(found.frames), found.most > _MOST_RANKS
    enough = min(found.most + found.most % 2, _MOST_RANKS)
    return (
        Finding(
            "ids-left-out",
            f"On {frames} frame{'' if frames == 1 else 's'}, the first of them {found.frames[0]} of the film, a pixel "
            f"shows more parts than the ID mattes have ranks for: up to {found.most}, with {draw.ranks} ranks.",
            why=f"Those that show least are not in them: up to {100 * found.share:.1f} % of a pixel.",
            remedy=f"Use --ranks {enough}{', and for the rest the mattes of single parts' if more else ''}.",
            severity="warning",
        ),
    )


MATTES = Command("mattes", "write how much of each pixel shows each part, and ID mattes", _add, _run)
