"""A folder of keyed photographs, one a part: what each shows, traced and measured.

File names, sorted, are the order from back to front; a number before the name ("03_lens.png") only sorts. Numbered
files of one name ("shell.0001.png", "shell.0002.png", …) are one sequence, traced from its first picture.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

import numpy as np
from numpy.typing import NDArray

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.geometry.plane.trace import full_scale
from choreo.model.new_plates import FoundPlate
from choreo.motion.sequence_runs import runs_in_words
from choreo.read.cut_picture import KEPT_BYTES, keep
from choreo.read.image_profile import profile_notes
from choreo.read.images import Image, read_image
from choreo.read.matte_outline import matte_notes, trace_matte
from choreo.read.notes import clipped, printable
from choreo.read.paths import path_trouble, stays_inside
from choreo.read.screen_key import key_screen

SUFFIXES = (".png", ".tif", ".tiff", ".exr")
_OTHER_KINDS = (
    ".arw", ".bmp", ".cr2", ".cr3", ".dng", ".dpx", ".gif", ".heic", ".jpeg", ".jpg", ".nef", ".psb", ".psd", ".raf",
    ".tga", ".webp",
)  # fmt: skip
"""Pictures that are not read as plates; whoever puts them beside plates should be told."""
_TWIN = "._"
"""How names begin that one operating system gives to notes of its own beside each file (AppleDouble, RFC 1740)."""
MOST_PLATES = 200
_SEQUENCE = re.compile(r"^(?P<name>.*?)[._-]?(?P<number>\d{3,})$")
_SORTS = re.compile(r"^\d+[ ._-]+(?=\D)")
_SPLIT = re.compile(r"[^A-Za-z0-9]+")
_LONGEST_ID = 64
_LISTED = 4
_LONGEST_SEQUENCE = 100_000
_DARKEST = 0.02
"""A part whose mean is darker than this, linear, is drawn this light: black shows no shading."""


@dataclass(frozen=True)
class _Entry:
    name: str
    file: str
    first: str
    frames: tuple[int, int] | None
    numbers: tuple[int, ...] = ()


def read_plate_folder(
    folder: Path, *, apart_from: str | None = None, screen: str = "", simplify_px: float = 0.5
) -> tuple[tuple[FoundPlate, ...], tuple[Finding, ...]]:
    """Return the plates in a folder, sorted by file name, and what is worth a word about them.

    Parameters
    ----------
    folder : Path
        Pictures in folders below it are not looked at.
    apart_from : str, optional
        A picture in the folder that is no part: the hero still. One that is called hero never is.
    screen : str
        ``"green"`` or ``"blue"`` where plates still stand before a screen; empty: every plate has a matte.
    simplify_px : float
        How far outlines may lie from the traced edge, px.

    Raises
    ------
    ChoreoError
        Exit 2, with a finding for every picture that cannot be used.

    """
    plates: list[FoundPlate] = []
    notes: list[Finding] = []
    broken: list[Finding] = []
    notes.extend(_left_out(name) for name in _pictures(folder) if is_hero(name) and name != apart_from)
    room = [KEPT_BYTES if apart_from else 0]  # only a still asks for pictures again
    for entry in _entries(folder, apart_from):
        try:
            plate, said = _read_plate(folder, entry, [one.id for one in plates], screen, simplify_px, room)
        except ChoreoError as error:
            broken.extend(replace(finding, file=finding.file or printable(entry.first)) for finding in error.findings)
            continue
        plates.append(plate)
        notes.extend(said)
    if broken:
        raise wrong_input(*broken)
    notes.extend(_unread(folder, apart_from))
    return tuple(plates), tuple(notes)


def is_hero(name: str) -> bool:
    """Whether a picture is called hero, and so is no part."""
    return Path(name).stem.casefold() == "hero" and name.lower().endswith(SUFFIXES)


def check_hero_file(folder: Path, name: str) -> str:
    """Return the name of a hero still as a project spells it; it must lie within the folder.

    Raises
    ------
    ChoreoError
        Exit 2, ``path-outside``, ``not-utf-8``, ``not-a-sequence`` or ``no-such-file``.

    """
    if not _is_text(name):
        what = f"The name of the hero still, {printable(name)}, is not plain UTF-8, so no project file can refer to it."
        raise wrong_input(_finding("not-utf-8", what, folder, "Rename the file with plain letters."))
    if "#" in name:
        what = f"The name of the hero still, {printable(name)}, holds a #, which stands for numbers of a sequence."
        raise wrong_input(_finding("not-a-sequence", what, folder, "Rename the file without it."))
    trouble = path_trouble(name) or ("" if stays_inside(folder / name, folder) else "leads out of it through a link")
    if trouble:
        what = f"The hero still must lie in the folder of the plates; {printable(name)} {trouble}."
        remedy = "Copy it into that folder, and give its name there: --hero hero.png."
        raise wrong_input(_finding("path-outside", what, folder, remedy))
    if not os.path.lexists(folder / name):
        what = f"There is no {printable(name)} in the folder of the plates, where the hero still must lie."
        remedy = "Copy it into that folder, and give its name there: --hero hero.png."
        raise wrong_input(_finding("no-such-file", what, folder, remedy))
    return PurePosixPath(name).as_posix()


def _entries(folder: Path, apart_from: str | None) -> list[_Entry]:
    names = [name for name in _pictures(folder) if name != apart_from and not is_hero(name)]
    inside = Path(os.path.realpath(folder))
    away = [name for name in names if not Path(os.path.realpath(folder / name)).is_relative_to(inside)]
    if away:
        what = f"{printable(away[0])} leads out of this folder through a link."
        raise wrong_input(_finding("path-outside", what, folder, "Copy the picture itself into the folder."))
    odd = [name for name in names if not _is_text(name)]
    if odd:
        what = f"The name of {printable(odd[0])} is not UTF-8, so no project file can refer to it."
        raise wrong_input(_finding("not-utf-8", what, folder, "Rename the file with plain letters."))
    entries = _grouped(names)
    if not entries:
        remedy = f"Put one keyed picture a part into it: {', '.join(SUFFIXES)}."
        raise wrong_input(_finding("no-plates", "This folder holds no pictures that could be plates.", folder, remedy))
    if len(entries) > MOST_PLATES:
        what = f"This folder holds {len(entries)} pictures; at most {MOST_PLATES} can be parts of one product."
        raise wrong_input(_finding("too-many-plates", what, folder, "Give a folder with one picture a part."))
    return entries


def _pictures(folder: Path) -> list[str]:
    return [name for name in _files(folder) if name.lower().endswith(SUFFIXES)]


def _files(folder: Path) -> list[str]:
    try:
        names = sorted(path.name for path in folder.iterdir())
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the path cannot be used"
        what = f"The folder of plates cannot be read: {reason}."
        raise wrong_input(_finding("no-such-folder", what, folder, "Give the folder that holds the plates.")) from error
    return [name for name in names if not name.startswith(_TWIN)]


def _left_out(name: str) -> Finding:
    return Finding(
        "hero-left-out",
        f"{clipped(name)} was left out: a picture called hero is no part.",
        remedy=f'To place plates by it, say so: --hero "{clipped(name)}". If it is a part, call it otherwise.',
        severity="warning",
    )


def _unread(folder: Path, apart_from: str | None) -> list[Finding]:
    """One warning for all pictures of kinds that are no plates."""
    names = [name for name in _files(folder) if name.lower().endswith(_OTHER_KINDS) and name != apart_from]
    if not names:
        return []
    more = f" and {len(names) - _LISTED} more" if len(names) > _LISTED else ""
    listed = ", ".join(clipped(printable(name)) for name in names[:_LISTED])
    what = f"Left out, as plates are PNG, TIFF or OpenEXR: {listed}{more}."
    remedy = "If it is a part, key it and save it as one of these, with its alpha channel."
    return [Finding("not-a-plate", what, remedy=remedy, severity="warning")]


def _gaps(entry: _Entry) -> list[Finding]:
    """A warning where numbers of a sequence are not there."""
    if entry.frames is None:
        return []
    first, last = entry.frames
    absent = sorted(set(range(first, last + 1)) - set(entry.numbers)) if last - first < _LONGEST_SEQUENCE else []
    if not absent:
        return []
    what = f"{clipped(entry.file)}: of the numbers {first} to {last}, {runs_in_words(absent)} "
    what += f"{'is' if len(absent) == 1 else 'are'} not there."
    why = "A shot that shows one of them will not compile."
    remedy = "Add them, or give frames in assembly.json that leave them out."
    return [Finding("sequence-gaps", what, why=why, remedy=remedy, severity="warning")]


def _grouped(names: Sequence[str]) -> list[_Entry]:
    """Numbered files of one name, two or more, are one sequence."""
    runs: dict[tuple[str, str, int], list[str]] = {}
    for name in names:
        stem, _, suffix = name.rpartition(".")
        match = _SEQUENCE.match(stem)
        if match and match["name"]:
            runs.setdefault((stem[: match.start("number")], suffix, len(match["number"])), []).append(name)
    whole = {key: run for key, run in runs.items() if len(run) > 1}
    inside = {name for run in whole.values() for name in run}
    entries = [_Entry(name.rpartition(".")[0], name, name, None) for name in names if name not in inside]
    for (start, suffix, width), run in whole.items():
        numbers = sorted(int(name[len(start) : len(start) + width]) for name in run)
        file = f"{start}{'#' * width}.{suffix}"
        entries.append(_Entry(start.rstrip("._-"), file, run[0], (numbers[0], numbers[-1]), tuple(numbers)))
    return sorted(entries, key=lambda entry: entry.first)


def _read_plate(
    folder: Path, entry: _Entry, taken: Sequence[str], screen: str, simplify_px: float, room: list[int]
) -> tuple[FoundPlate, list[Finding]]:
    image = read_image(folder / entry.first, entry.first, alpha=not screen)
    alpha, keyed = _matte(image, screen)
    traced = trace_matte(alpha, simplify_px)
    if not traced.polygons:
        raise wrong_input(
            Finding(
                "empty-matte",
                "This picture shows nothing: its matte is empty.",
                printable(entry.first),
                remedy="Check the key, or take the picture out of the folder.",
            )
        )
    part_id, label = _named(entry.name, taken)
    notes = [*matte_notes(traced, clipped(entry.first), part_id), *_gaps(entry)]
    notes += [*profile_notes(image.profile, clipped(entry.first)), *_twice(entry.first, part_id, taken)]
    if float(alpha.min()) >= 0.5 * full_scale(alpha):
        what = f"{clipped(entry.first)}: this matte is opaque everywhere; its outline is the border of the picture."
        remedy = "Key it first, or plan with --screen green (or blue) where it stands before a screen."
        notes.append(Finding("opaque-matte", what, remedy=remedy, severity="warning"))
    colour = _mean_colour(image, alpha)
    plate = FoundPlate(
        part_id, label, entry.file, entry.frames, entry.first, image.size, traced.polygons, colour, keyed,
        None if keyed else keep(image, room),
    )  # fmt: skip
    return plate, notes


def _twice(name: str, part_id: str, taken: Sequence[str]) -> list[Finding]:
    """A warning where another picture has the name already: one part in two files lies on itself."""
    base = part_id.rpartition("_")[0]
    if (
        not base
        or base.casefold() not in {one.casefold() for one in taken}
        or _named(PurePosixPath(name).stem, ())[0] == part_id
    ):
        return []
    what = f"{clipped(name)} is another picture called {base}; it becomes the part {part_id}."
    remedy = "If both show one part, leave one file, and take the two project files away to start anew."
    return [Finding("name-taken", what, remedy=remedy, severity="warning")]


def _matte(image: Image, screen: str) -> tuple[NDArray[np.generic], str]:
    """The picture's own matte; only where it has none, one keyed from the screen."""
    if screen and float(image.alpha.min()) >= 0.5 * full_scale(image.alpha):
        return key_screen(_unit(image.colour), screen), screen
    return image.alpha, ""


