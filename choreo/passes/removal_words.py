"""What `choreo.passes.removal` says to people, and the proof of an interlock as data."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from choreo.errors import Finding
from choreo.geometry.removal.directions import direction_at
from choreo.model.assembly import Vector
from choreo.model.interlock import Bar, Held, Interlock, Interlocked, Link
from choreo.passes.removal_ways import AXES, Straight, as_row, bits, is_askew

_SPLIT = (
    "Split one part of the ring into pieces that can leave, open a gap for it, or leave it out of the assembly and "
    "photograph the ring as one part."
)
_CLAIM = (
    "this is proved whatever single group moves, by translation, while all the others stay where they are; nothing "
    "was turned, and no part was shifted first to make room for another"
)


def interlocked(straight: Straight, present: int, tried: int, search: int, *, inside: bool) -> Interlocked:
    """Return the error for parts that hold each other, or for which a limit of the search was reached.

    Parameters
    ----------
    straight : Straight
        Who is in whose way.
    present : int
        Bit mask of the parts.
    tried : int
        How many groups have no way out, single parts among them.
    search : int
        What the search was set to.
    inside : bool
        Whether these parts left the others as one before.

    """
    names = straight.names(present)
    in_all = (1 << len(names) - 1) - 1
    held = tuple(_held(straight, part, present) for part in bits(present))
    proof = Interlock(names, held, _ring(straight, present), tried, in_all, inside)
    finding = _proved(proof) if proof.proved else _limited(proof, search)
    return Interlocked(finding, proof)


def _proved(proof: Interlock) -> Finding:
    alone = "none of them can leave" + (", alone or with others" if len(proof.parts) > 3 else "")
    hold = "leave the rest as one, but then hold each other" if proof.inside else "hold each other"
    return Finding(
        code="interlocked",
        what=f"The parts {_list(proof.parts)} {hold}: {alone}.",
        why="\n".join(
            [
                *_proof_lines(proof),
                _CLAIM,
            ]
        ),
        remedy=_SPLIT,
    )


def _limited(proof: Interlock, search: int) -> Finding:
    alone = len(proof.parts) - 1
    enough = -(-(proof.groups_in_all - alone) * search // max(proof.groups_tried - alone, 1))
    return Finding(
        code="way-not-found",
        what=f"No way was found to take {_list(proof.parts)} apart: no single part can leave, no group can leave "
        f"straight, and {proof.groups_tried} of {proof.groups_in_all} groups have no way of several moves either.",
        why="\n".join(
            [
                *_proof_lines(proof),
                "the search stopped at its limit of groups, so this is no proof: a larger group may have a way out",
            ]
        ),
        remedy=f"Search further with --search {2 * search} (all groups: --search {enough}), or read the ring: "
        + _SPLIT,
    )


def not_found(loose: Sequence[Sequence[str]], search: int) -> Finding:
    """Say that there are ways out for these parts or groups, but that none was found.

    Parameters
    ----------
    loose : sequence of sequences of part id
        Who has a way.
    search : int
        What the search was set to.

    """
    said = _list([" + ".join(group) for group in loose[:5]]) + (" and others" if len(loose) > 5 else "")
    return Finding(
        code="way-not-found",
        what=f"There is a way out for {said}, but no sequence of straight moves was found for it.",
        why="The search looks at ways between the corners of the free space, the nearest "
        f"{1500 * search} of them; passages narrower than 0.002 mm are beyond it.",
        remedy=f"Search further with --search {2 * search}, give the passage a little more room, raise touch_mm, or "
        "draw the outlines with fewer corners.",
    )


def say_direction(direction: Vector) -> str:
    """Return a direction in words where it has one (``+z``), else as numbers."""
    for name, axis in zip(("+z", "-z", "+x", "-x", "+y", "-y"), AXES, strict=True):
        if max(abs(d - a) for d, a in zip(direction, axis, strict=True)) < 1e-9:
            return name
    return "(" + ", ".join(f"{c:.4g}" for c in direction) + ")"


def _proof_lines(proof: Interlock) -> list[str]:
    return [
        "this ring of blockers closes:",
        *(f'  "{link.part}" is held by "{link.by}" on its way {say_direction(link.direction)}' for link in proof.ring),
        "every direction, and who is in the way (angles in the plane, from +x toward +y):",
        *(f'  "{held.part}": ' + "; ".join(map(_say_bar, held.bars)) for held in proof.held),
    ]


def _say_bar(bar: Bar) -> str:
    by = " by " + " and ".join(bar.blockers)
    if bar.arc is None:
        return say_direction(bar.direction) + by
    start, end = bar.arc
    if end - start >= 360:
        return "in-plane all round" + by
    # Slots need more digits than wide arcs.
    digits = 1 if end - start > 1 else 3
    first, last = (f"{round(angle, digits) % 360:g}\N{DEGREE SIGN}" for angle in (start, end))
    return (f"in-plane {first} to {last}" if start < end else f"at {first}") + by


def _held(straight: Straight, part: int, present: int) -> Held:
    """Who bars a part: along z, all round, and along its askew joint axes."""
    bars = [Bar(_by(straight, part, d, present), d) for d in AXES[:2]]
    there = as_row(present, len(straight.blocking.parts))
    for start, end, row in straight.blocking.bars(part, there):
        blockers = tuple(straight.blocking.parts[other] for other in np.flatnonzero(row))
        bars.append(Bar(blockers, direction_at((start + end) / 2), (float(np.degrees(start)), float(np.degrees(end)))))
    bars += [Bar(_by(straight, part, d, present), d) for d in straight.tries(1 << part) if is_askew(d)]
    return Held(straight.blocking.parts[part], tuple(bars))


def _by(straight: Straight, part: int, direction: Vector, present: int) -> tuple[str, ...]:
    return straight.names(straight.blockers(1 << part, direction) & present)


def _ring(straight: Straight, present: int) -> tuple[Link, ...]:
    """Follow each part's first blocker, in its least blocked direction, until one comes up again."""
    ids = straight.blocking.parts
    walk: list[tuple[int, Vector, int]] = []
    part = next(iter(bits(present)))
    while part not in [step[0] for step in walk]:
        held = [(d, straight.blockers(1 << part, d) & present) for d in straight.tries(1 << part)]
        direction, by = min(held, key=lambda way: way[1].bit_count())
        walk.append((part, direction, next(iter(bits(by)))))
        part = walk[-1][2]
    first = [step[0] for step in walk].index(part)
    return tuple(Link(ids[one], direction, ids[by]) for one, direction, by in walk[first:])


def _list(names: Sequence[str]) -> str:
    quoted = [f'"{name}"' for name in names]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + " and " + quoted[-1]
