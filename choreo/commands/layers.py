"""``choreo layers``: one sequence a part, placed and masked, to be stacked in one order throughout."""

from __future__ import annotations

import argparse

from choreo.commands import Arguments, Command, Said
from choreo.commands.picturing import pictured
from choreo.commands.sequencing import NAMES, add_sequence_arguments, sequence_folder, write_sequences


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Write one sequence of pictures a part, already placed, masked and blurred by its motion. Stacked back to "
        "front by plain over, in linear light, in the one order that order.json and order.txt say, they are the film's "
        "picture at every frame: where the true order is another, the masks see to it. The hero still is the layer on "
        "top, _hero, with its opacity in it. "
        "OpenEXR: linear light, multiplied by alpha, half floats; only the part's rectangle is stored. "
        "PNG: sRGB codes, not multiplied by alpha; decode them to linear light before stacking. "
        f"Compared in codes of 8 bits, the stack is the picture to within one, as far as it can be seen. {NAMES}"
    )
    add_sequence_arguments(parser, "layers")


def _run(arguments: Arguments) -> Said:
    from choreo.frames.layers import LayerFiles  # noqa: PLC0415
    from choreo.frames.sequences import constant_order, pictured_parts  # noqa: PLC0415
    from choreo.picture.render.exposure import HERO  # noqa: PLC0415
    from choreo.write.files import write_all  # noqa: PLC0415
    from choreo.write.layer_order import order_json, order_text  # noqa: PLC0415

    ready = pictured(arguments)
    hero = (HERO,) if HERO in pictured_parts(ready.scene) else ()
    draw = LayerFiles((*constant_order(ready.film.tracks), *hero), arguments.kind, arguments.first_number)
    folder = sequence_folder(arguments, ready, "layers")
    done = write_sequences(arguments, ready, draw, folder, "layers")
    patterns = {part: draw.numbering.pattern(part) for part in draw.order}
    told = ready.scene.pixels, ready.film.tracks, draw.first_number, arguments.kind
    write_all(folder, {"order.json": order_json(patterns, *told), "order.txt": order_text(patterns, *told)})
    listed = [f"  {folder / pattern}" for pattern in patterns.values()]
    return Said(
        [
            *ready.words,
            *done,
            "Sequences, back to front:",
            *listed,
            f"The order is in {folder / 'order.json'} and order.txt.",
        ],
        {
            "ok": True,
            "out": str(folder),
            "order": str(folder / "order.json"),
            "back_to_front": list(draw.order),
            "sequences": {part: str(folder / pattern) for part, pattern in patterns.items()},
            "warnings": [warning.as_json() for warning in ready.scene.warnings],
        },
    )


LAYERS = Command("layers", "write a sequence a part, placed and masked, to be stacked in one order", _add, _run)