def _mean_colour(image: Image, alpha: NDArray[np.generic]) -> str:
    """Mean of the straight colour under the matte, averaged in the picture's own values: near enough for a plan."""
    # A quarter of a million pixels say what a part's colour is.
    step = max(1, int(np.sqrt(alpha.size / 250_000)))
    weight, colour = _unit(alpha[::step, ::step, None]), _unit(image.colour[::step, ::step])
    total = max(float(weight.sum()), 1e-12)
    share = colour if image.premultiplied else colour * weight
    mean = np.clip(share.sum(axis=(0, 1)) / total, _DARKEST, 1.0)
    if image.kind == "exr":  # linear light; everything else is taken to be sRGB already (IEC 61966-2-1)
        mean = np.where(mean <= 0.0031308, 12.92 * mean, 1.055 * mean ** (1 / 2.4) - 0.055)
    return "#" + "".join(f"{round(255 * float(value)):02x}" for value in mean)


def _unit(colour: NDArray[np.generic]) -> NDArray[np.float64]:
    return np.asarray(colour.astype(np.float64) / full_scale(colour))


def _named(stem: str, taken: Sequence[str]) -> tuple[str, str]:
    """An id that a file name allows, unlike those before it, and a label for people."""
    words = [word for word in _SPLIT.split(_SORTS.sub("", stem)) if word] or ["part"]
    base = "_".join(words)[: _LONGEST_ID - 4]
    found, number = base, 2
    lower = {one.casefold() for one in taken}
    while found.casefold() in lower:
        found, number = f"{base}_{number}", number + 1
    label = " ".join(words)
    return found, label[:1].upper() + label[1:]


def _is_text(name: str) -> bool:
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return name.isprintable()


def _finding(code: str, what: str, folder: Path, remedy: str) -> Finding:
    return Finding(code, what, printable(str(folder)), remedy=remedy)
