"""Orders of whole layers: breaking rings, cutting a shot into spans, and keeping each order near the last.

"Over" is a square table of bools: ``over[t, x]`` asks that t is drawn above x. An order of layers that meets
a table exists exactly where the table has no ring.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

EXACT_SIZE = 14
"""Up to this many layers in one ring, or between two that change places, the answer is the best there is;
beyond, the tables of subsets would take seconds, and a good answer has to do."""


@dataclass(frozen=True, eq=False)
class Span:
    """Frames `first` to `last`, both included, which one order can serve."""

    first: int
    last: int
    over: Bools
    """What all of its frames ask."""


def reach(over: Bools) -> Bools:
    """Return the transitive closure of tables (..., n, n): who stands above whom, directly or through others.

    Warshall's (1962), on rows of bits and on all tables at once.
    """
    n = over.shape[-1]
    words = -(-n // 64)
    bits = np.zeros((*over.shape[:-1], 8 * words), dtype=np.uint8)
    packed = np.packbits(over, axis=-1, bitorder="little")
    bits[..., : packed.shape[-1]] = packed
    rows = bits.view("<u8")
    for k in range(n):
        above = -((rows[..., k // 64] >> np.uint64(k % 64)) & np.uint64(1))  # all ones where a row has bit k
        rows |= above[..., None] & rows[..., k, None, :]
    return np.unpackbits(bits, axis=-1, count=n, bitorder="little").astype(np.bool_)


def in_one_ring(over: Bools) -> Bools:
    """Return for tables (..., n, n) the pairs that lie on a common ring."""
    closed = reach(over)
    return np.asarray(closed & np.swapaxes(closed, -1, -2))


def fewest_dropped(over: Bools, cost: Ints) -> Bools:
    """Return the fewest relations without which no ring is left.

    Parameters
    ----------
    over : (n, n) table
    cost : (n, n) array of int
        Not negative; among answers of one size that with the least sum is taken, then the first found in the
        order of the layers.

    Returns
    -------
    (n, n) table
        Its size is the least possible where no ring touches more than `EXACT_SIZE` layers (a minimum feedback
        arc set); beyond, layers are moved one at a time to where fewest relations fail, until none helps.

    """
    dropped = np.zeros_like(over)
    ringed = in_one_ring(over)
    done = np.zeros(len(over), dtype=np.bool_)
    for start in np.flatnonzero(ringed.any(axis=1)):
        if done[start]:
            continue
        group = np.flatnonzero(ringed[start])
        done[group] = True
        inside = np.ix_(group, group)
        weight = np.where(over[inside], cost[inside] + int(cost.sum()) + 1, 0).astype(np.int64)
        order = _best_order(weight) if len(group) <= EXACT_SIZE else _good_order(weight)
        rank = np.empty(len(order), dtype=np.int64)
        rank[order] = np.arange(len(order))
        dropped[inside] = over[inside] & (rank[:, None] < rank[None, :])
    return dropped


def fewest_spans(over: Bools) -> list[Span]:
    """Cut a shot into the fewest spans that one order each can serve.

    Parameters
    ----------
    over : (frames, n, n) tables
        None of them with a ring.

    Returns
    -------
    list of Span
        Each as long as it can be. Every part of a span that can be served can be served too, so no cut can
        come later than here, and no cutting has fewer spans.

    """
    spans: list[Span] = []
    first, asked = 0, np.zeros_like(over[0])
    for frame, table in enumerate(over):
        wider = asked | table
        if (wider != asked).any() and np.diagonal(reach(wider)).any():
            spans.append(Span(first, frame - 1, asked))
            first, wider = frame, table.copy()
        asked = wider
    return [*spans, Span(first, len(over) - 1, asked)]


def nearest_order(last: Sequence[int], over: Bools) -> list[int]:
    """Return the order, back to front, that meets a table and swaps the fewest pairs of the last order.

    Parameters
    ----------
    last : sequence of int
        Layers back to front.
    over : (n, n) table
        Without a ring.

    Returns
    -------
    list of int
        The fewest swapped pairs, unless more than `EXACT_SIZE` layers lie between layers that must change
        places: then, from the back, always the layer that came first and may come now. Ties: the layer that
        came first in the last order stays first.

    Notes
    -----
    Where a cut through the last order parts no pair that must change places, sorting any valid order into
    "left of the cut" and "right of it" keeps it valid and swaps no pair more. So the order is worked out
    between such cuts.

    """
    out: list[int] = []
    for block in blocks(last, over):
        inside = over[np.ix_(block, block)]
        places = _nearest(inside) if len(block) <= EXACT_SIZE else _first_that_may(inside)
        out += [block[p] for p in places]
    return out


def blocks(last: Sequence[int], over: Bools) -> list[list[int]]:
    """Return the last order in stretches, cut wherever no pair across must change places."""
    arranged = over[np.ix_(last, last)]
    behind, above = np.nonzero(np.triu(arranged))
    inside = np.zeros(len(last), dtype=np.bool_)
    for low, high in zip(behind, above, strict=True):
        inside[low + 1 : high + 1] = True
    starts = [int(p) for p in np.flatnonzero(~inside)]
    return [list(last[low:high]) for low, high in itertools.pairwise([*starts, len(last)])]


def _best_order(weight: Ints) -> list[int]:
    """Order, back to front, with the least weight of relations whose upper layer comes to lie behind.

    Table over subsets: the cheapest way to fill the back with exactly these layers.
    """
    n = len(weight)
    added = np.zeros((n, 1 << n), dtype=np.int64)
    for t in range(n):
        added[:, 1 << t : 2 << t] = added[:, : 1 << t] + weight[t][:, None]
    best = np.zeros(1 << n, dtype=np.int64)
    masks = np.arange(1 << n)
    size = np.bitwise_count(masks)
    for count in range(1, n + 1):
        layer = masks[size == count]
        least = np.full(len(layer), np.iinfo(np.int64).max)
        for v in range(n):
            rows = np.flatnonzero(layer & (1 << v))
            without = layer[rows] ^ (1 << v)
            least[rows] = np.minimum(least[rows], best[without] + added[v, without])
        best[layer] = least
    order: list[int] = []
    left = (1 << n) - 1
    while left:
        for v in range(n):
            without = left & ~(1 << v)
            if left != without and best[without] + added[v, without] == best[left]:
                order.append(v)
                left = without
                break
    return order[::-1]


def _good_order(weight: Ints) -> list[int]:
    """Start with who is over most at the front, then move single layers while that helps."""
    gain = (weight > 0).sum(axis=1) - (weight > 0).sum(axis=0)
    order = [int(v) for v in np.argsort(gain, kind="stable")]
    helped = True
    while helped:
        helped = False
        for v in range(len(order)):
            rest = [u for u in order if u != v]
            # Price of v at place p: those behind it that should be above, and those above that should be behind.
            behind = np.concatenate([[0], np.cumsum(weight[rest, v])])
            above = np.concatenate([[0], np.cumsum(weight[v, rest])])
            price = behind + above[-1] - above
            place = int(price.argmin())
            if price[place] < price[order.index(v)]:
                order = [*rest[:place], v, *rest[place:]]
                helped = True
    return order


def _nearest(over: Bools) -> list[int]:
    """Fewest swapped pairs of 0, 1, 2, …: table over what is still to be placed in front."""
    n = len(over)
    must = [sum(1 << int(x) for x in np.flatnonzero(over[v])) for v in range(n)]
    full = (1 << n) - 1
    cost = np.full(1 << n, np.iinfo(np.int32).max, dtype=np.int64)
    cost[full] = 0
    for placed in range(full - 1, -1, -1):
        cost[placed] = min(
            (
                cost[placed | 1 << v] + (placed >> v).bit_count()
                for v in range(n)
                if not placed >> v & 1 and not must[v] & ~placed
            ),
            default=cost[placed],
        )
    order: list[int] = []
    placed = 0
    while placed != full:
        for v in range(n):
            ready = not placed >> v & 1 and not must[v] & ~placed
            if ready and cost[placed | 1 << v] + (placed >> v).bit_count() == cost[placed]:
                order.append(v)
                placed |= 1 << v
                break
    return order


def _first_that_may(over: Bools) -> list[int]:
    left = list(range(len(over)))
    order: list[int] = []
    while left:
        v = next(u for u in left if not over[u, left].any())
        order.append(v)
        left.remove(v)
    return order
