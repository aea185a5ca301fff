"""Parts that are alike: one plane, rows at even distances, ways that do not cross; and layouts of random boards."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_assemblies import FRONT, TURNED, box, film, hulls_on_screen, insert, make, shot, stage, there_and_back

from choreo.geometry.layout.arrange import place
from choreo.geometry.layout.siblings import siblings
from choreo.geometry.plane.crossing import crossings
from choreo.model.choreography import Orbit, View

ABOVE = View("orthographic", 30, 35)
SIDE = View("orthographic", 90, 0)
UP = (0, 0, 1)


def board(*spots, size=4.0, deep=(4, 12)):
    """A board with equal square pegs that stand on it at these corners; `tall` ones stand higher."""
    pegs = [box(f"peg_{k}", x, y, x + size, y + size, *deep) for k, (x, y) in enumerate(spots)]
    plate = box("plate", -40, -25, 40, 25, 0, 4)
    return make(plate, *pegs, joints=[insert(peg.id, "plate", UP) for peg in pegs])


CORNERS = ((-36, -21), (32, -21), (-36, 17), (32, 17))


def pegs_of(made):
    return [part for part in made.order if part.startswith("peg")]


@pytest.mark.parametrize("view", [ABOVE, TURNED])
def test_four_screws_that_come_out_along_their_axis_rest_in_one_plane(view):
    made = stage(board(*CORNERS), film(shot(*there_and_back(), view=view)))
    routes = [made.layout.routes[part] for part in pegs_of(made)]
    assert {len(route) for route in routes} == {2}
    travels = [route[-1][2] for route in routes]
    assert max(travels) - min(travels) < 1e-5
    # As far as the one goes that needs most, were it there alone: each peg on a board of its own under this camera.
    watched = [made.layout.cameras[made.layout.rest_frames[0]]]
    alone = []
    for spot in CORNERS:
        one = stage(board(spot), film(shot(*there_and_back(), view=view)))
        alone.append(place(one.subject, watched, one.frame, gap_px=24, bounded=False)["peg_0"][-1][2])
    assert travels[0] == pytest.approx(max(alone), abs=0.02)
    assert max(alone) - min(alone) > 1  # they do not all need as much


def test_four_screws_that_go_sideways_stand_in_rows_at_even_distances():
    made = stage(board(*CORNERS), film(shot(*there_and_back(60))))
    camera = made.layout.cameras[0]
    scale = float(camera.scale_at(np.zeros(3)))
    boxes = np.array(
        [hulls_on_screen(made.subject.points[p] + made.layout.routes[p][-1], [camera])[0].bounds for p in pegs_of(made)]
    )
    # Pegs of 4 mm and the gap: pitches of 4 s + 24 px both ways, whatever the shape of the block.
    steps = (boxes[:, :2] - boxes[:, :2].min(axis=0)) / (4 * scale + 24)
    assert steps == pytest.approx(np.round(steps), abs=1e-3)
    assert len({tuple(row) for row in np.round(steps).tolist()}) == 4
    assert np.round(steps).max() <= 3
    assert len({made.layout.routes[p][1][2] for p in pegs_of(made)}) == 1  # all at one height
    homes = camera.project(np.stack([made.subject.points[p].mean(axis=0) for p in pegs_of(made)]))[0]
    rests = camera.project(
        np.stack([made.subject.points[p].mean(axis=0) + made.layout.routes[p][-1] for p in pegs_of(made)])
    )[0]
    assert crossings(homes, rests) == 0


def test_siblings_that_stand_behind_each_other_are_placed_alone():
    # Seen along x, the pegs of one row cover each other at every height: one plane is no place for them.
    made = stage(board((-36, 0), (0, 0), (32, 0)), film(shot(*there_and_back(), view=SIDE)))
    travels = [made.layout.routes[p][-1][2] for p in pegs_of(made)]
    assert min(abs(a - b) for a, b in itertools.combinations(travels, 2)) > 8  # a peg's length at least. By hand.


def test_one_that_differs_is_no_sibling():
    parts = [box("plate", -40, -25, 40, 25, 0, 4)]
    parts += [box(f"peg_{k}", x, 0, x + 4, 4, 4, top) for k, (x, top) in enumerate([(-30, 12), (0, 12), (30, 12.5)])]
    made = stage(make(*parts), film(shot(*there_and_back(60))))
    runs = [siblings(made.subject, made.subject.items[k:]) for k in range(3)]
    assert sorted(runs) in ([1, 1, 2], [1, 1, 1])
    same = stage(board((-30, 0), (0, 0), (30, 0)), film(shot(*there_and_back(60))))
    assert [siblings(same.subject, same.subject.items[k:]) for k in range(3)] == [3, 2, 1]


# --- Any board ------------------------------------------------------------------------------------------------------


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    spots=st.lists(st.tuples(st.integers(-4, 3), st.integers(-2, 1)), min_size=1, max_size=7, unique=True),
    view=st.sampled_from([FRONT, ABOVE, SIDE, TURNED, View("orthographic", 20, 0)]),
    turn=st.sampled_from([None, Orbit(25)]),
)
def test_gaps_hold_all_is_inside_and_routes_are_free(spots, view, turn):
    made = stage(board(*((9 * x, 9 * y) for x, y in spots)), film(shot(*there_and_back(80), view=view, orbit=turn)))
    routes, points, encounters = made.layout.routes, made.subject.points, made.subject.encounters
    for frame in made.layout.rest_frames[::3]:
        camera = made.layout.cameras[frame]
        hulls = [hulls_on_screen(points[p] + routes[p][-1], [camera])[0] for p in routes]
        assert min(a.distance(b) for a, b in itertools.combinations(hulls, 2)) >= 24 - 0.02
        x0, y0, x1, y1 = shapely.total_bounds(hulls)
        assert min(x0 - 96, y0 - 54, 1920 - 96 - x1, 1080 - 54 - y1) >= -0.02
    staying = [made.body, *reversed(made.order)]
    for part in made.order:
        staying.remove(part)
        assert not any(encounters.hits(part, routes[part], other) for other in staying)
        # Who leaves later passes no one who rests.
        for other in staying[1:]:
            assert not encounters.hits(other, routes[other], part, routes[part][-1])
