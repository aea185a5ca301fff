"""What layers and mattes of a frame cost: the demo headlamp with its plates at 1080p, in every kind of file.

    python tests/benchmarks/bench_sequences.py

CPU time of one process, so that other work on the machine does not count, and the size of the files; beside them the
frame alone, as it is drawn for an animatic, without encoding. Some frames of each shot, without and with motion blur.
"""

from __future__ import annotations

import time
from pathlib import Path

import cv2

from choreo.frames.film import film_of
from choreo.frames.layers import LayerFiles
from choreo.frames.mattes import MatteFiles
from choreo.frames.scene import scene_of
from choreo.frames.sequences import constant_order, pictured_parts
from choreo.picture.render.exposure import HERO
from choreo.read.project import read_project

DEMO = Path(__file__).resolve().parents[2] / "demo_assemblies" / "headlamp"
FRAMES = range(40, 43)


def drawers(scene):
    parts = pictured_parts(scene)
    order = (*constant_order(scene.tracks), *([HERO] if HERO in parts else []))
    for kind in ("exr", "png16", "png8"):
        yield f"layers {kind}", LayerFiles(order, kind, 1001)
    for kind in ("exr", "png16", "png8"):
        yield f"mattes {kind}", MatteFiles(parts, kind, 1001, by_id=False)
    yield "ID mattes", MatteFiles(parts, "exr", 1001, singly=False)


def cost(draw, frames):
    """Milliseconds and megabytes a frame."""
    start, size = time.process_time(), 0
    for frame in frames:
        size += sum(map(len, (draw(frame) or {}).values()))
    return (time.process_time() - start) / len(frames) * 1e3, size / len(frames) / 1e6


def main():
    cv2.setNumThreads(1)
    film = film_of(read_project(DEMO), lambda *_: None)
    for shutter in (0.0, 180.0):
        for shot in film.tracks.shots:
            scene = scene_of(film, "full", shutter)
            view = scene.renderer(shot.name)
            view.picture(shot, FRAMES[0] - 1)
            took, _ = cost(lambda f, view=view, shot=shot: view.frame(shot, f) is None or {}, FRAMES)
            print(f"{shot.name}, shutter {shutter:.0f}: frame alone {took:.0f} ms")
            for name, draw in drawers(scene):
                took, size = cost(lambda f, draw=draw, view=view, shot=shot: draw(view, shot, f), FRAMES)
                print(f"  {name}: {took:.0f} ms, {size:.2f} MB")


if __name__ == "__main__":
    main()
