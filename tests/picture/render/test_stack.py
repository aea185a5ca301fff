"""Layers in one constant order: what they stack to by plain over, moving and under a hero, and as files round them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from scenes import SIZE, box, part, renderer, shot_of

from choreo.model.tracks import Key
from choreo.picture.render.colour import to_8_bit, to_16_bit
from choreo.picture.render.coverage import Window
from choreo.picture.render.exposure import HERO, Shown
from choreo.picture.render.plates import PlateImage
from choreo.picture.render.stack import Ordered, codes_8_bit, codes_16_bit, halves, in_order, ordered
from choreo.picture.render.stack_mended import mended_8_bit
from choreo.picture.render.tile import Tile

FRAME = Window(0, 0, *SIZE)
STORES = {"8": mended_8_bit, "16": codes_16_bit, "half": halves}


def light_of(codes):
    """IEC 61966-2-1, in double precision: written here once more, so that the project's own is not its referee."""
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def codes_of(light):
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055) * 255


def over(layers, shape=(SIZE[1], SIZE[0], 4)):
    """Porter and Duff 1984, plain over, in double precision, back to front; of files, as their kind is read."""
    out = np.zeros(shape)
    for layer in layers:
        pixels = layer.pixels.astype(np.float64) if hasattr(layer, "pixels") else layer.picture.astype(np.float64)
        if hasattr(layer, "pixels") and layer.pixels.dtype.kind == "u":
            pixels /= np.iinfo(layer.pixels.dtype).max
            pixels[..., :3] = light_of(pixels[..., :3]) * pixels[..., 3:]
        rows, columns = layer.window.slices
        out[rows, columns] = pixels + (1 - pixels[..., 3:]) * out[rows, columns]
    return out


def apart(stacked, light):
    """Codes of 8 bits between two pictures: of alpha, and of colour as far as it can be seen."""
    both = [np.round(codes_of(p[..., :3] / np.maximum(p[..., 3:], 1e-9))) for p in (stacked, light)]
    alpha = np.abs(np.floor(stacked[..., 3] * 255 + 0.5) - np.floor(light[..., 3] * 255 + 0.5))
    colour = np.abs(both[0] - both[1]).max(axis=-1) * light[..., 3]
    return alpha.max(), colour.max()


def still_plate():
    picture = np.zeros((40, 60, 4), dtype=np.float32)
    picture[5:35, 5:55] = (0.9, 0.1, 0.1, 1.0)
    picture[5, 5:55] = (0.45, 0.05, 0.05, 0.5)
    return PlateImage(picture, 2.0, (30.0, 20.0))


def busy():
    """Three parts that fly through one another's way, white before black, at any frame under a hero that comes in."""
    parts = [
        part("back", box(-22, -15, 20, 12, 9), (0, 2), "#101010"),
        part("middle", box(-12, -8, 9, 14, 31), (3, 5), "#ffffff"),
        part("front", box(-6, -14, 4, 9, 12), (6, 8), "#202060"),
    ]
    routes = {"back": [[0, 0, 0], [-6, 3, 0]], "middle": [[0, 0, 0], [40, 9, 0]], "front": [[0, 0, 0], [-30, -20, 0]]}
    keys = {name: (Key(0, 0.0), Key(3, 1.0)) for name in routes}
    shot = shot_of(
        parts, ("back", "middle", "front"), routes, keys,
        hero=(0.0, 0.2, 1.0, 1.0), opacity={"front": 0.8},
    )  # fmt: skip
    return renderer(parts, shutter=180.0, hero=still_plate()), shot


def orders():
    return [(*some, HERO) for some in itertools.permutations(("back", "middle", "front"))]


@pytest.mark.parametrize("frame", range(4))
def test_layers_of_moving_parts_stack_to_the_blurred_frame_in_any_order(frame):
    view, shot = busy()
    picture = view.picture(shot, frame).astype(np.float64)
    for order in orders():
        layers = view.stack(shot, frame, order)
        assert np.abs(over(layers) - picture).max() < 1e-5
        for layer in layers:
            assert layer.picture.min() >= 0
            assert layer.picture[..., 3].max() <= 1
            assert (layer.picture[..., :3] <= layer.picture[..., 3:] + 1e-6).all()


@pytest.mark.parametrize("kind", STORES)
@pytest.mark.parametrize("frame", [0, 1, 2])
def test_layers_as_files_stack_to_the_frame_within_a_code(kind, frame):
    view, shot = busy()
    picture = view.picture(shot, frame).astype(np.float64)
    for order in orders():
        files = STORES[kind](ordered(view.shown(shot, frame), order, FRAME), FRAME)
        assert max(apart(over(files), picture)) <= 1 + 1e-6, order


