"""Plates and hero still of a project: which of them a shot shows, what their bytes are, and their pictures.

Pictures are read when a frame asks for one. Photographs of a sequence are let go again when newer ones need the room,
so that a turntable of any length is drawn in the same memory.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.geometry.cameras.camera import camera_from_matrix
from choreo.geometry.cameras.silhouette import hull_points
from choreo.geometry.plane.filled import filled_window
from choreo.geometry.solids.solid import Solid
from choreo.model.assembly import Assembly, Hero, Plate
from choreo.model.choreography import FrameRate
from choreo.model.tracks import ShotTracks, Tracks
from choreo.motion.plate_frames import photograph_number
from choreo.passes.plate_use import plan_plates
from choreo.picture.render.colour import from_stored
from choreo.picture.render.plates import CROP_GRID, PlateImage
from choreo.read.images import read_image
from choreo.read.notes import clipped
from choreo.read.paths import exists, numbered, stays_inside

_KEPT_BYTES = 384 * 2**20
"""Of a sequence's photographs in memory, in each process."""


@dataclass(frozen=True, eq=False)
class ShotPlates:
    """What one shot shows; parts without a plate are drawn as solids."""

    plates: Mapping[str, Plate]
    """By part; a sequence as well."""
    hero: Hero | None
    """None where the shot never shows it, or its file is not there."""


def plates_of(
    assembly: Assembly, folder: Path, solids: Mapping[str, Solid], tracks: Tracks
) -> tuple[dict[str, ShotPlates], tuple[Finding, ...]]:
    """Return the plates of each shot, by its name, and what is worth a warning.

    A part has one plate throughout a shot, the one whose view comes nearest (as the compile has chosen).

    Raises
    ------
    ChoreoError
        Exit 2: photographs of a sequence are missing while others of it are there, or lie outside of the folder.

    """
    out: dict[str, ShotPlates] = {}
    warned: dict[str, Finding] = {}
    points = {part: hull_points(solid) for part, solid in solids.items()}
    for shot in tracks.shots:
        cameras = [camera_from_matrix(matrix) for matrix in shot.cameras]
        turns = {track.id: track.turn for track in shot.parts if track.turn is not None}
        uses = plan_plates(assembly, FrameRate(*tracks.frame_rate), cameras, shot.parts, points, turns)
        found = {}
        for use in uses:
            plate = assembly.plates[use.plate]
            if _is_there(plate, shot, folder):
                found[use.part] = plate
            else:
                warned[plate.file] = _not_there(plate.file, f'Part "{use.part}" is drawn as a plain solid.')
        hero = assembly.hero if assembly.hero is not None and (shot.hero_opacity > 0).any() else None
        if hero is not None and not exists(folder / hero.file):
            warned[hero.file] = _not_there(hero.file, "Frames in which it would show are drawn without it.")
            hero = None
        out[shot.name] = ShotPlates(found, hero)
    return out, tuple(warned.values())


def files_on(plates: ShotPlates, shot: ShotTracks, frame: int) -> dict[str, str]:
    """Return the files of the plates that a frame shows, by part."""
    numbers = {track.id: track.plate_frame[frame] for track in shot.parts}
    return {part: file_of(plate, numbers[part]) for part, plate in plates.plates.items()}


def file_of(plate: Plate, number: float | None) -> str:
    """Return the name of the picture that shows a plate frame."""
    if plate.frames is None or number is None:
        return plate.file if plate.frames is None else numbered(plate.file, plate.frames[0])
    return numbered(plate.file, photograph_number(plate, number))


class Digests:
    """Digests of the files of a folder, each worked out once."""

    def __init__(self, folder: Path) -> None:
        self._of = cache(lambda name: hashlib.sha256((folder / name).read_bytes()).hexdigest())

    def __call__(self, name: str) -> str:
        """Return the digest of a file's bytes.

        Raises
        ------
        ChoreoError
            Exit 2 if it cannot be read.

        """
        try:
            return str(self._of(name))
        except OSError as error:
            raise wrong_input(
                Finding(
                    "unreadable",
                    f"The picture {clipped(name)} cannot be read: {error.strerror or type(error).__name__}.",
                    remedy="Check the path and its permissions.",
                )
            ) from None


