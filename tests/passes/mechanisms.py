"""Mechanisms of unit cubes, made by hand, in which parts leave only together."""


def block(x, y, z):
    """All cells of a box, ends included."""
    return {(a, b, c) for a in range(x[0], x[1] + 1) for b in range(y[0], y[1] + 1) for c in range(z[0], z[1] + 1)}


def turned(cells):
    """With x and y exchanged."""
    return {(y, x, z) for x, y, z in cells}


# The two hooks of the single parts: they come apart along x alone, and only with room for it.
HOOK = block((-2, 1), (-1, 1), (0, 0)) - block((-2, 0), (0, 0), (0, 0))
EYE = block((0, 3), (0, 0), (-1, 1)) - block((1, 3), (0, 0), (0, 0))
AROUND = block((-2, 3), (-1, 1), (-1, 1))
HOOKED = {"frame": block((-3, 4), (-2, 2), (-2, 1)) - AROUND, "hook": HOOK, "eye": EYE}
_CASE = turned(block((-3, 4), (-2, 1), (-2, 2)) - AROUND)
_BOX = block((-3, 2), (-4, 5), (-3, 2)) - block((-2, 1), (-3, 4), (-2, 2))
NESTED = {"box": _BOX, "case": _CASE, "hook": turned(HOOK), "eye": turned(EYE)}
_RING = block((0, 4), (-2, 2), (0, 0)) - block((1, 3), (-1, 1), (0, 0))
_LINK = block((-2, 2), (0, 0), (-2, 2)) - block((-1, 1), (0, 0), (-1, 1))
LINKED = {"tray": block((-3, 5), (-3, 3), (-3, -3)), "ring": _RING, "link": _LINK}
