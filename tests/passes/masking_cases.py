"""Hand-made assemblies for the tests of visibility and masking, all invented."""

import functools

import numpy as np

from choreo.model.assembly import Slab

TOUCH_MM = 0.05


def ring(radius, count=24, x=0.0, y=0.0):
    angle = np.arange(count) * 2 * np.pi / count
    points = np.array([x, y]) + radius * np.column_stack([np.cos(angle), np.sin(angle)])
    return tuple(map(tuple, points.tolist()))


def rect(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def slab(outline, z0, z1, *holes):
    return Slab(tuple(map(tuple, outline)), tuple(tuple(map(tuple, h[::-1])) for h in holes), (float(z0), float(z1)))


@functools.lru_cache
def assemblies():
    cup = [slab(ring(30), 0, 2), slab(ring(30), 2, 20, ring(24))]
    u_body = [
        slab(rect(-30, -20, 30, 20), 0, 3),
        slab([(-30, -20), (30, -20), (30, -8), (-22, -8), (-22, 8), (30, 8), (30, 20), (-30, 20)], 3, 9),
        slab(rect(-30, -20, 30, 20), 9, 12),
    ]
    quarter = [(4, -12), (4, -4), (12, -4)]
    cross = [(c * x - s * y, s * x + c * y) for c, s in ((1, 0), (0, 1), (-1, 0), (0, -1)) for x, y in quarter]
    return {
        # name: (parts, direction in which each leaves)
        "stack": (
            [[slab(rect(-30, -20, 30, 20), 0, 5)], [slab(rect(-20, -15, 20, 15), 5, 9)], [slab(ring(12), 9, 14)]],
            [(0, 0, 0), (0, 0, 1), (0, 0, 2)],
        ),
        "ring with a cell inside": ([cup, [slab(ring(14), 2, 17)]], [(0, 0, 0), (0, 0, 1)]),
        "tongue under a face plate": ([u_body, [slab(rect(-22, -8, 34, 8), 3, 9)]], [(0, 0, 0), (1, 0, 0)]),
        "pinwheel": (pinwheel(), [(0, 0, 0)] * 4),
        "screw in a hole": (
            [
                [slab(rect(-25, -25, 25, 25), 0, 10, ring(5))],
                [slab(ring(5), 1, 10), slab(ring(9, 6), 10, 14)],
            ],
            [(0, 0, 0), (0, 0, 1)],
        ),
        "cross in a cross-shaped hole": (
            [[slab(ring(20), 0, 10, cross)], [slab([(0.98 * x, 0.98 * y) for x, y in cross], 1, 12)]],
            [(0, 0, 0), (0, 0, 1)],
        ),
        "two hooks": (
            [
                [slab([(-20, -20), (20, -20), (20, -10), (-10, -10), (-10, 20), (-20, 20)], 0, 8)],
                [slab([(20, 20), (-5, 20), (-5, 10), (10, 10), (10, -5), (20, -5)], 2, 11)],
            ],
            [(0, 0, 0), (1, 1, 0)],
        ),
        "tall post in a shallow ring": (
            [[slab(ring(20), 0, 6, ring(7))], [slab(ring(6), 0, 40)]],
            [(0, 0, 0), (0, 0, 1)],
        ),
        "collar around a post of a plate": (
            [[slab(ring(28), 0, 2), slab(ring(4), 2, 9)], [slab(ring(12), 3, 8, ring(6))]],
            [(0, 0, 0), (0, 0, 1)],
        ),
        "clip around a post of a plate": (
            [
                [slab(ring(28), 0, 2), slab(ring(4), 2, 12)],
                [slab([(-9, -9), (9, -9), (9, -5), (-5, -5), (-5, 5), (9, 5), (9, 9), (-9, 9)], 3, 8)],
            ],
            [(0, 0, 0), (-1, 0, 0)],
        ),
        "splined collar on a splined post": (
            [
                [slab(ring(28), 0, 2), slab([(0.7 * x, 0.7 * y) for x, y in cross], 2, 14)],
                [slab(ring(12), 3, 8, [(0.75 * x, 0.75 * y) for x, y in cross])],
            ],
            [(0, 0, 0), (0, 0, 1)],
        ),
        "pin through a flange from below": (
            [
                [slab(ring(20), 0, 6, ring(6)), slab(ring(16), 6, 14, ring(9))],
                [slab(ring(6), -10, 8)],
                [slab(ring(8.5), 8, 12, ring(3))],
            ],
            [(0, 0, 0), (0, 0, -1), (0, 0, 1)],
        ),
    }


def pinwheel():
    # asm.dbg.pinwheel: four bars, A over B over C over D over A (Wilson and Latombe 1994, directional blocking
    # graphs; Newell, Newell and Sancha 1972 for the cyclic overlap, that year from memory). Unit cells of 10 mm.
    cells = {
        "A": [[0, 0, 0], [1, 0, 0], [1, 0, 1], [2, 0, 1], [3, 0, 1]],
        "B": [[3, 0, 0], [3, 1, 0], [3, 2, 0], [3, 2, 1], [3, 3, 1]],
        "C": [[0, 3, 1], [1, 3, 1], [2, 3, 0], [2, 3, 1], [3, 3, 0]],
        "D": [[0, 0, 1], [0, 1, 1], [0, 2, 0], [0, 2, 1], [0, 3, 0]],
    }
    return [
        [slab(rect(10 * x, 10 * y, 10 * x + 10, 10 * y + 10), 10 * z, 10 * z + 10) for x, y, z in bar]
        for bar in cells.values()
    ]
