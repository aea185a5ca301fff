"""What is seen of each part, against areas worked out by hand and against each other."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
import shapely
from small_film import MATRIX, RESOLUTION, film, held, rect, solids

from choreo.geometry.cameras.camera import perspective_camera
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Slab
from choreo.picture.panels import FACE, pictures


def on_screen(x0: float, y0: float, x1: float, y1: float) -> shapely.Polygon:
    """A rectangle of the plan on the screen: 10 px a mm, y down, the origin in the middle."""
    return shapely.box(320 + 10 * x0, 180 - 10 * y1, 320 + 10 * x1, 180 - 10 * y0)


def seen_on(shot, frame: int, parts=None) -> dict[str, shapely.Geometry]:
    [picture] = pictures(parts or solids(), shot, [frame], RESOLUTION, [0.0])
    return {seen.part: seen.region for seen in picture}


def test_assembled_by_hand():
    # The knob covers the lid's hole: what is seen of the lid is 10 x 6 less 4 x 4 mm, of the tin 12 x 8 less 10 x 6.
    regions = seen_on(film()[2].shots[0], 0)
    assert {part: round(region.area / 100, 6) for part, region in regions.items()} == {"tin": 36, "lid": 44, "knob": 16}
    assert regions["knob"].equals(on_screen(-2, -2, 2, 2))


def test_at_rest_by_hand():
    # Nothing covers anything: the tin ends at y = 4 and the knob, 10 mm up, spans y 8 to 12.
    regions = seen_on(film()[2].shots[0], 25)
    assert {part: round(region.area / 100, 6) for part, region in regions.items()} == {"tin": 96, "lid": 56, "knob": 16}
    assert regions["knob"].equals(on_screen(-2, 8, 2, 12))


def test_a_part_that_is_hidden_is_left_out():
    parts = solids()
    parts["knob"] = build_solid([Slab(rect(-6, -4, 6, 4), (), (6, 8))])
    assert list(seen_on(film()[2].shots[0], 0, parts)) == ["knob"]


def test_a_holdout_is_left_out_of_its_layer():
    # The lid is drawn on top, but left out over the knob: the same picture as with the knob on top.
    shot = film()[2].shots[0]
    masked = dataclasses.replace(shot, masking=held(tuple(shapely.get_coordinates(on_screen(-2, -2, 2, 2))[:-1])))
    truth, regions = seen_on(shot, 0), seen_on(masked, 0)
    assert regions.keys() == truth.keys()
    assert all(regions[part].symmetric_difference(truth[part]).area < 1e-6 for part in truth)


def test_nothing_is_shown_outside_of_the_frame():
    shot = film()[2].shots[0]
    far = dataclasses.replace(shot, cameras=shot.cameras - np.array([[0, 0, 0, 300], [0, 0, 0, 0], [0, 0, 0, 0]]))
    regions = seen_on(far, 0)
    assert shapely.total_bounds(list(regions.values())).tolist()[0] == 0


@pytest.mark.parametrize("frame", [0, 9, 11, 16, 25])
def test_regions_tile_the_outlines(frame):
    # In perspective, from the side: regions do not overlap, and together they are all outlines together.
    camera = perspective_camera(35, 25, (4, 2, 4), 90, 40, (36, 20.25), RESOLUTION)
    shot = film()[2].shots[0]
    shot = dataclasses.replace(shot, cameras=np.tile(camera.matrix, (26, 1, 1)))
    regions = seen_on(shot, frame)
    for one, other in itertools.combinations(regions.values(), 2):
        assert one.intersection(other).area < 1e-3
    outlines = [silhouettes(solids()[p.id], camera, p.position[frame : frame + 1])[0] for p in shot.parts]
    whole = shapely.union_all(outlines).intersection(shapely.box(0, 0, *RESOLUTION))
    assert shapely.union_all(list(regions.values())).symmetric_difference(whole).area < 0.1


def test_faces_by_hand():
    # Straight from the front only faces are seen: of a 4 x 4 x 2 block on a 12 x 8 x 3 one both, the lower less
    # what stands on it.
    parts = {"tin": build_solid([Slab(rect(-6, -4, 6, 4), (), (0, 3)), Slab(rect(-2, -2, 2, 2), (), (3, 5))])}
    shot = film()[2].shots[0]
    alone = dataclasses.replace(
        shot,
        parts=shot.parts[:1],
        masking=dataclasses.replace(
            shot.masking, orders=(dataclasses.replace(shot.masking.orders[0], back_to_front=("tin",)),)
        ),
    )
    [[seen]] = pictures(parts, alone, [0], RESOLUTION, [0.0])
    assert [tone for tone, _ in seen.coats] == [FACE, FACE]
    assert [round(shape.area / 100, 6) for _, shape in seen.coats] == [80, 16]


def test_from_behind_the_other_faces_are_seen():
    behind = MATRIX * [[-1, 1, 1, 1], [1, 1, 1, 1], [1, 1, 1, 1]]
    parts = {"tin": build_solid([Slab(rect(-6, -4, 6, 4), (), (0, 3)), Slab(rect(-2, -2, 2, 2), (), (3, 5))])}
    shot = film()[2].shots[0]
    alone = dataclasses.replace(
        shot,
        cameras=np.tile(behind, (26, 1, 1)),
        parts=shot.parts[:1],
        masking=dataclasses.replace(
            shot.masking, orders=(dataclasses.replace(shot.masking.orders[0], back_to_front=("tin",)),)
        ),
    )
    [[seen]] = pictures(parts, alone, [0], RESOLUTION, [0.0])
    assert [(tone, round(shape.area / 100, 6)) for tone, shape in seen.coats] == [(FACE, 96)]
