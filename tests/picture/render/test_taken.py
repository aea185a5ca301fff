"""A still that takes over single parts: Porter and Duff's operators in double precision, and pixels worked out by hand.

Porter and Duff, Compositing Digital Images (1984): A over B is A + B (1 - alpha A); A atop B is A alpha B + B (1 -
alpha A); both of premultiplied colours.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scenes import box, part, renderer, shot_of
from test_stack import FRAME, STORES, apart, over

from choreo.model.tracks import Key
from choreo.picture.render import frame as frame_module
from choreo.picture.render.blur import Exposure
from choreo.picture.render.exposure import HERO
from choreo.picture.render.moment import moment_at
from choreo.picture.render.plates import PlateImage
from choreo.picture.render.stack import ordered

FRAMES = 6
PARTS = (
    part("base", box(-24, -16, 24, 16), (0, 2), "#405060"),
    part("left", box(-20, -12, -2.1, 12), (2, 4), "#ffffff"),
    part("right", box(-2.1, -12, 16, 12, 0), (2, 4), "#c02020"),
    part("flyer", box(4, -9, 13.3, 2, 11), (5, 7), "#101010"),
)
ORDER = tuple(one.id for one in PARTS)
ROUTES = {"right": [[0, 0, 0], [31, 9, 0]], "flyer": [[0, 0, 0], [-22, 7, 0], [-40, 20, 0]]}
KEYS = {"right": (Key(0, 1.0), Key(3, 0.0)), "flyer": (Key(0, 1.0), Key(5, 0.0))}
WHOLE = (0.0, 0.0, 0.0, 0.0, 0.5, 1.0)
OWN = {
    "left": (0.0, 0.5, 1.0, 1.0, 1.0, 1.0),
    "right": (0.0, 0.0, 0.0, 0.5, 1.0, 1.0),
    "base": (0.0, 0.25, 0.25, 0.25, 0.75, 1.0),
}


def still(seed=0):
    """Larger than all parts, some of it soft or half transparent, so that nothing hangs on it being opaque."""
    rng = np.random.default_rng(seed)
    picture = np.zeros((84, 112, 4), dtype=np.float32)
    picture[4:80, 4:108, 3] = 1.0
    picture[20:60, 30:70, 3] = rng.uniform(0, 1, (40, 40))
    picture[..., :3] = rng.uniform(0, 1, (84, 112, 3)) * picture[..., 3:]
    return PlateImage(picture, 2.0, (56.0, 42.0))


def plates(seed=1):
    """A plate for "left", semi-transparent in places."""
    rng = np.random.default_rng(seed)
    picture = np.zeros((60, 50, 4), dtype=np.float32)
    picture[6:54, 4:40, 3] = rng.choice([0.3, 1.0], (48, 36))
    picture[..., :3] = rng.uniform(0, 1, (60, 50, 3)) * picture[..., 3:]
    return {"left": PlateImage(picture, 2.0, (44.0, 30.0))}


def film(own=OWN, whole=WHOLE, **more):
    shot = shot_of(PARTS, ORDER, ROUTES, KEYS, frames=FRAMES, hero=whole, **more)
    return replace(shot, hero_parts={part: np.array(row, dtype=float) for part, row in own.items()})


def by_the_formulas(view, shot, time, own, whole, end=FRAMES - 1):
    """The frame of one instant: still atop each part's share, by what is missing to its opacity, then over all."""
    moment = moment_at(shot, time, view.origins, {"full": 1, "half": 0.5, "quarter": 0.25}[view.size])
    hero = np.zeros((view.window.height, view.window.width, 4))
    tile = view._hero_tile(moment)
    hero[tile.window.slices] = tile.picture
    then = {one.part: spread(view, one, one.share) for one in view.layers(moment_at(shot, end, view.origins,
            {"full": 1, "half": 0.5, "quarter": 0.25}[view.size]))}  # fmt: skip
    stack = np.zeros_like(hero)
    plain = np.zeros_like(hero)
    for one in view.layers(moment):
        light = spread(view, one, one.light(one.tile.window))
        share = light[..., 3]
        taken = np.minimum(share, then.get(one.part, 0)) / np.maximum(share, 1e-30)
        opacity = own.get(one.part, whole)
        u = taken * (0 if whole == 1 else (opacity - whole) / (1 - whole))
        above = hero * u[..., None]
        stack += above * share[..., None] + light * (1 - above[..., 3:])  # atop
        plain += light
    above = hero * whole
    return above + stack * (1 - above[..., 3:]), plain  # over


def spread(view, layer, values):
    out = np.zeros((view.window.height, view.window.width, *values.shape[2:]))
    out[layer.tile.window.slices] = values
    return out


