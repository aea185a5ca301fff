"""A still with the noise of a high ISO: what a part shows counts for more than where its edges would also fit."""

from __future__ import annotations

import json

import numpy as np
from PIL import Image
from skimage.filters import gaussian

from choreo.cli import main

WIDTH, HEIGHT = 450, 350
BOXES = {"shell": (75, 60, 375, 290), "bar": (280, 130, 320, 260), "badge": (140, 110, 250, 220)}
"""Left, top, right and bottom on the still, px."""
CODES = 4.0
"""Noise of the still, of 255: as much as two plates and a still of a small sensor at ISO 3200 (from memory)."""


def painted(part, seed):
    """Colour of a part, on the whole still."""
    random = np.random.default_rng(seed)
    grain = gaussian(random.normal(0, 1, (HEIGHT, WIDTH)), 4)
    base = {"shell": (90, 100, 110), "bar": (190, 60, 60), "badge": (150, 150, 190)}[part]
    return np.array(base) + 18 * (grain / grain.std())[..., None]


def save(path, colour, alpha):
    pixels = np.dstack([np.clip(colour, 0, 255), 255 * alpha])
    Image.fromarray(np.rint(pixels).astype("uint8"), "RGBA").save(path)


def test_edges_that_fit_elsewhere_do_not_outvote_what_the_still_shows(tmp_path, capsys):
    still, matte = np.zeros((HEIGHT, WIDTH, 3)), np.zeros((HEIGHT, WIDTH))
    for seed, (part, (left, top, right, bottom)) in enumerate(BOXES.items()):
        colour = painted(part, seed)
        own = np.s_[top:bottom, left:right]
        still[own], matte[own] = colour[own], 1
        alpha = np.zeros((bottom - top + 24, right - left + 24))
        alpha[12:-12, 12:-12] = 1
        save(tmp_path / f"{seed}_{part}.png", colour[top - 12 : bottom + 12, left - 12 : right + 12], alpha)
    noise = np.random.default_rng(9).normal(0, CODES, still.shape)
    save(tmp_path / "hero.png", still + noise, matte)
    assert main(["new", str(tmp_path), "--scale", "shell=100mm", "--hero", "hero.png", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["warnings"] == []
    assert answer["parts"] == ["shell", "bar", "badge"]
    # By hand: the shell is 300 px wide, 3 px a mm; its middle is at (225, 175), the bar's 75 px right, 20 below.
    parts = {part["id"]: part["offset"] for part in json.loads((tmp_path / "assembly.json").read_text())["parts"]}
    np.testing.assert_allclose(parts["bar"][:2], [25, -20 / 3], atol=0.1)
    np.testing.assert_allclose(parts["badge"][:2], [-10, 10 / 3], atol=0.1)
