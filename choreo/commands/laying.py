"""``choreo new``: where each plate lies, by its frame, by the hero still, or by what was said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.errors import Finding, wrong_input

if TYPE_CHECKING:
    from choreo.model.new_plates import FoundPlate, Hint
    from choreo.model.registration import Photograph, Similarity
    from choreo.passes.order_of_names import Ordered, Pair

Places = Mapping[str, "Similarity"]
_MOST_PAIRS = 12
"""That are listed for people; programs get all of them."""


@dataclass(frozen=True)
class Stack:
    """Plates and where they lie."""

    plates: Sequence[FoundPlate]
    """Back to front."""
    places: Places
    """On the hero still; without one, in the known part's frame."""
    said: Sequence[Finding] = ()
    order: str = ""
    """Where the order comes from, if it is not that of the files alone."""
    ordered: Ordered | None = None
    """Which pairs tell it, where there is a still."""


def lay(
    folder: Path, plates: Sequence[FoundPlate], known: str, hero_file: str | None, hints: Mapping[str, Hint]
) -> Stack:
    """Return the place of each plate on the hero still (without one: in the known part's frame), and their order.

    Raises
    ------
    ChoreoError
        Exit 2: the known part cannot be placed, or there is no still and plates are of several frames.

    """
    import shapely  # noqa: PLC0415

    from choreo.geometry.registration.similarity import apply_area, lying_at  # noqa: PLC0415
    from choreo.passes.order_by_still import told_by_still  # noqa: PLC0415
    from choreo.passes.order_of_names import order_of_names  # noqa: PLC0415
    from choreo.passes.place_by_hero import lay_on_hero  # noqa: PLC0415
    from choreo.passes.place_plates import overlapping, place_in_frame  # noqa: PLC0415
    from choreo.read.photographs import read_hero, read_plate  # noqa: PLC0415

    if hero_file is None:
        return Stack(plates, place_in_frame(plates, known, hints))
    hero, size = read_hero(folder, hero_file)
    by_id = {plate.id: plate for plate in plates}

    @lru_cache(maxsize=2)
    def photograph(part: str) -> Photograph:
        return read_plate(folder, by_id[part])

    laid = lay_on_hero(plates, photograph, hero, size, known, hints)
    if known in laid.lost:
        raise wrong_input(_lost(by_id[known], hero_file, laid.lost[known]))
    places = dict(laid.places)
    if hero.outline:
        left, top, right, bottom = (float(at) for at in shapely.total_bounds(list(hero.outline)))
    else:
        left, top, right, bottom = 0.0, 0.0, float(size[0]), float(size[1])
    for part in laid.lost:
        middle = (left + right) / 2, (top + bottom) / 2
        places[part] = lying_at(by_id[part].bounds, middle, None, places[known])
    said = [_kept(by_id[part]) for part in laid.kept] + [_by_hand(by_id[part]) for part in laid.by_hand]
    said += [_disagreeing(hero_file)] if laid.disagreeing else []
    said += [_unseen(laid.lost, known, hero_file)] if laid.lost else []
    ids = [plate.id for plate in plates]
    told = told_by_still(ids, laid.lost, photograph, hero, places, known)
    outlines = [[apply_area(places[plate.id], area) for area in plate.polygons] for plate in plates]
    ordered = order_of_names(ids, told, [(ids[one], ids[two]) for one, two in overlapping(outlines)])
    seen = sum(laid.lost.keys().isdisjoint(pair) for pair in ordered.told)
    words = _order(hero_file, seen, changed=list(ordered.parts) != ids, unseen=bool(laid.lost))
    words += _by_names(ordered) if words else ""
    return Stack([by_id[part] for part in ordered.parts], places, said, words, ordered)


def _order(hero: str, told: int, *, changed: bool, unseen: bool) -> str:
    """Where the order comes from; empty where it is that of the files, and nothing else speaks for it."""
    if not told and not changed:
        return ""
    pairs = f"{told} pair{'' if told == 1 else 's'} of parts that overlap there"
    words = "Order: file names, sorted"
    if told and changed:
        words = f"Order: read from {hero} for {pairs}; where it does not tell, file names, sorted"
    elif told:
        words = f"Order: file names, sorted; {hero} bears it out for {pairs}"
    behind = "; parts that are not found on it lie behind those that cover them" if unseen else ""
    return f"{words}{behind}."


def _by_names(ordered: Ordered) -> str:
    """Which pairs that overlap the names alone decide, and which not even they."""
    words = f" Of pairs that overlap, names alone tell: {_listed(ordered.named)}." if ordered.named else ""
    if ordered.against:
        words += f" Against their names, as other pairs force it: {_listed(ordered.against)}."
    if ordered.ring:
        words += f" The still contradicts itself, and is not followed: {_listed(ordered.ring)}."
    return words


def _listed(pairs: Sequence[Pair]) -> str:
    over: dict[str, list[str]] = {}
    for behind, front in pairs[:_MOST_PAIRS]:
        over.setdefault(behind, []).append(front)
    words = "; ".join(f"{behind} behind {', '.join(front)}" for behind, front in over.items())
    return words + (f"; and {len(pairs) - _MOST_PAIRS} more" if len(pairs) > _MOST_PAIRS else "")


def _lost(plate: FoundPlate, hero: str, why: str) -> Finding:
    return Finding(
        "plate-not-found",
        f"{plate.file}: where it belongs on {hero} cannot be told: {why}.",
        plate.first,
        remedy=f'Say where its middle lies there and how wide it is, px: --place "{plate.id}=X,Y,WIDTH".',
    )


def _unseen(lost: Mapping[str, str], known: str, hero: str) -> Finding:
    one = len(lost) == 1
    reasons: dict[str, list[str]] = {}
    for part, why in lost.items():
        reasons.setdefault(why, []).append(part)
    told = "; ".join(f"{', '.join(parts)}: {why}" for why, parts in reasons.items())
    return Finding(
        "plate-unseen",
        f"Not found on {hero}: {', '.join(lost)}. {'It is' if one else 'They are'} taken to lie inside: at the scale "
        f"of {known}, in the middle of the still, behind what covers {'it' if one else 'them'} there.",
        why=f"{told}.",
        remedy="Where that is wrong, say where its middle lies, px of the still, and how wide its matte is there: "
        f'--place "{next(iter(lost))}=X,Y,WIDTH", into a folder without the two project files; or correct offset, '
        "px_per_mm and pivot_px in assembly.json.",
        severity="warning",
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
