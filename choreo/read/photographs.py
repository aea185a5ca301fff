"""The plates that can be laid on the hero still, and the still: outlines at once, pictures when they are asked for."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.geometry.plane.trace import full_scale, trace_alpha
from choreo.geometry.registration.similarity import from_hero_view
from choreo.model.assembly import Assembly
from choreo.model.new_plates import FoundPlate
from choreo.model.registration import Photograph, Photographs, Pixels
from choreo.read.cut_picture import KEPT_BYTES, keep, straight_codes
from choreo.read.image_profile import profile_notes
from choreo.read.images import read_image
from choreo.read.matte_outline import matte_level
from choreo.read.notes import clipped, printable
from choreo.read.paths import exists
from choreo.read.screen_key import key_screen

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
    found, room = {}, [KEPT_BYTES]
    for plate in plates:
        one, said = _photograph(folder, plate.file, room)
        notes.extend(said)
        if one is not None:
            found[plate.part] = one
    return Photographs(still, found), tuple(notes)


def read_plate(folder: Path, plate: FoundPlate) -> Photograph:
    """Return one plate, pixels and all; it is read again only where its pixels were not kept.

    Parameters
    ----------
    folder : Path
    plate : FoundPlate
        Keyed again where it still stands before a screen.

    Raises
    ------
    ChoreoError
        Exit 2: it cannot be read.

    """
    if plate.kept is not None:
        colour, alpha = plate.kept()
    else:
        image = read_image(folder / plate.first, plate.first, alpha=not plate.keyed)
        colour, alpha = straight_codes(image)
        if plate.keyed:
            unit: Pixels = np.asarray(image.colour.astype(np.float64) / full_scale(image.colour))
            alpha = key_screen(unit, plate.keyed)
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
    return Photograph(tuple(outline), load=keep(image, room) or load), odd


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
