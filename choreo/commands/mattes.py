"""``choreo mattes``: how much of each pixel shows each part, one sequence a part and one with ID mattes."""

from __future__ import annotations

import argparse

from choreo.commands import Arguments, Command, Said
from choreo.commands.picturing import pictured
from choreo.commands.sequencing import NAMES, add_sequence_arguments, sequence_folder, write_sequences


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
        "--ranks", type=int, choices=range(2, 33, 2), default=6, metavar="N",
        help="how many parts a pixel of the ID mattes can name, an even number; those that show least are left out "
        "(default: 6, the specification's)",
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
    done = write_sequences(arguments, ready, draw, folder)
    patterns = draw.patterns
    return Said(
        [*ready.words, *done, "Sequences:", *(f"  {folder / pattern}" for pattern in patterns.values())],
        {
            "ok": True,
            "out": str(folder),
            "sequences": {part: str(folder / pattern) for part, pattern in patterns.items()},
            "warnings": [warning.as_json() for warning in ready.scene.warnings],
        },
    )


MATTES = Command("mattes", "write how much of each pixel shows each part, and ID mattes", _add, _run)
