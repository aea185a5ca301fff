"""Plates and the hero still: which part, which files, which frames."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from choreo.model.assembly import Hero, Plate, Turntable, ViewAngle
from choreo.motion.sequence_runs import runs_in_words
from choreo.motion.timecode import parse_rate
from choreo.read.names import note_unknown
from choreo.read.notes import Notes, clipped
from choreo.read.paths import check_path, exists, is_sequence, numbered
from choreo.read.place import Place
from choreo.read.values import note_rate, note_zero, unit

_LONGEST_SEQUENCE = 100_000
"""Files that are looked for; no turntable has so many."""


def check_plates(notes: Notes, plates: Sequence[Any], ids: tuple[str, ...] | None, folder: Path) -> None:
    """Note plates of unknown parts, two for one view, sequences that do not add up, and files out of reach.

    Parameters
    ----------
    notes : Notes
        Of the assembly.
    plates : sequence
        As parsed; those that the schema refuses are passed over.
    ids : tuple of str or None
        All part ids, where they are known.
    folder : Path
        The folder of the assembly.

    """
    seen: dict[tuple[str, float, float], int] = {}
    for index, plate in enumerate(plates):
        place: Place = ("plates", index)
        if not notes.sound(*place):
            continue
        if ids is not None:
            note_unknown(notes, (*place, "part"), plate["part"], ids)
        view = _view(plate)
        first = seen.setdefault((plate["part"], view.azimuth, view.elevation), index)
        if first != index:
            what = f"`{clipped(plate['part'])}` has a plate from this view already, at /plates/{first}."
            notes.add("repeated-plate", place, what, remedy="Keep one, or give the view from which each was shot.")
        _check_sequence(notes, place, plate)
        _check_file(notes, folder, (*place, "file"), plate["file"], plate.get("frames"), plate.get("turntable"))


def check_hero(notes: Notes, value: dict[str, Any], folder: Path) -> None:
    """Note a hero still that is out of reach or no single picture."""
    if "hero" not in value or not notes.sound("hero"):
        return
    file = value["hero"]["file"]
    if "#" in file:
        what = "The hero still is one picture, not a sequence."
        notes.add("not-a-sequence", ("hero", "file"), what, remedy="Name one picture, without #.")
    else:
        _check_file(notes, folder, ("hero", "file"), file, None)


def _check_sequence(notes: Notes, place: Place, plate: dict[str, Any]) -> None:
    if "frames" not in plate:
        for key in ("frame_rate", "turntable"):
            if key in plate:
                what = f"`{key}` is given, but the plate is one picture."
                notes.add("misplaced-key", (*place, key), what, remedy="Add `frames`, or drop this key.")
        if "#" in plate["file"]:
            what = "The file is a numbered sequence, but `frames` is missing."
            notes.add("not-a-sequence", (*place, "file"), what, remedy='Add e.g. "frames": [1, 180].')
        return
    first, last = plate["frames"]
    if last < first:
        what = f"`frames` runs from {first} back to {last}."
        notes.add("upside-down", (*place, "frames"), what, remedy="Give the first number first.")
    if not is_sequence(plate["file"]):
        what = "A sequence needs one run of # in its file name, where the number stands."
        notes.add("not-a-sequence", (*place, "file"), what, remedy="Write e.g. plates/shell/####.png.")
    if "turntable" in plate:
        note_zero(notes, (*place, "turntable", "axis"), plate["turntable"]["axis"])
        if plate["turntable"]["per_frame"] == 0:
            what = "The turntable does not turn: `per_frame` is 0."
            remedy = "Give the degrees from one photograph to the next, e.g. 2, or drop `turntable`."
            notes.add("no-turn", (*place, "turntable", "per_frame"), what, remedy=remedy)
    if "frame_rate" in plate:
        note_rate(notes, (*place, "frame_rate"), plate["frame_rate"])


def _check_file(
    notes: Notes,
    folder: Path,
    place: Place,
    text: str,
    frames: Sequence[float] | None,
    table: Mapping[str, Any] | None = None,
) -> None:
    names = [text] if frames is None else [numbered(text, int(frame)) for frame in frames]
    if any(check_path(notes, place, name, folder) is None for name in names):
        return
    why, remedy = "Tracks and masks do not need it; pictures do.", "Add the file before you make pictures."
    if frames is None or not is_sequence(text):
        gone = [name for name in names if not exists(folder / name)]
        if gone:
            notes.warn("missing-plate", place, f"The picture {clipped(gone[0])} is not there.", why, remedy)
        return
    first, last = int(frames[0]), int(frames[1])
    absent, whole = _absent(folder, text, first, last)
    if whole:
        what = f"The picture {clipped(numbered(text, first))} is not there, nor is any other of its sequence."
        notes.warn("missing-plate", place, what, why, remedy)
    elif absent:
        be = "is" if len(absent) == 1 else "are"
        listed = runs_in_words(absent, _turntable(table))
        what = f"Of the sequence {clipped(text)}, {first} to {last}, {listed} {be} not there."
        why = "A shot that shows one of them fails; the others do not need them."
        notes.warn("missing-plate", place, what, why, "Add those that a shot shows.")


def _absent(folder: Path, text: str, first: int, last: int) -> tuple[tuple[int, ...], bool]:
    """Return which photographs of a sequence are not there, and whether that is all of them."""
    asked = range(first, min(last, first + _LONGEST_SEQUENCE) + 1)
    absent = tuple(number for number in asked if not exists(folder / numbered(text, number)))
    return absent, len(absent) == len(asked)


def build_plate(plate: Mapping[str, Any], folder: Path) -> Plate:
    """Return the model of a plate without errors, whose files are looked for in `folder`."""
    rate = parse_rate(plate["frame_rate"]) if "frame_rate" in plate else None
    absent, whole = _absent(folder, plate["file"], *map(int, plate["frames"])) if "frames" in plate else ((), True)
    return Plate(
        part=plate["part"],
        file=plate["file"],
        px_per_mm=float(plate["px_per_mm"]),
        pivot_px=(float(plate["pivot_px"][0]), float(plate["pivot_px"][1])),
        view=_view(plate),
        frames=(int(plate["frames"][0]), int(plate["frames"][1])) if "frames" in plate else None,
        frame_rate=(rate.numerator, rate.denominator) if rate else None,
        turntable=_turntable(plate.get("turntable")),
        turn=float(plate.get("turn", 0)),
        absent=() if whole else absent,
    )


def _turntable(table: Mapping[str, Any] | None) -> Turntable | None:
    if not table or not any(table["axis"]):
        return None
    return Turntable(unit(table["axis"]), float(table.get("start", 0)), float(table["per_frame"]))


def build_hero(hero: Mapping[str, Any]) -> Hero:
    """Return the model of a hero still without errors."""
    pivot = (float(hero["pivot_px"][0]), float(hero["pivot_px"][1]))
    return Hero(hero["file"], float(hero["px_per_mm"]), pivot, _view(hero), float(hero.get("turn", 0)))


def _view(plate: Mapping[str, Any]) -> ViewAngle:
    view = plate.get("view", {})
    return ViewAngle(float(view.get("azimuth", 0)), float(view.get("elevation", 0)))