def load(folder: Path, name: str, numbers: Plate | Hero, *, alpha: bool = True) -> PlateImage:
    """Return a picture ready to be laid on the screen, with the numbers of a plate or a still.

    Raises
    ------
    ChoreoError
        Exit 2 if it cannot be used.

    """
    try:
        image = read_image(folder / name, name, alpha=alpha)
        # Cropped as codes: as light, a whole frame would take sixteen bytes a pixel.
        rows, columns = filled_window(image.alpha, CROP_GRID)
        colour, matte = image.colour[rows, columns], image.alpha[rows, columns]
        picture = from_stored(colour, matte, linear=image.kind == "exr", premultiplied=image.premultiplied)
    except ChoreoError as error:
        raise wrong_input(*(replace(one, file=one.file or clipped(name)) for one in error.findings)) from None
    pivot = (numbers.pivot_px[0] - columns.start, numbers.pivot_px[1] - rows.start)
    return PlateImage(picture, numbers.px_per_mm, pivot, numbers.turn)


def load_plate(folder: Path, plate: Plate) -> PlateImage:
    """Return the picture of a plate that has one only."""
    return load(folder, plate.file, plate)


@dataclass(frozen=True, eq=False)
class Photographs(Mapping[int, PlateImage]):
    """Photographs of a sequence by number, read when asked for; the newest stay in memory."""

    folder: Path
    plate: Plate
    kept_bytes: int = _KEPT_BYTES
    _kept: OrderedDict[int, PlateImage] = field(default_factory=OrderedDict)

    def __getitem__(self, number: int) -> PlateImage:
        """Return the picture of a plate frame; see `photograph_number`."""
        number = photograph_number(self.plate, number)
        if number not in self._kept:
            name = numbered(self.plate.file, number)
            new = load(self.folder, name, self.plate)
            while self._kept and new.picture.nbytes + sum(map(_size, self._kept.values())) > self.kept_bytes:
                self._kept.popitem(last=False)
            self._kept[number] = new
        self._kept.move_to_end(number)
        return self._kept[number]

    def __iter__(self) -> Iterator[int]:
        """Go through the numbers."""
        assert self.plate.frames is not None
        return iter(range(self.plate.frames[0], self.plate.frames[1] + 1))

    def __len__(self) -> int:
        """Return how many there are."""
        assert self.plate.frames is not None
        return self.plate.frames[1] - self.plate.frames[0] + 1


def _size(plate: PlateImage) -> int:
    return int(plate.picture.nbytes)


def _is_there(plate: Plate, shot: ShotTracks, folder: Path) -> bool:
    """Whether all pictures that a shot needs are there, or none is."""
    track = next(track for track in shot.parts if track.id == plate.part)
    names = sorted({file_of(plate, number) for number in track.plate_frame})
    there = [name for name in names if exists(folder / name)]
    if there and len(there) < len(names):
        missing = [name for name in names if name not in there]
        raise wrong_input(_some_missing(plate, shot.name, missing))
    outside = [name for name in there if not stays_inside(folder / name, folder)]
    if outside:
        raise wrong_input(_outside(outside[0]))
    return bool(there)


def _some_missing(plate: Plate, shot: str, missing: list[str]) -> Finding:
    count = f" and {len(missing) - 1} more" if len(missing) > 1 else ""
    return Finding(
        "missing-photograph",
        f'Shot "{shot}" shows the photograph {clipped(missing[0])}{count} of "{plate.part}", which is not there.',
        "assembly.json",
        why="Others of the sequence are there, so a plain solid in its place would flicker.",
        remedy="Add the missing files, or shorten the sequence in the assembly.",
    )


def _outside(name: str) -> Finding:
    return Finding(
        "path-outside",
        f"The picture {clipped(name)} leads out of the project's folder through a link.",
        "assembly.json",
        why="A project may be passed on as a folder, and must not reach into the rest of a disk.",
        remedy="Put the file itself into the project's folder.",
    )


def _not_there(name: str, instead: str) -> Finding:
    return Finding(
        "missing-plate",
        f"The picture {clipped(name)} is not there. {instead}",
        "assembly.json",
        remedy="Add the file; the next run renders what has changed by it.",
        severity="warning",
    )