@pytest.mark.parametrize("size", ["full", "half", "quarter"])
@pytest.mark.parametrize("frame", range(FRAMES))
def test_frames_are_what_the_formulas_say(frame, size):
    shot = film()
    view = renderer(PARTS, hero=still(), plates=plates(), size=size)
    found = view.picture(shot, frame).astype(np.float64)
    own = {part: row[frame] for part, row in OWN.items()}
    wanted, plain = by_the_formulas(renderer(PARTS, hero=still(), plates=plates(), size=size), shot, frame, own,
                                    WHOLE[frame])  # fmt: skip
    assert np.abs(found - wanted).max() < 3e-6
    assert (found[..., 3] >= plain[..., 3] - 3e-6).all()
    if not WHOLE[frame]:
        assert np.abs(found[..., 3] - plain[..., 3]).max() < 3e-6, "atop changes no alpha"


AHEAD = part("ahead", box(-20, -12, 0, 12), (5, 7), "#101010")
UNDER = part("under", box(-20, -12, 20, 12), (0, 2), "#ffffff")


def two(away, by):
    """A part that comes home on the last of three frames, over one of which half is taken over on the frame before."""
    shot = shot_of((UNDER, AHEAD), ("under", "ahead"), {"ahead": [[0, 0, 0], away]},
                   {"ahead": (Key(0, 1.0), Key(1, 1.0), Key(2, 0.0))}, frames=3, hero=(0, 0, 1))  # fmt: skip
    return replace(shot, hero_parts={"under": np.array([0, by, 1.0])})


def test_pixels_by_hand():
    """What flies is neither covered nor seen through, also in a pixel that it shares with what is taken over."""
    hero = np.zeros((60, 100, 4), dtype=np.float32)
    hero[...] = (0.5, 0.25, 0.125, 1.0)
    # On frame 1 "ahead" lies from 80.5 px on; when all is assembled it ends at 60 px.
    shot = two([30.25, 0, 0], 1.0)
    view = renderer((UNDER, AHEAD), hero=PlateImage(hero, 2.0, (50.0, 30.0)))
    bare, found = view.picture(replace(shot, hero_parts={}), 1), view.picture(shot, 1)
    still = np.array([0.5, 0.25, 0.125, 1.0])
    assert found[45, 40] == pytest.approx(bare[45, 40])  # "ahead" will come to lie there
    assert found[45, 70] == pytest.approx(still)
    assert found[45, 85] == pytest.approx(bare[45, 85])  # "ahead" flies there
    # Half of the pixel is the flying part's, which adds what it did; of the other half all is the still's.
    assert found[45, 80] - bare[45, 80] == pytest.approx((still - bare[45, 70]) / 2, abs=1e-6)
    # Atop, by a quarter: a quarter of the still in place of a quarter of the part.
    found = view.picture(two([30.25, 0, 0], 0.25), 1)
    assert found[45, 70] == pytest.approx(still / 4 + bare[45, 70] * 3 / 4)


def test_what_will_be_hidden_is_not_taken_over():
    # "ahead" has yet to come to lie before the left half of "under": there the still shows it, and is not laid.
    shot, view = two([0, 60, 0], 0.5), renderer((UNDER, AHEAD), hero=still())
    bare, found = view.picture(replace(shot, hero_parts={}), 1), view.picture(shot, 1)
    assert np.array_equal(found[:, :60], bare[:, :60])
    assert np.abs(found[30:60, 61:98] - bare[30:60, 61:98]).max() > 0.1


def test_where_nothing_is_taken_over_every_byte_is_as_without():
    for own in ({}, {"left": WHOLE, "flyer": WHOLE}):
        view, plain = renderer(PARTS, shutter=180.0, hero=still()), renderer(PARTS, shutter=180.0, hero=still())
        for frame in range(FRAMES):
            bare = shot_of(PARTS, ORDER, ROUTES, KEYS, frames=FRAMES, hero=WHOLE)
            assert view.picture(film(own), frame).tobytes() == plain.picture(bare, frame).tobytes()


def test_the_same_frame_whatever_came_before():
    shot = film()
    for shutter in (0.0, 180.0):
        fresh = [renderer(PARTS, shutter=shutter, hero=still()).frame(shot, n).tobytes() for n in range(FRAMES)]
        view = renderer(PARTS, shutter=shutter, hero=still())
        for frame in (5, 2, 3, 3, 0, 1, 4, 2):
            assert view.frame(shot, frame).tobytes() == fresh[frame]
            view.coverage(shot, 1, "left")
            view.frame(replace(shot, hero_parts={}), frame)


