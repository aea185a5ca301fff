"""Removal of parts made of unit cubes, by brute force on the grid: over all orders, along the six axes."""

import functools
import re

from random_assemblies import AXES, blocks


def comes_apart(cells):
    """Whether some order of single straight moves along the axes takes everything apart."""

    @functools.cache
    def from_here(present):
        return len(present) == 1 or any(
            free_on_grid(cells, part, present) and from_here(present - {part}) for part in sorted(present)
        )

    return from_here(frozenset(cells))


def free_on_grid(cells, part, present):
    others = set().union(*(cells[name] for name in present if name != part))
    return [axis for axis, d in AXES.items() if not blocks(cells[part], others, d)]


def core(cells):
    """What is left when everything that can leave has left: the same in whichever order."""
    present = set(cells)
    while len(present) > 1:
        leaver = next((p for p in sorted(present) if free_on_grid(cells, p, present)), None)
        if leaver is None:
            return present
        present.remove(leaver)
    return set()


RING = re.compile(r'"(\w+)" is held by "(\w+)" on its way ([+-][xyz])')
TABLE = re.compile(r'^ *"(\w+)": (.*)$', re.MULTILINE)


def read_ring(finding):
    """(part, who holds it, on which way) of each link; the ring must close."""
    ring = RING.findall(finding.why)
    assert ring
    assert [by for _, by, _ in ring] == [part for part, _, _ in ring[1:] + ring[:1]]
    return ring


def check_proof(cells, finding):
    """Each link holds on the grid, the parts left are those, and the table of directions is true and whole."""
    left = core(cells)
    assert set(re.findall(r'"(\w+)"', finding.what)) == left
    for part, by, axis in read_ring(finding):
        assert blocks(cells[part], cells[by], AXES[axis])
    table = TABLE.findall(finding.why)
    assert {part for part, _ in table} == left
    for part, row in table:
        said = {}
        for group in row.split("; "):
            axes, names = group.split(" by ")
            said.update((axis, set(names.split(" and "))) for axis in axes.split())
        others = left - {part}
        assert said == {n: {o for o in others if blocks(cells[part], cells[o], d)} for n, d in AXES.items()}
