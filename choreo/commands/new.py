"""``choreo new``: a project from a folder of plates."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments, Command, Said
from choreo.commands.laying import lay
from choreo.errors import Finding, wrong_input

if TYPE_CHECKING:
    from choreo.model.new_plates import FoundPlate, Hint, PlacedPlate

_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
_SCALE = re.compile(r"(?P<part>[^=]+)=(?P<number>\d+(?:\.\d+)?)\s*(?P<unit>mm|cm|m|in)")
_PLACE = re.compile(
    r"(?P<part>[^=]+)=\s*(?P<x>-?\d{1,6}(?:\.\d+)?)\s*,\s*(?P<y>-?\d{1,6}(?:\.\d+)?)\s*"
    r"(?:,\s*(?P<width>\d{1,6}(?:\.\d+)?)\s*)?"
)
_SAME_WIDTH = 0.99
"""Less than this share of a part's width is another width."""
_FILES = ("assembly.json", "choreography.toml")


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Write a project into a folder of plates, one keyed picture a part (PNG, TIFF or OpenEXR). File names, sorted, "
        "are the order from back to front: 1_shell.png, 2_cell.png, 3_lens.png. Nothing is overwritten."
    )
    parser.add_argument("folder", type=Path, metavar="FOLDER_OF_PLATES")
    parser.add_argument(
        "--scale", required=True, metavar="PART=WIDTH", help='how wide one part is in reality, e.g. "shell=82mm"'
    )
    parser.add_argument("--hero", metavar="FILE", help="the hero still, a picture in the folder")
    parser.add_argument(
        "--place", metavar="PART=X,Y[,WIDTH]", action="append", default=[],
        help="where the middle of a part lies on the hero still, and how wide it is there, px; for plates of another "
        "frame that cannot be found on it (without a still: in the frame of the part with the known width)",
    )  # fmt: skip
    parser.add_argument("--name", metavar="TEXT", help="the product's name (default: the folder's)")
    parser.add_argument(
        "--screen", choices=("green", "blue"), help="plates without a matte stand before this screen: key them roughly"
    )


def _run(arguments: Arguments) -> Said:
    from choreo.model.new_plates import PlacedHero  # noqa: PLC0415
    from choreo.passes.place_plates import named_plate, place_plates  # noqa: PLC0415
    from choreo.read.plate_folder import check_hero_file, read_plate_folder  # noqa: PLC0415
    from choreo.write.files import write_all  # noqa: PLC0415
    from choreo.write.new_project import assembly_text, choreography_text  # noqa: PLC0415

    folder: Path = arguments.folder
    part, width = _scale(arguments.scale)
    hints = dict(_hint(text) for text in arguments.place)
    _refuse_overwriting(folder)
    still = None if arguments.hero is None else check_hero_file(folder, arguments.hero)
    plates, notes = read_plate_folder(folder, apart_from=still, screen=arguments.screen or "")
    for name, option in [(part, "--scale"), *((name, "--place") for name in hints)]:
        named_plate(plates, name, option)
    stack = lay(folder, plates, part, still, hints)
    placed, px_per_mm, pivot = place_plates(stack.plates, part, width, stack.places)
    hero = PlacedHero(still, px_per_mm, pivot) if still else None
    name = arguments.name or folder.resolve().name
    files = {
        "assembly.json": assembly_text(name, placed, hero),
        "choreography.toml": choreography_text(name, [plate.id for plate in placed], hero=hero is not None),
    }
    write_all(folder, dict(files))
    notes = (*notes, *stack.said, *_over_pieces(named_plate(plates, part, "--scale")))
    data = {
        "ok": True,
        "files": [str(folder / file) for file in files],
        "px_per_mm": px_per_mm,
        "parts": [plate.id for plate in placed],
        "order": stack.order or "File names, sorted.",
        "ordered_by_names": [list(pair) for pair in stack.ordered.named] if stack.ordered else [],
        "warnings": [note.as_json() for note in notes],
    }
    return Said([*_words(folder, placed, px_per_mm, stack.order), *(note.as_text() for note in notes)], data)


def _hint(text: str) -> tuple[str, Hint]:
    from choreo.model.new_plates import Hint  # noqa: PLC0415

    match = _PLACE.fullmatch(text.strip())
    width = float(match["width"]) if match and match["width"] else None
    if match is None or width == 0:
        raise wrong_input(
            Finding(
                "bad-place",
                "--place says where a part lies, and this does not.",
                remedy='Write a plate, "=", and where its middle lies on the hero still, px from the top-left corner, '
                'then how wide it is there: --place "lens=812,430,96".',
            )
        )
    return match["part"].strip(), Hint((float(match["x"]), float(match["y"])), width)


def _scale(text: str) -> tuple[str, float]:
    match = _SCALE.fullmatch(text.strip())
    width = float(match["number"]) * _MM[match["unit"]] if match else 0.0
    if match is None or not 0 < width <= 1e6:
        raise wrong_input(
            Finding(
                "bad-scale",
                "--scale says how wide one part is in reality, and this does not.",
                remedy='Write a plate, "=", and its width with a unit (mm, cm, m, in): --scale "shell=82mm".',
            )
        )
    return match["part"].strip(), width


def _over_pieces(known: FoundPlate) -> list[Finding]:
    """A warning where the width that is known is one over several pieces: some of them may be dust."""
    import shapely  # noqa: PLC0415

    largest = max(known.polygons, key=lambda piece: float(piece.area))
    left, _, right, _ = shapely.bounds(largest).tolist()
    whole = known.bounds[2] - known.bounds[0]
    if right - left >= _SAME_WIDTH * whole:
        return []
    return [
        Finding(
            "scale-over-pieces",
            f"{known.file}: the width given with --scale is taken over all {len(known.polygons)} pieces of this matte, "
            f"{whole:.0f} px; the largest of them is {right - left:.0f} px wide.",
            remedy="Nothing, if all of them are the part; else take the others out of the matte, and start anew.",
            severity="warning",
        )
    ]


def _refuse_overwriting(folder: Path) -> None:
    there = [name for name in _FILES if (folder / name).exists()]
    if there:
        raise wrong_input(
            *[
                Finding(
                    "already-there",
                    f"{name} is in this folder already, and nothing is overwritten.",
                    str(folder / name),
                    remedy="Move it away to start anew, or edit it by hand. For a part that came late: run new on a "
                    "copy of the pictures alone, and take its part and its plate over from there.",
                )
                for name in there
            ]
        )


def _words(folder: Path, placed: tuple[PlacedPlate, ...], px_per_mm: float, order: str) -> list[str]:
    lines = [f"{len(placed)} parts at {px_per_mm:.4g} px per mm, back to front:"]
    for number, plate in enumerate(placed, start=1):
        kind = f", keyed roughly from {plate.keyed}: planning only" if plate.keyed else ""
        kind += "" if plate.frames is None else f", sequence {plate.frames[0]} to {plate.frames[1]}"
        lines.append(f"  {number:2d}  {plate.label} [{plate.id}] from {plate.file}{kind}")
    lines += ["Outlines lie within 0.5 px of where the mattes pass a half, unless a warning says otherwise."]
    lines += [order] if order else []
    lines += ["Written:", *(f"  {folder / name}" for name in _FILES)]
    return [*lines, f"Next: choreo compile {folder}"]


NEW = Command("new", "write a project from a folder of plates", _add, _run)
