"""How much two shapes have in common within single pixels, exactly: the loops, compiled.

Within a pixel, let y run from its top to its bottom. What of a line of constant y lies in a shape is a few stretches
whose ends slide along edges, so between two heights at which an edge begins, ends, crosses another one or a side of the
pixel every length is linear in y: its value half way, times the height between, is the area. Nothing is cut by floating
point into polygons, so nothing can be lost.

Edges come cut at the borders of rows of pixels, row by row.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats
from choreo.picture.render.compiled import compiled

Ints = NDArray[np.int64]


@compiled
def by_rows(xy: Floats, start: Ints, sign: Floats, top: int, rows: int) -> tuple[Floats, Ints]:
    """Return the pieces of rings (see `scan`) row by row, and where each row's pieces begin (rows + 1,).

    A piece (5,) is x and y of its upper end, x and y of its lower end, and by how much the shape winds more around what
    lies to its right than around what lies to its left: 1 or -1.
    """
    begin = np.zeros(rows + 2, dtype=np.int64)
    for ring in range(len(sign)):
        for k in range(start[ring], start[ring + 1] - 1):
            y0, y1 = min(xy[k, 1], xy[k + 1, 1]), max(xy[k, 1], xy[k + 1, 1])
            if y1 > y0:
                for row in range(max(math.floor(y0) - top, 0), min(math.ceil(y1) - top, rows)):
                    begin[row + 2] += 1
    for row in range(rows):
        begin[row + 2] += begin[row + 1]
    pieces = np.empty((begin[rows + 1], 5))
    for ring in range(len(sign)):
        for k in range(start[ring], start[ring + 1] - 1):
            down = xy[k + 1, 1] > xy[k, 1]
            upper, lower = (k, k + 1) if down else (k + 1, k)
            x0, y0, x1, y1 = xy[upper, 0], xy[upper, 1], xy[lower, 0], xy[lower, 1]
            if not y1 > y0:
                continue
            slope, least, most = (x1 - x0) / (y1 - y0), min(x0, x1), max(x0, x1)
            for row in range(max(math.floor(y0) - top, 0), min(math.ceil(y1) - top, rows)):
                a, b = max(y0, float(top + row)), min(y1, top + row + 1.0)
                place = begin[row + 1]
                begin[row + 1] += 1
                pieces[place, 0] = min(max(x0 + (a - y0) * slope, least), most)
                pieces[place, 1] = a
                pieces[place, 2] = min(max(x0 + (b - y0) * slope, least), most)
                pieces[place, 3] = b
                pieces[place, 4] = -sign[ring] if down else sign[ring]
    return pieces, begin[: rows + 1]


@compiled
def touched(pieces: Floats, begin: Ints, xy: Floats, start: Ints, top: int, width: int) -> Ints:
    """Return the pixels (row * width + column, ascending) of a frame so wide that an outline passes through.

    Those that it covers in part are among them; `by_rows` tells what the other numbers are.
    """
    level = np.empty((len(xy), 3), dtype=np.int64)  # edges that run along rows have no pieces
    levels = 0
    for ring in range(len(start) - 1):
        for k in range(start[ring], start[ring + 1] - 1):
            if xy[k, 1] == xy[k + 1, 1]:
                low, high = min(xy[k, 0], xy[k + 1, 0]), max(xy[k, 0], xy[k + 1, 0])
                level[levels, 0] = math.floor(xy[k, 1]) - top
                level[levels, 1] = math.floor(max(low, 0.0))
                level[levels, 2] = math.floor(min(high, width - 1.0))
                levels += 1
    most = levels
    for row in range(len(begin) - 1):
        most = max(most, begin[row + 1] - begin[row] + levels)
    spans = np.empty((most, 2), dtype=np.int64)
    out, count = np.empty((len(begin) - 1) * width, dtype=np.int64), 0  # memory that is not written to is not taken
    for row in range(len(begin) - 1):
        many = 0
        for k in range(begin[row], begin[row + 1] + levels):
            if k < begin[row + 1]:
                first = math.floor(max(min(pieces[k, 0], pieces[k, 2]), 0.0))
                last = math.floor(min(max(pieces[k, 0], pieces[k, 2]), width - 1.0))
            else:
                n = k - begin[row + 1]
                first, last = level[n, 1], level[n, 2] if level[n, 0] == row else -1
            if first <= last:
                j = many - 1
                while j >= 0 and spans[j, 0] > first:
                    spans[j + 1] = spans[j]
                    j -= 1
                spans[j + 1, 0], spans[j + 1, 1] = first, last
                many += 1
        reached = -1
        for j in range(many):
            for column in range(max(spans[j, 0], reached + 1), spans[j, 1] + 1):
                out[count] = (top + row) * width + column
                count += 1
            reached = max(reached, spans[j, 1])
    return out[:count].copy()


@compiled
def _at(piece: Floats, y: float) -> float:
    x0, y0, x1, y1 = piece[0], piece[1], piece[2], piece[3]
    return float(x0 + (y - y0) * ((x1 - x0) / (y1 - y0)))


@compiled
def _heights(near: Floats, count: int, left: float, top: float, out: Floats) -> int:
    """Fill the heights at which something changes in a pixel, sorted; return how many. `near` holds its pieces."""
    many = 2
    out[0], out[1] = top, top + 1.0
    for i in range(count):
        one = near[i]
        for end in (one[1], one[3]):
            if top < end < top + 1.0:
                out[many] = end
                many += 1
        if max(one[0], one[2]) <= left:  # only how often it is wound around counts
            continue
        for side in (left, left + 1.0):
            if (one[0] - side) * (one[2] - side) < 0:
                out[many] = one[1] + (side - one[0]) / (one[2] - one[0]) * (one[3] - one[1])
                many += 1
        for j in range(i):
            two = near[j]
            a, b = max(one[1], two[1]), min(one[3], two[3])
            if a < b and max(two[0], two[2]) > left:
                before, after = _at(one, a) - _at(two, a), _at(one, b) - _at(two, b)
                if before * after < 0:
                    out[many] = a + (b - a) * (before / (before - after))
                    many += 1
    for i in range(1, many):  # few, and nearly in order
        value, j = out[i], i - 1
        while j >= 0 and out[j] > value:
            out[j + 1] = out[j]
            j -= 1
        out[j + 1] = value
    return many


@compiled
def _inside(wound: Ints, group: Ints) -> tuple[bool, bool]:
    """Whether a place is in group 0, and whether in any other one, by how often shapes wind around it."""
    here, there, inside = False, False, False
    for shape in range(len(wound)):
        begins = shape == 0 or group[shape] != group[shape - 1]
        inside = wound[shape] > 0 if begins else inside and wound[shape] <= 0
        if shape + 1 == len(wound) or group[shape + 1] != group[shape]:
            here, there = (inside, there) if group[shape] == 0 else (here, there or inside)
    return here, there


@compiled
def _lengths(
    near: Floats, count: int, y: float, left: float, cuts: Floats, wound: Ints, group: Ints
) -> tuple[float, float, float]:
    """Lengths, within the pixel from `left` on, of the line at y in group 0, in any other one, and in both.

    `wound` comes with how often shapes wind around all of the pixel's left side, and is worked on.
    """
    many = 0
    for i in range(count):
        if near[i, 1] < y < near[i, 3]:
            x = _at(near[i], y)
            if x <= left:
                wound[int(near[i, 5])] += int(near[i, 4])
            elif x < left + 1:
                j = many - 1
                while j >= 0 and cuts[j, 0] > x:
                    cuts[j + 1] = cuts[j]
                    j -= 1
                cuts[j + 1, 0], cuts[j + 1, 1], cuts[j + 1, 2] = x, near[i, 4], near[i, 5]
                many += 1
    own, others, both = 0.0, 0.0, 0.0
    at = left
    for i in range(many + 1):
        end = cuts[i, 0] if i < many else left + 1
        here, there = _inside(wound, group)
        own += (end - at) * here
        others += (end - at) * there
        both += (end - at) * (here and there)
        at = end
        if i < many:
            wound[int(cuts[i, 2])] += int(cuts[i, 1])
    return own, others, both


@compiled
def commons(index: Ints, stride: int, pieces: Floats, begin: Ints, places: Ints) -> Floats:
    """Return the areas (3, n) in pixels of group 0, of all others together, and of what it has in common with these.

    Parameters
    ----------
    index : (n,) array
        Pixels, row * stride + column.
    stride : int
    pieces : (p, 5) array
        Of k shapes, one after another; see `by_rows`.
    begin : array
        Of each shape where its rows begin among its pieces, and where the last one ends; one after another.
    places : (5, k) array
        Of each shape: where its pieces begin, where its numbers in `begin` do and end, its first row, and its group.
        Groups lie next to each other; a group is its first shape less the others.

    """
    start, first, last, tops, group = places
    out = np.zeros((3, len(index)))
    shapes = len(tops)
    base, wound = np.zeros(shapes, dtype=np.int64), np.zeros(shapes, dtype=np.int64)
    room = 64
    near, cuts, heights = np.empty((room, 6)), np.empty((room + 1, 3)), np.empty(room * (room + 8))
    for n in range(len(index)):
        row, left = index[n] // stride, float(index[n] % stride)
        most = 0
        for shape in range(shapes):
            at = first[shape] + row - tops[shape]
            if first[shape] <= at < last[shape] - 1:
                most += begin[at + 1] - begin[at]
        if most > room:
            room = 2 * most
            near, cuts, heights = np.empty((room, 6)), np.empty((room + 1, 3)), np.empty(room * (room + 8))
        count = 0
        base[:] = 0
        for shape in range(shapes):
            at = first[shape] + row - tops[shape]
            if first[shape] <= at < last[shape] - 1:
                for k in range(start[shape] + begin[at], start[shape] + begin[at + 1]):
                    piece = pieces[k]
                    if min(piece[0], piece[2]) >= left + 1:  # what lies to the right changes nothing
                        continue
                    if max(piece[0], piece[2]) <= left and piece[1] <= row and piece[3] >= row + 1:
                        base[shape] += int(piece[4])  # what passes on the left changes all alike
                        continue
                    near[count, :5] = piece
                    near[count, 5] = shape
                    count += 1
        many = _heights(near, count, left, float(row), heights)
        for i in range(many - 1):
            high = heights[i + 1] - heights[i]
            if high > 0:
                y = (heights[i] + heights[i + 1]) / 2
                wound[:] = base
                own, others, both = _lengths(near, count, y, left, cuts, wound, group)
                out[0, n] += own * high
                out[1, n] += others * high
                out[2, n] += both * high
    return out


@compiled
def in_both(one: Ints, two: Ints) -> Ints:
    """Return the numbers that two ascending lists have in common."""
    out, i, j, count = np.empty(min(len(one), len(two)), dtype=np.int64), 0, 0, 0
    while i < len(one) and j < len(two):
        if one[i] < two[j]:
            i += 1
        elif one[i] > two[j]:
            j += 1
        else:
            out[count] = one[i]
            count += 1
            i += 1
            j += 1
    return out[:count].copy()


@compiled
def in_either(one: Ints, two: Ints) -> Ints:
    """Return the numbers of two ascending lists, each once, ascending."""
    out, i, j, count = np.empty(len(one) + len(two), dtype=np.int64), 0, 0, 0
    while i < len(one) or j < len(two):
        if j == len(two) or (i < len(one) and one[i] < two[j]):
            out[count] = one[i]
            i += 1
        else:
            if i < len(one) and one[i] == two[j]:
                i += 1
            out[count] = two[j]
            j += 1
        count += 1
    return out[:count].copy()
