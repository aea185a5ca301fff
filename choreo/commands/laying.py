"""``choreo new``: where each plate lies, by its frame, by the hero still, or by what was said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.errors import Finding, wrong_input

if TYPE_CHECKING:
    from choreo.model.new_plates import FoundPlate, Hint
    from choreo.model.registration import Photograph, Similarity

Places = Mapping[str, "Similarity"]


def lay(
    folder: Path, plates: Sequence[FoundPlate], known: str, hero_file: str | None, hints: Mapping[str, Hint]
) -> tuple[Places, list[Finding]]:
    """Return the place of each plate on the hero still (without one: in the known part's frame), and what to say of it.

    Raises
    ------
    ChoreoError
        Exit 2: plates that nobody can place, each with what to do.

    """
    from choreo.passes.place_by_hero import lay_on_hero  # noqa: PLC0415
    from choreo.passes.place_plates import place_in_frame  # noqa: PLC0415
    from choreo.read.photographs import read_hero, read_plate  # noqa: PLC0415

    if hero_file is None:
        return place_in_frame(plates, known, hints), []
    hero, size = read_hero(folder, hero_file)
    by_id = {plate.id: plate for plate in plates}

    @lru_cache(maxsize=2)
    def photograph(part: str) -> Photograph:
        return read_plate(folder, by_id[part].first, by_id[part].keyed)

    laid = lay_on_hero(plates, photograph, hero, size, known, hints)
    if laid.lost:
        raise wrong_input(*[_lost(by_id[part], hero_file, why) for part, why in laid.lost.items()])
    said = [_kept(by_id[part]) for part in laid.kept] + [_by_hand(by_id[part]) for part in laid.by_hand]
    return laid.places, [*said, *([_disagreeing(hero_file)] if laid.disagreeing else [])]


def _lost(plate: FoundPlate, hero: str, why: str) -> Finding:
    return Finding(
        "plate-not-found",
        f"{plate.file}: where it belongs on {hero} cannot be told: {why}.",
        plate.first,
        remedy=f'Say where its middle lies there and how wide it is, px: --place "{plate.id}=X,Y,WIDTH".',
    )


def _kept(plate: FoundPlate) -> Finding:
    return Finding(
        "plate-by-frame",
        f"{plate.file} cannot be found on the hero still; it lies where the other plates of its size put it.",
        why="Pictures of one size are taken to be of one frame, shot by a camera that was locked off.",
        remedy="Look at it in the strip; if it is wrong, say where it lies with --place.",
        severity="warning",
    )


def _by_hand(plate: FoundPlate) -> Finding:
    return Finding(
        "plate-by-hand",
        f"{plate.file} lies where --place says; it could not be measured there.",
        remedy="Look at it on the hero still, and correct pivot_px, px_per_mm and turn in assembly.json.",
        severity="warning",
    )


def _disagreeing(hero: str) -> Finding:
    return Finding(
        "hero-disagrees",
        f"The plates of its size do not make up the outline of {hero}, and cannot be found on it either.",
        why="They keep their places, as of one frame with it; whether that is right is for you to see.",
        remedy="Run choreo check with --out, and look at registration.png.",
        severity="warning",
    )
