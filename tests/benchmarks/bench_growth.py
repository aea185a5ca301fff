"""Print how the cost of a compile grows with the number of parts, pass by pass.

    python tests/benchmarks/bench_growth.py [plan] [orbit] [sizes …]

Processor time of this process (`time.process_time`), which other processes disturb less than wall time; one
compile a size in a warm process. The exponent is the slope of the least-squares line through log time over log
parts, as is usual for estimating growth from measurements (common practice, no source).
"""

from __future__ import annotations

import inspect
import os
import sys
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line does

import numpy as np
from family import FRAMES, VIEWS, film, product

from choreo import compile as compiler
from choreo import labelled_shot, timed_shot
from choreo.picture.strip import strip_svg

SIZES = (12, 25, 50, 100)
CALLERS = (compiler, timed_shot, labelled_shot)
TIMED = ("choreo.passes.", "choreo.checks.")
"""Every function of these packages that the callers know by name is timed."""


def watched(inner, spent):
    """Return a function made to add its time to `spent`."""

    def outer(*given, **named):
        start = time.process_time()
        try:
            return inner(*given, **named)
        finally:
            spent[inner.__name__] = spent.get(inner.__name__, 0.0) + time.process_time() - start

    return outer


def passes():
    """All (caller, name, function)."""
    return [
        (caller, name, held)
        for caller in CALLERS
        for name, held in vars(caller).items()
        if inspect.isfunction(held) and held.__module__.startswith(TIMED)
    ]


def timed(count, variant):
    """Seconds of each pass, of the strip, and of the whole."""
    assembly, choreography = product(count), film(count, variant)
    known = passes()
    spent = {inner.__name__: 0.0 for _, _, inner in known}
    start = time.process_time()
    try:
        for caller, name, inner in known:
            setattr(caller, name, watched(inner, spent))
        made = compiler.compile_film(assembly, choreography)
    finally:
        for caller, name, inner in known:
            setattr(caller, name, inner)
    drawn = time.process_time()
    strip_svg(assembly, made.apart.solids, made.tracks, made.report, margins_px=made.frame.margins)
    end = time.process_time()
    return {**spent, "strip": end - drawn, "whole": end - start}


def exponent(sizes, seconds):
    """Slope of log seconds over log parts."""
    if len(sizes) < 2 or min(seconds) <= 0:
        return float("nan")
    return float(np.polyfit(np.log(sizes), np.log(seconds), 1)[0])


def main():
    words = sys.argv[1:]
    variants = [word for word in words if word in VIEWS] or list(VIEWS)
    sizes = [int(word) for word in words if word.isdigit()] or list(SIZES)
    timed(sizes[0], variants[0])  # imports, and what is made once
    for variant in variants:
        rows = [timed(size, variant) for size in sizes]
        print(f"{variant}, {FRAMES} frames".ljust(20) + "".join(f"{size:10d}" for size in sizes) + "  exponent")
        for name in rows[0]:
            spent = [row[name] for row in rows]
            line = "".join(f"{seconds:10.3f}" for seconds in spent)
            print(f"  {name:18s}{line}{exponent(sizes, spent):10.2f}", flush=True)


if __name__ == "__main__":
    main()
