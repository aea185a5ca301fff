"""The plates that can be laid on the hero still, and the still: outlines at once, pictures when they are asked for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.geometry.plane.filled import filled_window
from choreo.geometry.plane.trace import full_scale, trace_alpha
from choreo.geometry.registration.similarity import from_hero_view
from choreo.model.assembly import Assembly
from choreo.model.registration import Photograph, Photographs, Pixels
from choreo.read.image_profile import profile_notes
from choreo.read.images import Image, read_image
from choreo.read.matte_outline import matte_level
from choreo.read.notes import clipped, printable
from choreo.read.paths import exists
from choreo.read.screen_key import key_screen

_KEPT_BYTES = 128 * 2**20
"""Of plates' pixels, from their first reading until they are laid on the still; beyond that they are read twice."""
_FINE_PX = 0.05
"""Outlines are compared to a tenth of a px: simplified more, their corners would be what is compared."""


def read_photographs(assembly: Assembly, folder: Path) -> tuple[Photographs | None, tuple[Finding, ...]]:
    """Return what can be laid on the hero still, and what is worth a word about it.

    Parameters
    ----------
    assembly : Assembly
        Checked by the reader, which has said already which files are not there.
    folder : Path
        From which plates are named.

    Returns
    -------
    Photographs or None
        None without a hero still that can be used, or without any plate from its view.
    tuple of Finding
        Warnings: pictures that could not be used.

    """
    hero = assembly.hero
    plates = [plate for plate in assembly.plates if hero is not None and from_hero_view(plate, hero)]
    plates = [plate for plate in plates if exists(folder / plate.file)]
    if hero is None or not plates or not exists(folder / hero.file):
        return None, ()
    still, notes = _photograph(folder, hero.file, hero=True)
    if still is None:
        return None, tuple(notes)
    found, room = {}, [_KEPT_BYTES]
    for plate in plates:
        one, said = _photograph(folder, plate.file, room)
        notes.extend(said)
        if one is not None:
            found[plate.part] = one
    return Photographs(still, found), tuple(notes)


def read_plate(folder: Path, name: str, screen: str = "") -> Photograph:
    """Return one plate, pixels and all.

    Parameters
    ----------
    folder : Path
    name : str
    screen : str
        The colour before which it still stands, where it has no matte.

    Raises
    ------
    ChoreoError
        Exit 2: it cannot be read.

    """
    image = read_image(folder / name, name, alpha=not screen)
    colour, alpha = straight_codes(image)
    if screen:
        unit: Pixels = np.asarray(image.colour.astype(np.float64) / full_scale(image.colour))
        alpha = key_screen(unit, screen)
    return Photograph(tuple(trace_alpha(alpha, matte_level(alpha), _FINE_PX).polygons), colour, alpha)


def read_hero(folder: Path, name: str) -> tuple[Photograph, tuple[int, int]]:
    """Return a hero still, pixels and all, and its size; without outlines where its matte tells nothing.

    Raises
    ------
    ChoreoError
        Exit 2: it cannot be read.

    """
    image = read_image(folder / name, name, alpha=False)
    opaque = float(image.alpha.min()) >= 0.5 * full_scale(image.alpha)
    outline = () if opaque else tuple(trace_alpha(image.alpha, matte_level(image.alpha), _FINE_PX).polygons)
    if not opaque and not outline:
        raise wrong_input(replace(_empty(name), severity="error"))
    return Photograph(outline, load=cache(lambda: straight_codes(image))), image.size


def _photograph(
    folder: Path, name: str, room: list[int] | None = None, *, hero: bool = False
) -> tuple[Photograph | None, list[Finding]]:
    """One picture; `room` is how many bytes of pixels may still be kept, else they are read again when asked for."""

    def load() -> tuple[Pixels, Pixels]:
        return straight_codes(read_image(folder / name, name))

    try:
        image = read_image(folder / name, name, alpha=not hero)
        if hero and float(image.alpha.min()) >= 0.5 * full_scale(image.alpha):
            return None, [_no_matte(name)]
        outline = trace_alpha(image.alpha, matte_level(image.alpha), _FINE_PX).polygons
    except ChoreoError as error:
        return None, [replace(one, file=one.file or clipped(name), severity="warning") for one in error.findings]
    if not outline:
        return None if hero else Photograph((), load=load), [_empty(name)]
    odd = profile_notes(image.profile, clipped(name))
    if hero:  # asked for by every part that is measured by its picture; a plate once
        return Photograph(tuple(outline), load=cache(lambda: straight_codes(image))), odd
    kept = _Cut.of(image)
    if room is not None and kept.bytes <= room[0]:
        room[0] -= kept.bytes
        return Photograph(tuple(outline), load=kept.whole), odd
    return Photograph(tuple(outline), load=load), odd


@dataclass(frozen=True, eq=False)
class _Cut:
    """What is not empty of a picture."""

    shape: tuple[int, ...]
    window: tuple[slice, slice]
    colour: Pixels
    """Straight, as `straight_codes` has it; so is alpha."""
    alpha: Pixels

    @classmethod
    def of(cls, image: Image) -> _Cut:
        window = filled_window(image.alpha)
        part = replace(image, alpha=image.alpha[window], _colour=lambda: image.colour[window])
        colour, alpha = straight_codes(part)
        return cls(image.alpha.shape, window, np.ascontiguousarray(colour), np.ascontiguousarray(alpha))

    @property
    def bytes(self) -> int:
        return int(self.colour.nbytes + self.alpha.nbytes)

    def whole(self) -> tuple[Pixels, Pixels]:
        """Colour and alpha of the whole picture, empty around what was kept."""
        colour, alpha = np.zeros((*self.shape, 3), self.colour.dtype), np.zeros(self.shape, self.alpha.dtype)
        colour[self.window], alpha[self.window] = self.colour, self.alpha
        return colour, alpha


def straight_codes(image: Image) -> tuple[Pixels, Pixels]:
    """Return colour, (h, w, 3), not multiplied by alpha, as sRGB has it, and alpha, (h, w), of a picture.

    OpenEXR holds linear light and becomes sRGB (IEC 61966-2-1); everything else is taken to be sRGB already.
    """
    colour, alpha = image.colour, image.alpha
    if image.premultiplied:
        share = alpha[..., None].astype(np.float32) / np.float32(full_scale(alpha))
        light = colour.astype(np.float32) / np.float32(full_scale(colour))
        colour = np.clip(np.divide(light, share, out=np.zeros_like(light), where=share > 0), 0.0, 1.0)
    if image.kind == "exr":
        light = np.clip(colour.astype(np.float32), 0.0, 1.0)
        colour = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return colour, alpha


def _empty(file: str) -> Finding:
    return Finding(
        "empty-matte",
        f"The picture {clipped(file)} shows nothing: its matte is empty.",
        printable(clipped(file)),
        remedy="Check the key, and save it with its alpha channel.",
        severity="warning",
    )


def _no_matte(file: str) -> Finding:
    return Finding(
        "hero-without-matte",
        f"The hero still {clipped(file)} is opaque everywhere, so it has no outline that plates could be laid on.",
        "assembly.json",
        "/hero/file",
        why="Whether the stack meets it can then be told by eye only.",
        remedy="Save it with its alpha channel.",
        severity="warning",
    )
