"""What a frame costs: the demo headlamp with twelve plates at 1080p, and Pillow stacking the same layers.

    python tests/benchmarks/bench_render.py

The plates are made here, from the demo's own solids in the plan view. Times are of one process with one thread (CPU
time, so that other work on the machine does not count), and of two processes that render two halves of a stretch at
once (by the clock as well, which means something on a quiet machine only). Frames are finished codes of 8 bits over a
colour, as an animatic takes them; encoding is left out. Pillow gets the layers placed already, and does nothing but
stack them: once as pictures of the whole frame, once cut to what is not empty. It works on 8-bit codes, not in linear
light, and masks nothing.

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


def by_both(assembly, tracks, shot, frames):
    """Frames a second of two processes, by the clock and by the CPU time of the slower one."""
    context = get_context("spawn")
    gate = context.Barrier(2)
    middle = len(frames) // 2
    with ProcessPoolExecutor(2, context, get_ready, (assembly, tracks, gate)) as pool:
        halves = [pool.submit(run_half, shot.name, part) for part in (frames[:middle], frames[middle:])]
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


def by_pillow(view, shot, frames):
    """Seconds a frame for whole-frame layers, and for layers cut to their boxes."""
    times = np.zeros(2)
    for frame in frames:
        layers = view.stack(shot, frame, view.moment(shot, float(frame)).order)
        cut = [(Image.fromarray(to_8_bit(tile.picture)), (tile.window.x, tile.window.y)) for tile in layers]
        whole = []
        for image, corner in cut:
            full = Image.new("RGBA", view.resolution)
            full.paste(image, corner)
            whole.append(full)
        start = time.process_time()
        out = Image.new("RGBA", view.resolution)
        for full in whole:
            out = Image.alpha_composite(out, full)
        middle = time.process_time()
        out = Image.new("RGBA", view.resolution)
        for image, corner in cut:
            out.alpha_composite(image, corner)
        times += (middle - start, time.process_time() - middle)
    return times / len(frames)


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
        print(f"{shot.name}, shutter 0: {each * 1e3:.1f} ms a frame, {1 / each:.0f} frames/s in one process,", end=" ")
        clock, cpu = by_both(project.assembly, film.tracks, shot, frames)
        print(f"in two {clock:.0f} by the clock, {cpu:.0f} by CPU time;", end=" ")
        print(f"Pillow {whole * 1e3:.1f} ms ({whole / each:.1f} times ours),", end=" ")
        print(f"cut to boxes {cut * 1e3:.1f} ms ({cut / each:.1f} times)")
        share = np.mean([moved_bytes(view, shot, frame) for frame in frames[::10]]) / each / speed
        print(f"  {100 * share:.0f} % of what one core copies ({speed / 1e9:.1f} GB/s)")
        small = Renderer(project.assembly, solids, size, plates=plates, shutter=0, size="half")
        print(f"  half size: {timed(small, shot, frames) * 1e3:.1f} ms a frame")
        alone = Renderer(project.assembly, solids, size, shutter=0)
        print(f"  solids only: {timed(alone, shot, frames[::10]) * 1e3:.1f} ms a frame")
        blurred = Renderer(project.assembly, solids, size, plates=plates, shutter=180)
        print(f"  shutter 180: {timed(blurred, shot, frames[1::13]) * 1e3:.0f} ms a frame")


if __name__ == "__main__":
    main()
