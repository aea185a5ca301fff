"""From ten plates of 4096 x 2160 px to a compiled strip, by the README's steps: what each step costs.

    python tests/benchmarks/bench_plates.py [--parts 10] [--size 4096x2160] [--frames one|own] [--keep FOLDER]

The plates show an invented radio: a case, and round and square parts on it, with soft edges and a texture of many
sizes. ``--frames one``: all in the hero's frame, as a locked-off camera leaves them; ``own``: each cropped around its
part, of its own size, so that it has to be found on the hero. Elapsed seconds, and processor seconds of both cores.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

ROOT = Path(__file__).parents[2]
HAND_OFF = ("  [shot.handoff]", "  frames = 8 ")
"""How the lines begin with which a new project hands over to the still."""


def shapes(parts: int, size: tuple[int, int]) -> list[list[tuple[float, float]]]:
    """Corners of each part, px: a case, and the others in two rows on it."""
    width, height = size
    unit = height / 2160
    middle = np.array([width / 2, height / 2])
    right = [(1500, -800), (1600, -700), (1600, 700), (1500, 800)]
    case = [*right, *((-x, -y) for x, y in right)]
    found = [[tuple(middle + unit * np.array(corner)) for corner in case]]
    columns = -(-(parts - 1) // 2)
    for k in range(parts - 1):
        x = (k % columns + 0.5 - columns / 2) * 2900 / columns
        y = (-370, 370)[k // columns]
        radius = min(280, 1100 / columns) * (1 - 0.05 * (k % 3))
        corners = 90 if k % 2 else 6
        turns = 2 * np.pi * (np.arange(corners) + 0.3 * k) / corners
        ways = np.stack([np.cos(turns), np.sin(turns)], axis=1)
        found.append([tuple(middle + unit * (np.array([x, y]) + radius * way)) for way in ways])
    return found


def texture(size: tuple[int, int], seed: int) -> np.ndarray:
    """(h, w, 3) 8 bit: noise of many sizes, brushed light, and engraved rings."""
    width, height = size
    random = np.random.default_rng(seed)
    total = np.zeros((height, width, 3), np.float32)
    for level, weight in ((8, 34.0), (32, 40.0), (128, 40.0)):
        small = random.uniform(-1, 1, (height // level + 2, width // level + 2, 3)).astype(np.float32)
        planes = [np.asarray(Image.fromarray(small[..., c]).resize(size, Image.Resampling.BICUBIC)) for c in range(3)]
        total += weight * np.stack(planes, axis=-1)
    return np.clip(128 + total, 20, 235).astype(np.uint8)


def matte(size: tuple[int, int], corners: list[tuple[float, float]]) -> np.ndarray:
    """(h, w) 8 bit, edges soft over a px or two."""
    whole = Image.new("L", (size[0] * 2, size[1] * 2))
    ImageDraw.Draw(whole).polygon([(2 * x - 0.5, 2 * y - 0.5) for x, y in corners], fill=255)
    return np.asarray(whole.resize(size, Image.Resampling.BILINEAR))


def draw(folder: Path, parts: int, size: tuple[int, int], *, own_frames: bool) -> None:
    hero = np.zeros((size[1], size[0], 4), np.uint8)
    for k, corners in enumerate(shapes(parts, size)):
        picture = np.dstack([texture(size, k), matte(size, corners)])
        box = np.array(corners)
        if own_frames:
            low = np.maximum(np.floor(box.min(axis=0)) - 40 - 8 * k, 0).astype(int)
            high = np.minimum(np.ceil(box.max(axis=0)) + 60 + 6 * k, size).astype(int)
            cut = picture[low[1] : high[1], low[0] : high[0]]
        else:
            cut = picture
        Image.fromarray(cut).save(folder / f"{k + 1:02d}_part{k}.png", compress_level=1)
        share = picture[..., 3:].astype(np.uint16)
        hero[..., :3] = ((picture[..., :3] * share + hero[..., :3] * (255 - share) + 127) // 255).astype(np.uint8)
        hero[..., 3] = np.maximum(hero[..., 3], picture[..., 3])
    Image.fromarray(hero).save(folder / "hero.png", compress_level=1)


def step(name: str, *arguments: str) -> float:
    """Run a command, print what it cost, return the elapsed seconds."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "choreo", *arguments],
        cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    elapsed, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print(f"{name:24s} {elapsed:7.2f} s elapsed {used:7.2f} s of processor   exit {done.returncode}")
    if done.returncode:
        print(done.stdout + done.stderr)
    return elapsed


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--parts", type=int, default=10)
    parser.add_argument("--size", default="4096x2160")
    parser.add_argument("--frames", choices=("one", "own"), default="one")
    parser.add_argument("--keep", type=Path, help="draw into this folder, and leave it there")
    asked = parser.parse_args()
    width, height = (int(number) for number in asked.size.split("x"))
    with tempfile.TemporaryDirectory() as scratch:
        folder = asked.keep or Path(scratch) / "radio"
        folder.mkdir(parents=True, exist_ok=True)
        draw(folder, asked.parts, (width, height), own_frames=asked.frames == "own")
        total = step("new, with the hero", "new", str(folder), "--scale", "part0=160mm", "--hero", "hero.png")
        total += step("compile", "compile", str(folder))
        print(f"{'from plates to strip':24s} {total:7.2f} s elapsed   (goal: 15)")
        film = folder / "choreography.toml"
        text = film.read_text()
        film.write_text("".join(line for line in text.splitlines(keepends=True) if not line.startswith(HAND_OFF)))
        step("compile, no hand-off", "compile", str(folder))
        film.write_text(text.replace(HAND_OFF[0] + "\n", HAND_OFF[0] + "\n  settle_into_register = true\n"))
        step("compile, settling", "compile", str(folder))


if __name__ == "__main__":
    main()
