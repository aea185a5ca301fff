"""Parts that leave as one and come apart outside: hand-built removal trees of boxes."""

import itertools

import numpy as np
import pytest
import shapely
from seen_by_opencv import seen_by, silhouette
from small_assemblies import FRONT, TURNED, box, film, make, shot, there_and_back

from choreo.compile import _encounters, _frame
from choreo.errors import ChoreoError
from choreo.geometry.cameras.silhouette import hull_points
from choreo.geometry.layout.subject import Subject
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Part, Slab
from choreo.model.choreography import Orbit, View
from choreo.model.plan import Removal, RemovalStep
from choreo.passes.layout import plan_layout

RES = (1920, 1080)
UP, DOWN, EAST, WEST = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)


def part(name, *boxes):
    """A part of boxes (x0, y0, x1, y1, z0, z1)."""
    slabs = tuple(Slab(((a, b), (c, b), (c, d), (a, d)), (), (float(e), float(f))) for a, b, c, d, e, f in boxes)
    return Part(name, name.capitalize(), "#888888", (0.0, 0.0, 0.0), slabs)


def tube(name, outer, inner, z0, z1, *more):
    """A box with a rectangular hole through it, and more boxes."""
    return Part(name, name.capitalize(), "#888888", (0.0, 0.0, 0.0), box("", *outer, z0, z1, inner).slabs + more)


def hooked():
    """Two pieces hooked into each other, in a tray that lets them go upward only as a pair, under a cap.

    The claw holds the latch by two arms, one under and one over the latch's tongue: along z neither goes alone.
    """
    floor = box("", -30, -20, 30, 20, 0, 4).slabs
    tray = tube("tray", (-30, -20, 30, 20), (-20, -10, 20, 10), 4, 20, *floor)
    latch = part("latch", (0, -10, 20, 10, 4, 16), (-8, -10, 0, 10, 8, 12))
    claw = part("claw", (-20, -10, -8, 10, 4, 16), (-8, -10, 0, 10, 4, 8), (-8, -10, 0, 10, 12, 16))
    cap = box("cap", -24, -14, 24, 14, 20, 24)
    pair = RemovalStep("latch", UP, inner=Removal((RemovalStep("claw", WEST),), "latch"))
    return make(tray, latch, claw, cap), Removal((RemovalStep("cap", UP), pair), "tray")


def nested():
    """The same pair with a pin through both, which leaves first, inside a sleeve with which all of it leaves."""
    base = box("base", -40, -30, 40, 30, 0, 5)
    sleeve = tube("sleeve", (-24, -16, 24, 16), (-20, -10, 20, 10), 5, 25)
    latch = part("latch", (0, -10, 20, 10, 5, 17), (-8, -10, 0, 10, 9, 13))
    claw = part("claw", (-20, -10, -8, 10, 5, 17), (-8, -10, 0, 10, 5, 9), (-8, -10, 0, 10, 13, 17))
    lid = box("lid", -20, -10, 20, 10, 17, 22)
    pair = RemovalStep("latch", DOWN, inner=Removal((RemovalStep("claw", WEST),), "latch"))
    whole = RemovalStep("sleeve", UP, inner=Removal((RemovalStep("lid", UP), pair), "sleeve"))
    return make(base, sleeve, latch, claw, lid), Removal((whole,), "base")


def laid_out(assembly, removal, view, orbit=None, travels=None, vias=None):
    choreography = film(shot(*there_and_back(8), view=view, orbit=orbit))
    solids = {p.id: build_solid(p.slabs, p.offset) for p in assembly.parts}
    encounters = _encounters(assembly, solids, choreography.clearance_mm)
    directions = {}

    def fill(level):
        for step in level.steps:
            directions[step.part] = np.array(step.direction)
            if step.inner:
                fill(step.inner)

    fill(removal)
    points = {name: hull_points(solid) for name, solid in solids.items()}
    subject = Subject(points, removal, directions, travels or {}, encounters, vias or {})
    return subject, plan_layout(subject, choreography.shots[0], _frame(choreography)), choreography.shots[0]


VIEWS = [
    (FRONT, None),
    (View("orthographic", 90, 0), None),
    (View("orthographic", 30, 35), None),
    (TURNED, Orbit(30)),
]
CASES = [(make_case, *view) for make_case in (hooked, nested) for view in VIEWS]


@pytest.fixture(scope="module", params=CASES, ids=lambda case: f"{case[0].__name__}-{case[1].azimuth}")
def case(request):
    build, view, orbit = request.param
    assembly, removal = build()
    return assembly, removal, *laid_out(assembly, removal, view, orbit)


