"""What a frame costs: the demo headlamp with twelve plates at 1080p, and Pillow stacking the same layers.

    python tests/benchmarks/bench_render.py

The plates are made here, from the demo's own solids in the plan view. Times are of one process with one thread (CPU
time, so that other work on the machine counts less), and of two processes that render two halves of a stretch at
once (by the clock as well, which means something on a quiet machine only). Frames are finished codes of 8 bits over a
colour, as an animatic takes them; encoding is left out. They follow each other, as in an animatic. Pillow gets the
layers placed already, and does nothing but stack them: once as pictures of the whole frame, once cut to what is not
empty. It works on 8-bit codes, not in linear light, and masks nothing. It too is run in one process and in two.

The share of memory bandwidth: what a frame has to move at the least (each layer's pixels read once at 16 bytes, the
picture written and read once, the codes written), against what one core copies between two large arrays.
"""

from __future__ import annotations

import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from choreo.compile import compile_film
from choreo.geometry.cameras.camera import orthographic_camera
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.geometry.solids.solid import build_solid
from choreo.picture.render.colour import to_8_bit
from choreo.picture.render.coverage import Window
from choreo.picture.render.facets import facets_of
from choreo.picture.render.frame import Renderer
from choreo.picture.render.plates import PlateImage
from choreo.picture.render.solids import solid_tile
from choreo.read.project import read_project

DEMO = Path(__file__).resolve().parents[2] / "demo_assemblies" / "headlamp"
PX_PER_MM = 14.0


def plates_of(assembly, solids):
    """Plates of all parts but the four screws."""
    found = {}
    for part in assembly.parts:
        if part.id.startswith("screw"):
            continue
        size = (1400, 1400)
        camera = orthographic_camera(0, 0, part.offset, PX_PER_MM, size)
        outline = silhouettes(solids[part.id], camera, np.zeros(3))[0]
        frame = Window(0, 0, *size)
        tile = solid_tile(facets_of(solids[part.id]), outline, part.colour, camera, np.zeros(3), frame)
        picture = np.zeros((size[1], size[0], 4), dtype=np.float32)
        picture[tile.window.slices] = tile.picture
        found[part.id] = PlateImage(picture, PX_PER_MM, (700.0, 700.0))
    return found


PAPER = "#e9e6df"


def timed(view, shot, frames, clock=time.process_time):
    view.on_colour(shot, frames[0], PAPER)  # what is kept for the whole shot is not paid for by one frame
    start = clock()
    for frame in frames:
        view.on_colour(shot, frame, PAPER)
    return (clock() - start) / len(frames)


def half(name, frames, gate):
    """Seconds for one process's half, begun when both are ready: by the clock, and of CPU time."""
    cv2.setNumThreads(1)
    assembly, tracks = READY[0]
    solids = {part.id: build_solid(part.slabs, part.offset) for part in assembly.parts}
    shot = next(shot for shot in tracks.shots if shot.name == name)
    view = Renderer(assembly, solids, tracks.resolution, plates=plates_of(assembly, solids), shutter=0)
    view.on_colour(shot, frames[0], PAPER)
    gate.wait()
    start = time.process_time()
    return timed(view, shot, frames, time.perf_counter) * len(frames), time.process_time() - start


READY = []


def get_ready(assembly, tracks, gate):
    READY.extend([(assembly, tracks), gate])


def run_half(name, frames):
    return half(name, frames, READY[1])


def stack_half(name, frames):
    """The same of Pillow: whole-frame layers, placed before the gate opens."""
    assembly, tracks = READY[0]
    solids = {part.id: build_solid(part.slabs, part.offset) for part in assembly.parts}
    shot = next(shot for shot in tracks.shots if shot.name == name)
    view = Renderer(assembly, solids, tracks.resolution, plates=plates_of(assembly, solids), shutter=0)
    whole = [full(image, corner, view.resolution) for image, corner in placed(view, shot, frames[0])]
    READY[1].wait()
    start, begun = time.process_time(), time.perf_counter()
    for _ in frames:
        stacked(whole, view.resolution)
    return time.perf_counter() - begun, time.process_time() - start


def by_both(assembly, tracks, shot, frames, work):
    """Frames a second of two processes, by the clock and by the CPU time of the slower one."""
    context = get_context("spawn")
    gate = context.Barrier(2)
    middle = len(frames) // 2
    with ProcessPoolExecutor(2, context, get_ready, (assembly, tracks, gate)) as pool:
        halves = [pool.submit(work, shot.name, part) for part in (frames[:middle], frames[middle:])]
        return [len(frames) / max(times) for times in zip(*(one.result() for one in halves), strict=True)]


def copied_bytes():
    """Bytes a second, read and written, of one core that copies."""
    one, two = np.ones(2**25), np.empty(2**25)
    start = time.process_time()
    for _ in range(4):
        np.copyto(two, one)
    return 4 * 2 * one.nbytes / (time.process_time() - start)


