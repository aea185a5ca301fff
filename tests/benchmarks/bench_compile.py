"""Print what a compile costs: cold start, memory, each pass, and the collision proof against a mesh boolean.

    python tests/benchmarks/bench_compile.py [demo_assemblies/headlamp]

Every figure is the best of several runs of a whole process, or of several calls, on an otherwise idle machine.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from itertools import combinations
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
RUNS = 5


def best(call, runs=RUNS):
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return min(times)


def command(*arguments):
    subprocess.run([sys.executable, "-m", "choreo", *arguments], cwd=ROOT, check=True, capture_output=True)


def peak_memory(project):
    """Peak resident memory of one compile, MB, measured by the kernel for a child of its own."""
    with tempfile.TemporaryDirectory() as out:
        pid = os.fork()
        if pid == 0:
            os.chdir(ROOT)
            null = os.open(os.devnull, os.O_WRONLY)
            os.dup2(null, 1)
            os.execv(sys.executable, [sys.executable, "-m", "choreo", "compile", str(project), "--out", out])
        _, status, usage = os.wait4(pid, 0)
        assert status == 0
        return usage.ru_maxrss / 1024


def passes(project):
    """Wall time of each stage in a warm process, best of three, ms."""
    from choreo.compile import compile_film
    from choreo.read.project import read_project

    known = read_project(project)
    rows: dict[str, float] = {}
    for _ in range(3):
        last = [time.perf_counter()]

        def stage(name, _artefact, last=last):
            now = time.perf_counter()
            rows[name] = min(rows.get(name, float("inf")), now - last[0])
            last[0] = now

        film = compile_film(known.assembly, known.choreography, on_stage=stage)
    return rows, film, known


def collision_proof(film, known):
    """Seconds for the exact proof of all pairs over all time, and for the mesh boolean at 8 steps a frame."""
    import manifold3d
    import numpy as np
    import shapely

    from choreo.compile import _encounters
    from choreo.geometry.solids.solid import shrink
    from choreo.motion.lag import forbidden_lags
    from choreo.motion.law import evaluate_keys
    from choreo.motion.path import position
    from choreo.motion.walk import Walk

    shot, tracks = known.choreography.shots[0], film.tracks.shots[0]
    phase = next(phase for phase in shot.phases if phase.kind != "hold")
    body = film.report.body
    routes = {track.id: track.route for track in tracks.parts}

    def exact():
        encounters = _encounters(known.assembly, film.apart.solids, known.choreography.clearance_mm)
        walks = {
            part: Walk(
                float(np.linalg.norm(np.diff(routes[part], axis=0), axis=1).sum()),
                phase.motion(part).move or 20,
                phase.motion(part).easing,
                phase.kind == "assemble",
            )
            for part in routes
            if part != body
        }
        for a, b in combinations(walks, 2):
            forbidden_lags(
                lambda s, t, a=a, b=b: encounters.diagram(a, b, routes[a], routes[b], (s, t), kept=True),
                walks[a],
                walks[b],
            )
        for part in walks:
            encounters.hits(part, routes[part], body)

    def mesh(solid):
        parts = []
        for band in solid.bands:
            rings = []
            for polygon in shapely.get_parts(band.section):
                rings += [np.array(r.coords)[:-1] for r in (polygon.exterior, *polygon.interiors)]
            section = manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd)
            parts.append(manifold3d.Manifold.extrude(section, band.z1 - band.z0).translate((0, 0, band.z0)))
        return manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add)

    half = known.assembly.touch_mm / 2
    meshes = {part: mesh(shrink(solid, half, half)) for part, solid in film.apart.solids.items()}
    times = np.arange(0, (tracks.frames - 1) * 8 + 1) / 8
    places = {t.id: position(t.route, evaluate_keys(t.keys, times)) for t in tracks.parts}

    def sampled(every):
        for k in range(0, len(times), every):
            placed = {part: one.translate(tuple(places[part][k])) for part, one in meshes.items()}
            for a, b in combinations(placed, 2):
                (placed[a] ^ placed[b]).volume()

    every = 16
    return best(exact, 3), best(lambda: sampled(every), 1) * len(times) / len(range(0, len(times), every))


def main():
    project = Path(sys.argv[1] if len(sys.argv) > 1 else ROOT / "demo_assemblies" / "headlamp").resolve()
    with tempfile.TemporaryDirectory() as out:
        print(f"choreo --help            {best(lambda: command('--help')):8.3f} s   (goal 0.15)")
        cold = best(lambda: command("compile", str(project), "--out", out))
        print(f"choreo compile, cold     {cold:8.3f} s   (goal 1.0)")
    print(f"peak memory              {peak_memory(project):8.1f} MB  (goal 250)")
    rows, film, known = passes(project)
    for name, seconds in rows.items():
        print(f"  {name:24s} {1e3 * seconds:8.1f} ms")
    exact, mesh = collision_proof(film, known)
    print(f"collision proof          {exact:8.3f} s")
    print(f"mesh boolean, 8 a frame  {mesh:8.3f} s   ({mesh / exact:.0f} times; goal 20)")
    print(f"this process             {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:8.1f} MB")


if __name__ == "__main__":
    main()