def test_a_part_that_goes_behind_another_while_the_shutter_is_open():
    # It shows whole at first; it leaves the room that it began in (64 px); at last nothing of it is seen.
    parts = [
        part("goes", box(-20, -5, -14, 5), (0, 2), "#ffffff"),
        part("wall", box(-2, -20, 25, 20), (5, 6), "#000000"),
    ]
    shot = shot_of(parts, ("goes", "wall"), {"goes": [[0, 0, 0], [40, 0, 0]]}, {"goes": (Key(0, 0.0), Key(4, 1.0))})
    view = renderer(parts, shutter=360.0)
    for frame in (1, 2, 3):
        picture = view.picture(shot, frame).astype(np.float64)
        goes = next(one for one in view.shown(shot, frame) if one.part == "goes")
        # By hand: 12 x 20 px that go 20 px a frame, from half a frame before to half a frame after, to the wall at 56.
        left = 20 + 20 * (frame + (np.arange(40000) + 0.5) / 40000 - 0.5)
        assert goes.whole[..., 3].sum() == pytest.approx(240, rel=1e-4)
        assert goes.light[..., 3].sum() == pytest.approx(20 * np.clip(56 - left, 0, 12).mean(), abs=0.1)
        for order in (("goes", "wall"), ("wall", "goes")):
            assert np.abs(over(view.stack(shot, frame, order)) - picture).max() < 1e-5


def test_mean_of_masks_is_not_what_makes_it_right():
    # Layers of instants, averaged and stacked, are off where parts pass before each other: hence the shares.
    view, shot = busy()
    picture = view.picture(shot, 1).astype(np.float64)
    shown = {one.part: one for one in view.shown(shot, 1)}
    plain = [Ordered(n, shown[n].window, shown[n].whole, shown[n].whole) for n in ("back", "middle", "front", HERO)]
    wrong = over([Tile(one.window, one.free) for one in plain])
    assert max(apart(wrong, picture)) > 5


def test_mattes_sum_to_the_alpha_of_the_frame():
    view, shot = busy()
    for frame in range(4):
        alpha = view.picture(shot, frame)[..., 3].astype(np.float64)
        total = np.zeros_like(alpha)
        for one in view.shown(shot, frame):
            total[one.window.slices] += one.light[..., 3]
        assert np.abs(total - alpha).max() < 1e-5


def test_a_hero_that_covers_all_leaves_the_layers_below_as_they_are_without_it():
    view, shot = busy()
    order = ("middle", "back", "front")
    bare = {tile.window: tile.picture for tile in view.stack(shot, 3, order)}
    assert shot.hero_opacity[3] == 1
    under = view.stack(shot, 3, (*order, HERO))
    hero, parts = under[-1], under[:-1]
    assert hero.picture[..., 3].max() == pytest.approx(1)
    for tile in parts:
        # As good as unseen, so not exactly: where the hero leaves a little, light is divided by that little.
        assert np.abs(tile.picture - bare[tile.window]).max() < 0.02


@pytest.mark.parametrize("kind", STORES)
@pytest.mark.parametrize("frame", [0, 2])
def test_what_is_hidden_is_whole_and_has_no_holes(kind, frame):
    view, shot = busy()
    shown = [one for one in view.shown(shot, frame) if one.part != HERO]
    for names in itertools.permutations(one.part for one in shown):
        files = {file.part: file for file in STORES[kind](ordered(shown, names, FRAME), FRAME)}
        for number, name in enumerate(names):
            above = np.zeros((SIZE[1], SIZE[0]))
            for one in shown:
                if one.part in names[number + 1 :]:
                    above[one.window.slices] += one.bare[..., 3]
            one = next(one for one in shown if one.part == name)
            hidden = above[one.window.slices] > 1 - 1e-6
            alpha = files[name].pixels[..., 3].astype(float)
            alpha /= 1 if kind == "half" else np.iinfo(files[name].pixels.dtype).max
            assert np.abs(alpha - one.whole[..., 3])[hidden].max(initial=0) < 1 / 255


def row(*layers):
    """A picture of one row from (light, alpha) a layer, back to front; free layers are green."""
    out = []
    for number, pixels in enumerate(layers):
        light = np.array([[(v, v, v, alpha) for v, alpha in pixels]], dtype=np.float32)
        free = np.broadcast_to(np.array([0, 1, 0, 1], dtype=np.float32), light.shape)
        out.append(Ordered(str(number), Window(0, 0, len(pixels), 1), light, free))
    return out, Window(0, 0, len(layers[0]), 1)


def shown_of(layers):
    return [Shown(one.part, one.window, one.free, one.light, one.light) for one in layers]