def moved_bytes(view, shot, frame):
    layers = view.layers(view.moment(shot, float(frame)))
    pixels = view.window.width * view.window.height
    return sum(layer.tile.picture.nbytes for layer in layers) + pixels * (16 + 16 + 3)


def placed(view, shot, frame):
    layers = view.stack(shot, frame, view.moment(shot, float(frame)).order)
    return [(Image.fromarray(to_8_bit(tile.picture)), (tile.window.x, tile.window.y)) for tile in layers]


def full(image, corner, size):
    out = Image.new("RGBA", size)
    out.paste(image, corner)
    return out


def stacked(whole, size):
    out = Image.new("RGBA", size)
    for each in whole:
        out = Image.alpha_composite(out, each)
    return out


def by_pillow(view, shot, frames):
    """Seconds a frame for whole-frame layers, and for layers cut to their boxes."""
    times = np.zeros(2)
    for frame in frames:
        cut = placed(view, shot, frame)
        whole = [full(image, corner, view.resolution) for image, corner in cut]
        start = time.process_time()
        stacked(whole, view.resolution)
        middle = time.process_time()
        out = Image.new("RGBA", view.resolution)
        for image, corner in cut:
            out.alpha_composite(image, corner)
        times += (middle - start, time.process_time() - middle)
    return times / len(frames)


def compared(project, tracks, shot, frames, each, whole):
    """Say what one and two processes of ours do, and of Pillow."""
    ours = by_both(project.assembly, tracks, shot, frames, run_half)
    theirs = by_both(project.assembly, tracks, shot, frames, stack_half)
    for name, one, (clock, cpu) in (("ours", each, ours), ("Pillow", whole, theirs)):
        print(f"  {name}: {one * 1e3:.1f} ms a frame, {1 / one:.0f} frames/s in one process;", end=" ")
        print(f"in two {clock:.0f} by the clock, {cpu:.0f} by CPU time")
    print(f"  one of ours against one Pillow {whole / each:.1f} times as fast,", end=" ")
    print(f"two against one {ours[1] * whole:.1f} times, two against two {ours[1] / theirs[1]:.1f} times (CPU time)")


def whole_film(project, tracks, view):
    """Say what all frames of the film take, one shot after the other, unblurred; each process draws half a shot."""
    names, seconds = ("ours in one process", "ours in two", "one Pillow"), np.zeros(3)
    for shot in tracks.shots:
        frames = list(range(shot.frames))
        both = by_both(project.assembly, tracks, shot, frames, run_half)[1]
        pillow = by_pillow(view, shot, frames[::10])[0]
        seconds += np.array([timed(view, shot, frames), 1 / both, pillow]) * shot.frames
    rates = sum(shot.frames for shot in tracks.shots) / seconds
    print("the whole film, CPU time:", ", ".join(f"{n} {r:.0f} frames/s" for n, r in zip(names, rates, strict=True)))
    print(f"  {rates[0] / rates[2]:.1f} and {rates[1] / rates[2]:.1f} times as fast as one Pillow")


def main():
    cv2.setNumThreads(1)
    project = read_project(DEMO)
    film = compile_film(project.assembly, project.choreography)
    solids, size = film.apart.solids, film.tracks.resolution
    plates = plates_of(project.assembly, solids)
    print(f"{len(plates)} plates and {len(solids) - len(plates)} solids, {size[0]} x {size[1]}, 8-bit sRGB out")
    speed = copied_bytes()
    for shot in film.tracks.shots:
        middle = shot.frames // 2
        frames = list(range(middle - 30, middle + 10))
        view = Renderer(project.assembly, solids, size, plates=plates, shutter=0)
        each = timed(view, shot, frames)
        whole, cut = by_pillow(view, shot, frames[::10])
        print(f"{shot.name}, shutter 0:")
        compared(project, film.tracks, shot, frames, each, whole)
        print(f"  Pillow, layers cut to their boxes: {cut * 1e3:.1f} ms a frame")
        share = np.mean([moved_bytes(view, shot, frame) for frame in frames[::10]]) / each / speed
        print(f"  {100 * share:.0f} % of what one core copies ({speed / 1e9:.1f} GB/s)")
        small = Renderer(project.assembly, solids, size, plates=plates, shutter=0, size="half")
        print(f"  half size: {timed(small, shot, frames) * 1e3:.1f} ms a frame")
        alone = Renderer(project.assembly, solids, size, shutter=0)
        print(f"  solids only: {timed(alone, shot, frames[10:22]) * 1e3:.1f} ms a frame")
        blurred = Renderer(project.assembly, solids, size, plates=plates, shutter=180)
        print(f"  shutter 180: {timed(blurred, shot, frames[10:22]) * 1e3:.0f} ms a frame")
    whole_film(project, film.tracks, Renderer(project.assembly, solids, size, plates=plates, shutter=0))


if __name__ == "__main__":
    main()