@pytest.mark.parametrize("frame", [1, 2, 3, 4])
def test_under_an_open_shutter_it_is_the_mean_of_instants(frame, monkeypatch):
    monkeypatch.setattr(frame_module, "lenders", lambda moments, _: list(moments))  # each instant is shaded for itself
    times = tuple(frame + 0.5 * ((step + 0.5) / 9 - 0.5) for step in range(9))
    monkeypatch.setattr(frame_module, "exposure", lambda *_: Exposure(times, {}))  # all parts
    shot, view = film(), renderer(PARTS, shutter=180.0, hero=still())
    found = view.picture(shot, frame)
    other, total = renderer(PARTS, shutter=0.0, hero=still()), np.zeros(found.shape)
    for time in times:
        near = sorted({int(np.floor(time)), int(np.ceil(time))})
        # Between a frame on which a part is not home yet and the next one nothing of the still is on it.
        at = {part: float(np.interp(time, range(FRAMES), row)) * all(row[n] for n in near) for part, row in OWN.items()}
        total += by_the_formulas(other, shot, time, at, float(np.interp(time, range(FRAMES), WHOLE)))[0]
    assert np.abs(found - total / len(times)).max() < 1e-5


@pytest.mark.parametrize("kind", STORES)
@pytest.mark.parametrize("frame", [1, 2, 3, 4])
def test_layers_stack_to_the_frame_within_a_code(kind, frame):
    shot, view = film(), renderer(PARTS, shutter=180.0, hero=still(), plates=plates())
    picture = view.picture(shot, frame).astype(np.float64)
    shown = view.shown(shot, frame)
    assert shown[-1].part == HERO
    total = np.zeros(picture.shape)
    for one in shown:
        total[one.window.slices] += one.light
        assert one.light[..., 3].min() >= 0
    assert np.abs(total - picture).max() < 1e-5, "mattes sum to the alpha, light to the light"
    for names in list(itertools.permutations(ORDER))[::7]:
        order = (*names, HERO)
        assert np.abs(over(view.stack(shot, frame, order)) - picture).max() < 1e-5
        files = STORES[kind](ordered(shown, order, FRAME), FRAME)
        assert max(apart(over(files), picture)) <= 1 + 1e-6, order


@settings(max_examples=40, deadline=None)
@given(
    own=st.fixed_dictionaries({name: st.lists(st.floats(0, 1), min_size=FRAMES, max_size=FRAMES) for name in ORDER}),
    whole=st.lists(st.sampled_from([0.0, 0.0, 0.3, 1.0]), min_size=FRAMES, max_size=FRAMES),
    frame=st.integers(0, FRAMES - 1),
    seed=st.integers(0, 5),
)
def test_alpha_never_dips_and_the_formulas_hold_whatever_the_opacities(own, whole, frame, seed):
    own = {part: np.maximum(row, whole).tolist() for part, row in own.items()}
    shot = film(own, whole)
    view = renderer(PARTS, hero=still(seed))
    found = view.picture(shot, frame).astype(np.float64)
    end = {part: 0 if all(value > 0 for value in row[: frame + 1]) else FRAMES - 1 for part, row in own.items()}
    for name in set(end.values()):
        only = {part: row[frame] for part, row in own.items()}
        if set(end.values()) == {name}:
            wanted, plain = by_the_formulas(renderer(PARTS, hero=still(seed)), shot, frame, only, whole[frame], name)
            assert np.abs(found - wanted).max() < 3e-6
            assert (found[..., 3] >= plain[..., 3] - 3e-6).all()
    assert (found[..., :3] <= found[..., 3:] + 3e-6).all()
    assert found[..., 3].max() <= 1 + 3e-6


def test_a_still_outside_of_the_frame_or_away_takes_nothing():
    far = PlateImage(still().picture, 2.0, (5000.0, 42.0))
    bare = renderer(PARTS).picture(film(), 2)
    assert np.array_equal(renderer(PARTS, hero=far).picture(film(), 2), bare)
    assert np.array_equal(renderer(PARTS).picture(film(), 2), renderer(PARTS).picture(film({}), 2))


def test_ends_of_a_shot_that_bursts():
    # What has been there since the first frame is of the picture on that: "left" is free of "right" there only.
    own = {"left": (1.0, 1.0, 0.5, 0.0, 0.5, 1.0)}
    shot = film(own, (1.0, 0.0, 0.0, 0.0, 0.0, 1.0))
    assert moment_at(shot, 1.75, renderer(PARTS).origins).ends == {"left": 0}
    assert moment_at(shot, 2.0, renderer(PARTS).origins).ends == {"left": 0}
    assert moment_at(shot, 3.75, renderer(PARTS).origins).ends == {}
    assert moment_at(shot, 2.25, renderer(PARTS).origins).ends == {}
    assert moment_at(shot, 4.25, renderer(PARTS).origins).ends == {"left": 5}
    assert moment_at(shot, 5.25, renderer(PARTS).origins).atop == {}
    assert moment_at(shot, 4.0, renderer(PARTS).origins).atop == {"left": 0.5}
    assert moment_at(shot, 0.0, renderer(PARTS).origins).atop == {}
