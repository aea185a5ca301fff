"""Print how the cost of a compile grows with the number of parts, pass by pass.

    python tests/benchmarks/bench_growth.py [plan] [orbit] [sizes …]

Processor time of this process (`time.process_time`), which other processes disturb less than wall time; one
compile a size in a warm process. The exponent is the slope of the least-squares line through log time over log
parts, as is usual for estimating growth from measurements (common practice, no source).
"""

from __future__ import annotations

import sys
import time

import numpy as np
from family import FRAMES, VIEWS, film, product

from choreo import compile as compiler
from choreo.picture.strip import strip_svg

SIZES = (12, 25, 50, 100)
PASSES = (
    *("build_solid", "find_overlaps", "find_contacts", "find_loose_joints", "plan_removal", "plan_ways"),
    *("plan_layout", "plan_schedule", "sample_tracks", "check_framing", "visibility", "masking", "handoff"),
    *("check_tracks", "summarise"),
)
"""What `choreo.compile` calls by name."""


def watched(name, spent):
    """Return the function of that name, made to add its time to `spent`."""
    inner = getattr(compiler, name)

    def outer(*given, **named):
        start = time.process_time()
        try:
            return inner(*given, **named)
        finally:
            spent[name] = spent.get(name, 0.0) + time.process_time() - start

    return inner, outer


def timed(count, variant):
    """Seconds of each pass, of the strip, and of the whole."""
    assembly, choreography = product(count), film(count, variant)
    spent: dict[str, float] = {}
    known = {name: watched(name, spent) for name in PASSES}
    start = time.process_time()
    try:
        for name, (_, outer) in known.items():
            setattr(compiler, name, outer)
        made = compiler.compile_film(assembly, choreography)
    finally:
        for name, (inner, _) in known.items():
            setattr(compiler, name, inner)
    drawn = time.process_time()
    strip_svg(assembly, made.apart.solids, made.tracks, made.report, margins_px=made.frame.margins)
    end = time.process_time()
    return {**{name: spent.get(name, 0.0) for name in PASSES}, "strip": end - drawn, "whole": end - start}


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
