"""Random films with a hand-off: what still flies is never covered, and the picture never loses alpha."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from random_assemblies import random_assembly, random_film
from test_guarantees import on_screen

from choreo.compile import compile_film
from choreo.model.choreography import Handoff, Phase
from choreo.picture.render.frame import Renderer
from choreo.picture.render.plates import PlateImage

LIMIT = 0.5


def handed_over(seed):
    """A random film whose shots hold where they are assembled, and hand over there."""
    assembly = random_assembly(seed)
    film = random_film(seed, assembly.ids)
    out, home = film.shots
    out = replace(out, phases=(Phase("hold", 6), *out.phases), handoff=Handoff(3, LIMIT))
    home = replace(home, phases=(*home.phases, Phase("hold", 4)), handoff=Handoff(3, LIMIT))
    return assembly, compile_film(assembly, replace(film, shots=(out, home)))


def noise(width, height, px_per_mm):
    rng = np.random.default_rng(7)
    picture = np.ones((height, width, 4), dtype=np.float32)
    picture[..., 3] = rng.choice([1.0, 1.0, 0.4], (height, width))
    picture[..., :3] = rng.uniform(0, 1, (height, width, 3)) * picture[..., 3:]
    return PlateImage(picture, px_per_mm, (width / 2, height / 2))


@pytest.mark.parametrize("seed", [0, 2, 3, 4, 7, 8, 9, 11])
def test_what_flies_is_not_covered_and_alpha_does_not_dip(seed):
    assembly, film = handed_over(seed)
    tracks = film.tracks
    corners = {
        part.id: np.array([(x, y, z) for slab in part.slabs for x, y in slab.outline for z in slab.z]) + part.offset
        for part in assembly.parts
    }
    taken = 0
    for shot in tracks.shots:
        scale = 2 * float(max(track.scale.max() for track in shot.parts))
        renderer = Renderer(
            assembly, film.apart.solids, tracks.resolution, hero=noise(960, 540, scale), shutter=0.0, size="half"
        )
        bare = replace(shot, hero_opacity=np.zeros(shot.frames), hero_parts={})
        early = {p: np.flatnonzero((row > 0) & (shot.hero_opacity == 0)) for p, row in shot.hero_parts.items()}
        frames = sorted({int(f) for each in early.values() if each.size for f in (each[0], each[len(each) // 2])})
        for frame in frames[:6]:
            found, plain = renderer.picture(shot, frame), renderer.picture(bare, frame)
            assert np.abs(found[..., 3] - plain[..., 3]).max() < 3e-6
            own = [part for part, each in early.items() if frame in each]
            covered = sum(renderer.coverage(bare, frame, part) for part in own)
            # Where nothing is seen of any part that is taken over, nothing is seen of the still.
            assert np.abs(found - plain)[covered < 1e-6].max(initial=0) < 1e-6
            taken += bool(np.abs(found - plain).max() > 0.05)
            for part in own:
                track = next(one for one in shot.parts if one.id == part)
                away = on_screen(shot.cameras[frame], corners[part] + track.position[frame])
                assert np.hypot(*(away - on_screen(shot.cameras[frame], corners[part])).T).max() <= LIMIT
    assert taken, "no film of these hands over part by part"
