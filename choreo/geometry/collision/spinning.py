"""Parts that spin on their way, as every question about collisions has to see them.

From the way on which a part begins to turn it counts as all that it sweeps in a whole turn, whatever its angle:
so a proof holds for any number of degrees, and for any law by which they follow the way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from choreo.geometry.collision.encounter import Encounters
from choreo.geometry.collision.shape import Shape, make_shape
from choreo.geometry.solids.turned import swept_by_turning
from choreo.model.plan import Floats

_SWEPT = " turning"
"""Added to a part's id for the shape that it sweeps; no id holds a space."""


@dataclass(frozen=True, eq=False)
class Turning:
    """A part that turns: about the line parallel to z through `axis` (x, y), from `since` mm along its route on."""

    axis: Floats
    since: float


def with_turning(encounters: Encounters, turning: Mapping[str, Turning]) -> Encounters:
    """Return encounters in which these parts count as what they sweep from some way on.

    Pairs keep their press fits and clearances.
    """
    if not turning:
        return encounters
    swept = {part + _SWEPT: _swept(encounters.shapes[part], spin) for part, spin in turning.items()}
    pressed = dict(encounters.pressed)
    for (a, b), pair in encounters.pressed.items():
        choices = [
            [(name, shape)] + ([(name + _SWEPT, _swept(shape, turning[name]))] if name in turning else [])
            for name, shape in zip((a, b), pair, strict=True)
        ]
        pressed.update({(one, two): (first, second) for one, first in choices[0] for two, second in choices[1]})
    clearance = {
        (one, two): kept
        for (a, b), kept in encounters.clearance.items()
        for one in _names(a, turning)
        for two in _names(b, turning)
    }
    shapes = {**encounters.shapes, **swept}
    return replace(
        encounters,
        shapes=shapes,
        pressed=pressed,
        clearance=clearance,
        turning={part: (part + _SWEPT, spin.since) for part, spin in turning.items()},
        _crossings={},
    )


def as_swept(encounters: Encounters, axes: Mapping[str, Floats]) -> Encounters:
    """Return encounters in which parts are what they sweep in a whole turn, wherever they are.

    Parameters
    ----------
    encounters : Encounters
    axes : mapping of part id to (2,) or (3,) array
        Where the z axis stands that the part turns about; parts that are not named stay as they are.

    """
    if not axes:
        return encounters

    def seen(part: str, shape: Shape) -> Shape:
        return make_shape(swept_by_turning(shape.solid, axes[part])) if part in axes else shape

    pressed = {(a, b): (seen(a, one), seen(b, two)) for (a, b), (one, two) in encounters.pressed.items()}
    shapes = {part: seen(part, shape) for part, shape in encounters.shapes.items()}
    return replace(encounters, shapes=shapes, pressed=pressed, _blocked={}, _crossings={}, _meet={})


def _swept(shape: Shape, turning: Turning) -> Shape:
    return make_shape(swept_by_turning(shape.solid, turning.axis))


def _names(part: str, turning: Mapping[str, Turning]) -> list[str]:
    return [part, part + _SWEPT] if part in turning else [part]