def test_by_hand():
    """Light and alpha that each layer adds, and what it has to be: alpha v / (1 - v above), light as well.

    One pixel each: half and half; nothing at all; the upper one covers all (the lower is free); a quarter each.
    """
    layers, frame = row([(0.1, 0.5), (0, 0), (0, 0), (0.25, 0.25)], [(0.5, 0.5), (0, 0), (0.3, 1), (0.0, 0.25)])
    lower, upper = (tile.picture[0] for tile in in_order(shown_of(layers), ("0", "1"), frame))
    assert upper[:, 3].tolist() == pytest.approx([0.5, 0, 1, 0.25])
    assert upper[:, 0].tolist() == pytest.approx([0.5, 0, 0.3, 0])
    assert lower[:, 3].tolist() == pytest.approx([1, 0, 1, 1 / 3])
    assert lower[:, 0].tolist() == pytest.approx([0.2, 0, 0, 1 / 3])
    assert lower[2].tolist() == [0, 1, 0, 1]


def test_half_floats_keep_what_shows_through_an_alpha_next_to_one():
    # The half float nearest to 0.9998 is 1: rounded to it, the upper layer would hide the lower one.
    layers, frame = row([(0.0002, 0.0002)], [(0.0, 0.9998)])
    assert np.float16(0.9998) == 1
    assert over(halves(layers, frame), (1, 1, 4))[0, 0] == pytest.approx([0.0002] * 3 + [1], rel=2**-11)


HARD = st.sampled_from([0.0, 1.0, 0.5, 0.2, 0.02, 0.002, 0.0002])


@st.composite
def pixels(draw):
    """Shares of up to five parts in some pixels, whole or in part, in colours far apart."""
    count = draw(st.integers(2, 5))
    grid = st.lists(st.floats(0, 1), min_size=count, max_size=count)
    share = np.array(draw(st.lists(grid, min_size=8, max_size=8))) ** draw(st.sampled_from([1, 6]))
    share /= np.maximum(share.sum(axis=1, keepdims=True), 1e-9 if draw(st.booleans()) else 1)
    colour = np.array(draw(st.lists(st.lists(HARD, min_size=count, max_size=count), min_size=8, max_size=8)))
    return [list(zip((share * colour)[:, n], share[:, n], strict=True)) for n in range(count)]


@settings(max_examples=150, deadline=None)
@given(pixels())
def test_hard_pixels_are_within_a_code_in_every_kind_of_file(layers):
    layers, frame = row(*layers)
    light = sum(layer.light.astype(np.float64) for layer in layers)
    for store in STORES.values():
        assert max(apart(over(store(layers, frame), light.shape), light)) <= 1 + 1e-6


def random_pixels(count, many, seed):
    rng = np.random.default_rng(seed)
    share = rng.dirichlet(np.full(count, 0.3), many)
    colour = rng.choice([0, 1, 0.5, 0.2, 0.02, 0.002], (many, count))
    return row(*[list(zip(share[:, n] * colour[:, n], share[:, n], strict=True)) for n in range(count)])


@pytest.mark.parametrize("count", [2, 3, 6])
def test_eight_bits_need_the_mending_and_get_it(count):
    layers, frame = random_pixels(count, 20000, count)
    light = sum(layer.light.astype(np.float64) for layer in layers)
    assert max(apart(over(codes_8_bit(layers, frame), light.shape), light)) > 3
    for store in STORES.values():
        assert max(apart(over(store(layers, frame), light.shape), light)) <= 1 + 1e-6


def test_layers_of_one_part_a_pixel_are_the_same_in_pillow():
    # Pillow stacks codes as they are, not light: that is the same wherever a pixel shows one part alone.
    view, shot = busy()
    shown = view.shown(shot, 0)
    order = ("front", "back", "middle")
    canvas = Image.new("RGBA", SIZE)
    alone = np.zeros((SIZE[1], SIZE[0]), dtype=int)
    for file in mended_8_bit(ordered(shown, order, FRAME), FRAME):
        full = np.zeros((SIZE[1], SIZE[0], 4), dtype=np.uint8)
        full[file.window.slices] = file.pixels
        canvas = Image.alpha_composite(canvas, Image.fromarray(full, "RGBA"))
    for one in shown:
        alone[one.window.slices] += one.light[..., 3] > 1e-6
    wanted = view.frame(shot, 0).astype(int)
    where = (alone == 1) & (wanted[..., 3] > 0)
    assert where.sum() > 1500
    assert np.abs(np.asarray(canvas).astype(int) - wanted)[where].max() <= 1


def test_deep_codes_are_those_of_the_frame_where_one_part_shows():
    view, shot = busy()
    layers = ordered(view.shown(shot, 0), ("back", "middle", "front"), FRAME)
    top = codes_16_bit(layers, FRAME)[-1]
    assert (top.pixels == to_16_bit(layers[-1].light)).all()
    assert (mended_8_bit(layers, FRAME)[-1].pixels[..., 3] <= to_8_bit(layers[-1].light)[..., 3]).all()
