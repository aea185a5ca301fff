"""Share the frames of one move among the stretches between its stops."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise


def share_frames(lengths: Sequence[float], frames: int) -> tuple[int, ...]:
    """Return whole frames for each stretch, as near to its share of the way as can be.

    Parameters
    ----------
    lengths : sequence of float
        mm, one a stretch, not negative.
    frames : int
        To share, at least one for each stretch.

    Returns
    -------
    tuple of int
        At least 1 each; they add up to `frames`. The frames that rounding down leaves over go to the stretches that
        lack most, earlier ones first (the rule of the largest remainder).

    Raises
    ------
    ValueError
        If there are fewer frames than stretches.

    """
    if frames < len(lengths):
        raise ValueError(f"{len(lengths)} stretches cannot share {frames} frames")
    total = sum(lengths)
    ideal = [frames * (length / total if total > 0 else 1 / len(lengths)) for length in lengths]
    shares = [max(1, int(share)) for share in ideal]
    while sum(shares) < frames:
        shares[max(range(len(shares)), key=lambda k: (ideal[k] - shares[k], -k))] += 1
    while sum(shares) > frames:
        over = [k for k, share in enumerate(shares) if share > 1]
        shares[max(over, key=lambda k: (shares[k] - ideal[k], -k))] -= 1
    return tuple(shares)


def passed_marks(marks: Sequence[float], frames: int) -> list[float]:
    """Return the marks of a way without those stops that a move of so few frames cannot make.

    Each stretch takes a frame at least. While there are more stretches than frames, the shortest one is joined to
    the shorter of its neighbours, earlier ones first.
    """
    kept = list(marks)
    while len(kept) - 1 > max(frames, 1):
        sizes = [abs(b - a) for a, b in pairwise(kept)]
        shortest = min(range(len(sizes)), key=lambda k: (sizes[k], k))
        beside = [k for k in (shortest - 1, shortest + 1) if 0 <= k < len(sizes)]
        neighbour = min(beside, key=lambda k: (sizes[k], k))
        del kept[max(shortest, neighbour)]
    return kept