def steps_of(removal, groups=()):
    for step in removal.steps:
        yield step, groups
        if step.inner:
            yield from steps_of(step.inner, (*groups, step.part))


def test_members_share_their_groups_corners_to_the_last_digit(case):
    _, removal, _, layout, _ = case
    for step, groups in steps_of(removal):
        route = layout.routes[step.part]
        for group in groups:
            shared = layout.routes[group]
            assert route[: len(shared)].tobytes() == shared.tobytes()
        assert len(route) > sum(1 for _ in groups)


def test_ways_at_which_parts_come_off(case):
    _, removal, _, layout, _ = case
    for step, groups in steps_of(removal):
        chain = (*groups, step.part) if step.inner else groups
        if not chain:
            assert step.part not in layout.shared_mm
            continue
        # By hand: the lengths of the legs of the groups, added up.
        lengths = [np.linalg.norm(np.diff(layout.routes[g], axis=0), axis=1).sum() for g in chain]
        assert layout.shared_mm[step.part] == pytest.approx(lengths, abs=1e-9)
        for other, others in steps_of(removal):
            if chain[0] in others:  # members of one group: the same floats
                assert layout.shared_mm[other.part][0] == layout.shared_mm[step.part][0]


def test_routes_are_free_of_all_that_has_not_left(case):
    """Each level at its turn: the whole group past what stays outside, then each member past what stays inside."""
    _, removal, subject, layout, _ = case

    def check(level, base, outside):
        staying = [level.body, *(m for step in level.steps for m in step.members)]
        for step in level.steps:
            staying = [other for other in staying if other not in step.members]
            own = layout.routes[step.part][len(base) - 1 :]
            for member in step.members:
                for other in staying:
                    assert not subject.encounters.hits(member, own - base[-1], other), (member, other)
                for other in outside:
                    assert not subject.encounters.hits(member, own, other), (member, other)
            if step.inner:
                check(step.inner, layout.routes[step.part], [*outside, *staying])

    check(removal, np.zeros((1, 3)), [])


def seen(assembly, layout, one, frame):
    """True outlines at rest."""
    project = seen_by(one.view, layout.cameras[frame], RES)
    turn = one.orbit.azimuth * frame / (one.frames - 1) if one.orbit else 0.0
    angles = one.view.azimuth + turn, one.view.elevation
    return [silhouette(p, layout.routes[p.id][-1], lambda points: project(points, *angles)) for p in assembly.parts]


def test_all_are_a_gap_apart_on_true_outlines(case):
    assembly, _, _, layout, one = case
    for frame in layout.rest_frames[:: max(len(layout.rest_frames) - 1, 1)]:
        outlines = seen(assembly, layout, one, frame)
        for a, b in itertools.combinations(outlines, 2):
            assert shapely.distance(a, b) >= 24 - 0.02
        x0, y0, x1, y1 = shapely.total_bounds(outlines)
        assert min(x0 - 96, y0 - 54, 1920 - 96 - x1, 1080 - 54 - y1) >= -0.02


def slug_in_sleeve():
    """A slug that leaves its sleeve downward, toward the base that they left together."""
    base, sleeve = box("base", -30, -20, 30, 20, 0, 6), box("sleeve", -8, -8, 8, 8, 6, 26, (-5, -5, 5, 5))
    whole = RemovalStep("sleeve", UP, inner=Removal((RemovalStep("slug", DOWN),), "sleeve"))
    return make(base, sleeve, box("slug", -5, -5, 5, 5, 6, 24)), Removal((whole,), "base")


def test_a_group_goes_farther_where_a_member_would_go_back_into_what_is_still_there():
    assembly, removal = slug_in_sleeve()
    subject, layout, _ = laid_out(assembly, removal, View("orthographic", 90, 0))
    one_by_one = Removal((RemovalStep("slug", UP), RemovalStep("sleeve", UP)), "base")
    _, alone, _ = laid_out(assembly, one_by_one, View("orthographic", 90, 0))
    at, own = layout.routes["sleeve"][-1][2], layout.routes["slug"][-1][2]
    assert 0.5 - 0.06 <= own < at  # its foot stays clear of the base
    assert at >= 18  # the slug is 18 mm long and has to stand between the two. By hand.
    assert at > alone.routes["sleeve"][-1][2]
    assert not subject.encounters.hits("slug", layout.routes["slug"], "base")


def test_a_pinned_group_that_is_too_short_says_who_is_in_the_way():
    with pytest.raises(ChoreoError) as caught:
        laid_out(*slug_in_sleeve(), View("orthographic", 90, 0), travels={"sleeve": 9.0})
    (finding,) = caught.value.findings
    assert finding.code == "in-the-way"
    assert '"slug"' in finding.what
    assert '"base"' in finding.what
