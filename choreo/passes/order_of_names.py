"""Order plates by what the still tells, and by their names where it tells nothing.

In:  plates in the order of their names, pairs that the still told, pairs that overlap      Out: one order of all

Three rules, each for what the one before leaves open:

1. A told pair holds, unless it is told in a ring: of these the still tells nothing.
2. Another pair that overlaps lies as its names do, unless told pairs, or told pairs together with such pairs before
   it, force it the other way. The pairs are taken by the name that is farther back, then by the other.
3. The first name lies as far back as these pairs allow, then the second, and so on.

What overlaps nothing takes part in no pair, so that a further plate of that kind changes nothing among the others.
Fewest pairs against their names would be another second rule; it is hard to compute, and one further pair that
overlaps may change it everywhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

Pair = tuple[str, str]
"""The one behind, and the one in front."""


@dataclass(frozen=True)
class Ordered:
    """Plates in one order, and where it comes from."""

    parts: tuple[str, ...]
    """Back to front."""
    told: tuple[Pair, ...]
    """Told pairs that hold."""
    ring: tuple[Pair, ...] = ()
    """Told pairs that contradict each other."""
    named: tuple[Pair, ...] = ()
    """Pairs that overlap, of which told pairs leave both ways open: as their names say."""
    against: tuple[Pair, ...] = ()
    """Such pairs that others before them force against their names."""


def order_of_names(parts: Sequence[str], told: Sequence[Pair], overlapping: Sequence[Pair]) -> Ordered:
    """Return the order that keeps what is told and, where two plates overlap untold, the order of names.

    Parameters
    ----------
    parts : sequence of str
        In the order of their names.
    told : sequence of (behind, in front)
    overlapping : sequence of pairs
        In any order; a told pair may be among them.

    """
    import networkx as nx  # noqa: PLC0415

    number = {part: k for k, part in enumerate(parts)}
    graph = nx.DiGraph()
    graph.add_nodes_from(range(len(parts)))
    graph.add_edges_from((number[one], number[two]) for one, two in told)
    rings = {part: k for k, ring in enumerate(nx.strongly_connected_components(graph)) for part in ring}
    kept = tuple(pair for pair in told if rings[number[pair[0]]] != rings[number[pair[1]]])
    ring = tuple(pair for pair in told if rings[number[pair[0]]] == rings[number[pair[1]]])

    pairs = _Pairs(len(parts))
    for one, two in kept:
        pairs.add(number[one], number[two])
    common = {(min(ends), max(ends)) for ends in ((number[a], number[b]) for a, b in (*overlapping, *ring))}
    undecided = [pair for pair in sorted(common) if not pairs.has(*pair) and not pairs.has(*pair[::-1])]
    named, against = [], []
    for lower, upper in undecided:
        if pairs.has(upper, lower):
            against.append((parts[upper], parts[lower]))
        else:
            pairs.add(lower, upper)
            named.append((parts[lower], parts[upper]))

    # From the front, always the last name that nothing left lies in front of: so the first names come farthest back.
    turned = nx.DiGraph()
    turned.add_nodes_from(range(len(parts)))
    turned.add_edges_from((number[two], number[one]) for one, two in (*kept, *named))
    order = tuple(parts[k] for k in nx.lexicographical_topological_sort(turned, key=lambda k: -k))[::-1]
    return Ordered(order, kept, ring, tuple(named), tuple(against))


class _Pairs:
    """Which part lies behind which, and all that follows from it; a set of parts is the bits of one integer."""

    def __init__(self, count: int) -> None:
        self._front = [1 << k for k in range(count)]
        self._behind = list(self._front)

    def has(self, behind: int, front: int) -> bool:
        return bool(self._front[behind] >> front & 1)

    def add(self, behind: int, front: int) -> None:
        if self.has(behind, front):
            return
        lower, upper = self._behind[behind], self._front[front]
        for part in _members(lower):
            self._front[part] |= upper
        for part in _members(upper):
            self._behind[part] |= lower


def _members(parts: int) -> Iterator[int]:
    while parts:
        lowest = parts & -parts
        yield lowest.bit_length() - 1
        parts ^= lowest
