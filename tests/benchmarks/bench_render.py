"""What a frame costs: the demo headlamp with twelve plates at 1080p, and Pillow stacking the same layers.

    python tests/benchmarks/bench_render.py

The plates are made here, from the demo's own solids in the plan view. Times are of one process with one thread,
encoding left out; two processes that render two halves of a shot share nothing, so what two cores do is twice
that at best (printed as such). Pillow gets the layers placed already, and does nothing but stack them: once as
pictures of the whole frame, once cut to what is not empty. It works on 8-bit codes, not in linear light.
"""

from __future__ import annotations

import time
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from choreo.compile import compile_film
from choreo.geometry.camera import orthographic_camera
from choreo.geometry.silhouette import silhouettes
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


def timed(view, shot, frames, bits=8):
    view.frame(shot, frames[0], bits)  # what is kept for the whole shot is not paid for by one frame
    start = time.process_time()
    for frame in frames:
        view.frame(shot, frame, bits)
    return (time.process_time() - start) / len(frames)


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
    for shot in film.tracks.shots:
        middle = shot.frames // 2
        frames = list(range(middle - 30, middle + 10))
        view = Renderer(project.assembly, solids, size, plates=plates, shutter=0)
        each = timed(view, shot, frames)
        whole, cut = by_pillow(view, shot, frames[::10])
        print(f"{shot.name}, shutter 0: {each * 1e3:.1f} ms a frame, {1 / each:.0f} frames/s in one process,", end=" ")
        print(f"{2 / each:.0f} at best in two; Pillow {whole * 1e3:.1f} ms ({whole / each:.1f} times ours),", end=" ")
        print(f"cut to boxes {cut * 1e3:.1f} ms ({cut / each:.1f} times)")
        half = Renderer(project.assembly, solids, size, plates=plates, shutter=0, size="half")
        print(f"  half size: {timed(half, shot, frames) * 1e3:.1f} ms a frame")
        alone = Renderer(project.assembly, solids, size, shutter=0)
        print(f"  solids only: {timed(alone, shot, frames[::10]) * 1e3:.1f} ms a frame")
        blurred = Renderer(project.assembly, solids, size, plates=plates, shutter=180)
        print(f"  shutter 180: {timed(blurred, shot, frames[1::13]) * 1e3:.0f} ms a frame")


if __name__ == "__main__":
    main()
