"""Read from the hero still which of two plates lies in front, where they overlap on it.

In:  plates in the order of their names, their pictures and places, the still      Out: the pairs of which it tells

Only px that one of the two explains and the other clearly does not count. What becomes of the others, order_of_names
says.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence

import numpy as np

from choreo.geometry.plane.trace import full_scale
from choreo.geometry.registration.agreement import Colours, Drawn, Still, cut, drawn_at, exposure, still_of
from choreo.geometry.registration.pixels import Bools
from choreo.geometry.registration.similarity import compose
from choreo.model.registration import Photograph, Pixels, Similarity

_LONGEST_PX = 1000
"""The still's longer side where plates are compared."""
_SHOWN, _NOT = 0.03, 0.09
"""Difference of the worst channel, of full scale, of a px that is shown, and from which it is not."""
_SAMPLES_A_SIDE = 200
"""Of the still, where exposures are compared."""
_FEWEST_PX = 30
_LEAST_SHARE = 0.02
"""px that must tell, and share of what two plates have in common."""
_CLEARLY = 0.9


def told_by_still(
    parts: Sequence[str],
    unseen: Collection[str],
    photograph_of: Callable[[str], Photograph],
    hero: Photograph,
    places: Mapping[str, Similarity],
    known: str,
) -> list[tuple[str, str]]:
    """Return the pairs of which the still says which is nearer: the one behind, the one in front.

    Parameters
    ----------
    parts : sequence of str
    unseen : collection of str
        Of which the still shows nothing: they lie behind whatever covers them there.
    photograph_of : callable
    hero : Photograph
    places : mapping of part id to Similarity
        Plate px to hero px.
    known : str
        The part that tells first how much lighter the still is; another does where that explains more of the still.

    """
    under = hero.pixels()
    if under is None:
        return []
    colour, alpha = under
    step = max(1.0, max(alpha.shape) / _LONGEST_PX)
    still = still_of(*(_smaller(picture, step) for picture in (colour, alpha)))
    shrink = Similarity(1 / step, 0.0, (0.0, 0.0))
    drawn: dict[str, Drawn] = {}
    off: dict[str, Colours] = {}
    for part in [known, *(part for part in parts if part != known)]:
        pixels = photograph_of(part).pixels()
        if pixels is None:
            continue
        found = drawn_at(*pixels, compose(shrink, places[part]))
        drawn[part] = found
    gain = _exposure(still, drawn)
    for part, found in drawn.items():
        seen, there = cut(still, found)
        off[part] = np.where(there, np.abs(found.colour * gain - seen).max(axis=2), np.float32(1.0))
    behind: list[tuple[str, str]] = []
    listed = [part for part in parts if part in drawn]
    for index, one in enumerate(listed):
        for two in listed[index + 1 :]:
            if one in unseen and two in unseen:
                continue
            first = _front(drawn, off, one, two, unseen)
            if first:
                behind.append((one, two) if first == two else (two, one))
    return behind


def _exposure(still: Still, drawn: Mapping[str, Drawn]) -> Colours:
    """How much lighter the still is: of what each plate says for itself, what lets most px of the still be explained.

    A plate that is hidden for the most part compares itself with what hides it.
    """
    step = max(1, round(max(still.opaque.shape) / _SAMPLES_A_SIDE))
    samples = []
    for plate in drawn.values():
        seen, there = cut(still, plate)
        rows, columns = np.nonzero(plate.opaque & there)
        at = rows + plate.corner[1], columns + plate.corner[0]
        here = (at[0] % step == 0) & (at[1] % step == 0)
        which = rows[here], columns[here]
        samples.append((plate.colour[which], seen[which], at[0][here] * still.opaque.shape[1] + at[1][here]))
    best, most = np.ones(3, np.float32), -1
    for plate in drawn.values():
        gain = exposure(still, plate)
        explained = np.zeros(still.opaque.size, np.bool_)
        for own, seen, places in samples:
            explained[places[np.abs(own * gain - seen).max(axis=1) <= _SHOWN]] = True
        if int(explained.sum()) > most:
            best, most = gain, int(explained.sum())
    return best


def _front(drawn: Mapping[str, Drawn], off: Mapping[str, Colours], one: str, two: str, unseen: Collection[str]) -> str:
    """The nearer of two parts; empty where nobody can tell."""
    cuts = _common(drawn[one], drawn[two])
    if cuts is None:
        return ""
    both: Bools = drawn[one].opaque[cuts[0]] & drawn[two].opaque[cuts[1]]
    count = int(both.sum())
    if not count:
        return ""
    if one in unseen or two in unseen:
        return two if one in unseen else one
    here, there = off[one][cuts[0]][both], off[two][cuts[1]][both]
    votes = [int(((a <= _SHOWN) & (b >= _NOT)).sum()) for a, b in ((here, there), (there, here))]
    if sum(votes) < max(_FEWEST_PX, _LEAST_SHARE * count) or max(votes) < _CLEARLY * sum(votes):
        return ""
    return one if votes[0] > votes[1] else two


def _common(one: Drawn, two: Drawn) -> tuple[tuple[slice, slice], tuple[slice, slice]] | None:
    """The rectangle that two drawn plates have in common, in each of them."""
    left, top = (max(one.corner[k], two.corner[k]) for k in (0, 1))
    right, bottom = (
        min(one.corner[k] + one.opaque.shape[1 - k], two.corner[k] + two.opaque.shape[1 - k]) for k in (0, 1)
    )
    if left >= right or top >= bottom:
        return None
    first, second = (
        (slice(top - at.corner[1], bottom - at.corner[1]), slice(left - at.corner[0], right - at.corner[0]))
        for at in (one, two)
    )
    return first, second


def _smaller(picture: Pixels, step: float) -> Pixels:
    import cv2  # noqa: PLC0415

    unit = np.asarray(picture, np.float32) / np.float32(full_scale(picture))
    if step <= 1:
        return unit
    size = max(1, round(picture.shape[1] / step)), max(1, round(picture.shape[0] / step))
    return np.asarray(cv2.resize(unit, size, interpolation=cv2.INTER_AREA))
