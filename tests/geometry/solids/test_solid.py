"""Solids: building them from slabs, moving, shrinking; volumes against a mesh boolean and Steiner's formula."""

import itertools

import manifold3d
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from polygon_cases import LETTER_L, random_stack

from choreo.geometry.solids.solid import Band, Solid, build_solid, moved, shrink
from choreo.model.assembly import Slab

seeds = st.integers(0, 10**6)


def ring(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def spans(solid):
    return [(b.z0, b.z1) for b in solid.bands]


def areas(solid):
    return [b.section.area for b in solid.bands]


def mesh_volume(solid):
    """Volume of the union of the bands by manifold3d, a mesh boolean that knows nothing of bands."""
    meshes = []
    for band in solid.bands:
        for part in shapely.get_parts(shapely.orient_polygons(band.section)):
            loops = [shapely.get_coordinates(r)[:-1] for r in shapely.get_rings(part)]
            cross = manifold3d.CrossSection(loops)
            meshes.append(cross.extrude(band.z1 - band.z0).translate([0, 0, band.z0]))
    return manifold3d.Manifold.batch_boolean(meshes, manifold3d.OpType.Add).volume()


def test_slabs_that_overlap_in_depth_become_bands_that_do_not():
    # By hand: 10 x 10 over 0..6 and 4 x 4, half outside, over 4..9: together 100 + 16 - 8 where they overlap.
    solid = build_solid([Slab(ring(0, 0, 10, 10), (), (0, 6)), Slab(ring(8, 0, 12, 4), (), (4, 9))])
    assert spans(solid) == [(0, 4), (4, 6), (6, 9)]
    assert areas(solid) == [100, 108, 16]
    assert solid.volume == pytest.approx(4 * 100 + 2 * 108 + 3 * 16)


def test_neighbours_with_one_section_merge_and_gaps_stay():
    slabs = [Slab(ring(0, 0, 5, 5), (), z) for z in ((0, 2), (2, 3), (7, 8))]
    assert spans(build_solid(slabs)) == [(0, 3), (7, 8)]


def test_a_slab_fills_the_hole_of_another():
    holed = Slab(ring(0, 0, 10, 10), (ring(3, 3, 7, 7),), (0, 4))
    solid = build_solid([holed, Slab(ring(2, 2, 8, 8), (), (1, 2))])
    assert areas(solid) == [84, 100, 84]


def test_offset_places_the_part():
    solid = build_solid([Slab(ring(0, 0, 10, 4), (), (0, 2))], (1, 2, 3))
    assert solid.bounds.tolist() == [[1, 2, 3], [11, 6, 5]]
    assert moved(solid, (-1, -2, -3)).bounds.tolist() == [[0, 0, 0], [10, 4, 2]]


def test_shrunk_box_loses_the_amount_on_every_side():
    # By hand: 30 x 20 x 10 less 0.5 on each side in the plane and 0.25 at each end: 29 x 19 x 9.5.
    solid = shrink(build_solid([Slab(ring(0, 0, 30, 20), (), (0, 10))]), 0.5, 0.25)
    assert solid.bounds.tolist() == [[0.5, 0.5, 0.25], [29.5, 19.5, 9.75]]
    assert solid.volume == pytest.approx(29 * 19 * 9.5)


def test_shrunk_hole_grows():
    # By hand: the 4 x 4 hole becomes 5 x 5, with square corners.
    solid = shrink(build_solid([Slab(ring(0, 0, 20, 20), (ring(8, 8, 12, 12),), (0, 1))]), 0.5, 0)
    assert areas(solid) == pytest.approx([19 * 19 - 25])


def test_shrunk_letter_keeps_its_corners_square():
    # By hand: the L of a 20 x 6 foot and an 8 x 9 stem, each line moved inward by 1: 18 x 4 and 6 x 9.
    solid = shrink(build_solid([Slab(tuple(map(tuple, LETTER_L)), (), (0, 1))]), 1, 0)
    assert areas(solid) == pytest.approx([18 * 4 + 6 * 9])
    assert shapely.get_num_coordinates(solid.bands[0].section) == 7


@pytest.mark.parametrize(
    ("outline", "r"),
    # Steiner's formula for a convex polygon (Schneider, Convex Bodies, cited from memory) says how much lies
    # within r of the outline on its outside: P r + pi r^2. Square corners add what they exceed the disc by:
    # r^2 (2 tan(a/2) - a) / 2 twice, for each turn a.
    [
        ([(0, 0), (1, 0), (1, 1), (0, 1)], 1.0),
        ([(0, 0), (3, 0), (0, 4)], 0.2),
        ([(np.cos(k * np.pi / 3), np.sin(k * np.pi / 3)) for k in range(6)], 0.5),
    ],
)
def test_grown_convex_section_exceeds_steiners_disc_by_its_corners(outline, r):
    polygon = shapely.Polygon(outline)
    edges = np.diff(shapely.get_coordinates(shapely.orient_polygons(polygon)), axis=0)
    heading = np.arctan2(edges[:, 1], edges[:, 0])
    turns = np.mod(np.roll(heading, -1) - heading, 2 * np.pi)
    assert turns.sum() == pytest.approx(2 * np.pi)
    corners = (r * r * (np.tan(turns / 2) - turns / 2)).sum()
    grown = shrink(Solid((Band(0, 1, polygon),)), -r, 0)
    assert grown.volume == pytest.approx(polygon.area + polygon.length * r + np.pi * r * r + corners)


def test_stack_keeps_across_a_shared_face_what_both_bands_have():
    # By hand: a 20 x 20 plate 4 thick carries a 10 x 10 post 6 high. 1 off everywhere: the plate ends at 3, the post
    # goes on down into it: 18 x 18 over 1..3, 8 x 8 over 3..9.
    solid = shrink(build_solid([Slab(ring(0, 0, 20, 20), (), (0, 4)), Slab(ring(5, 5, 15, 15), (), (4, 10))]), 1, 1)
    assert solid.volume == pytest.approx(2 * 18 * 18 + 6 * 8 * 8)
    assert spans(solid)[0][0] == 1
    assert spans(solid)[-1][1] == 9


def test_bands_that_meet_in_an_edge_only_part_when_shrunk():
    # By hand: two 10 x 10 x 5 blocks, stacked corner over corner without a common section.
    solid = shrink(build_solid([Slab(ring(0, 0, 10, 10), (), (0, 5)), Slab(ring(10, 0, 20, 10), (), (5, 10))]), 1, 1)
    assert solid.volume == pytest.approx(2 * 8 * 8 * 3)


def test_sections_that_share_an_edge_leave_no_line_behind():
    # By hand: an L on a 4 x 4 post that it overlaps in 2 x 4 and touches along a line of 2.
    letter = ((0, 0), (10, 0), (10, 2), (2, 2), (2, 10), (0, 10))
    solid = shrink(build_solid([Slab(letter, (), (0, 5)), Slab(ring(0, 2, 4, 6), (), (5, 9))]), 0, 1)
    assert [b.section.geom_type for b in solid.bands] == ["Polygon"] * 3
    assert areas(solid) == pytest.approx([36, 8, 16])


def test_both_sides_of_a_narrow_gap_are_worn():
    # By hand: plates over 0..4 and 4.5..8.5 less 1 at each of their ends.
    solid = shrink(build_solid([Slab(ring(0, 0, 9, 9), (), z) for z in ((0, 4), (4.5, 8.5))]), 0, 1)
    assert spans(solid) == [(1, 3), (5.5, 7.5)]


def test_thin_plates_and_narrow_strips_vanish():
    assert shrink(build_solid([Slab(ring(0, 0, 9, 9), (), (0, 0.5))]), 0.1, 0.25).bands == ()
    assert shrink(build_solid([Slab(ring(0, 0, 9, 0.2), (), (0, 5))]), 0.1, 0.1).bands == ()


def test_a_thin_band_inside_a_stack_of_one_shape_does_not_vanish():
    # By hand: 0.2 between two of 3, all 10 x 10 but for a mark that makes the middle one another section: what
    # all three have stays whole, 9.8 x 9.8 over 0.15..6.05.
    slabs = [
        Slab(ring(0, 0, 10, 10), (), (0, 3)),
        Slab(ring(0, 0, 10, 11), (), (3, 3.2)),
        Slab(ring(0, 0, 10, 10), (), (3.2, 6.2)),
    ]
    assert shrink(build_solid(slabs), 0.1, 0.15).volume == pytest.approx(9.8 * 9.8 * 5.9)


def test_grown_stack_grows_at_its_ends_only():
    # By hand: 10 x 10 and 4 x 4, 1 more on each side in the plane, 2 more at each end.
    solid = shrink(build_solid([Slab(ring(0, 0, 10, 10), (), (0, 4)), Slab(ring(3, 3, 7, 7), (), (4, 9))]), -1, -2)
    assert spans(solid) == [(-2, 4), (4, 11)]
    assert areas(solid) == pytest.approx([144, 36])


def test_shrinking_by_nothing_changes_nothing():
    solid = random_stack(1)
    assert shrink(solid, 0, 0) is solid


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_volume_agrees_with_a_mesh_boolean(seed):
    solid = random_stack(seed)
    assert solid.volume == pytest.approx(mesh_volume(solid), rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(seeds, st.floats(0.01, 0.4), st.floats(0.01, 2.0))
def test_a_shrunk_solid_has_disjoint_bands_inside_the_solid(seed, in_plane, along_z):
    solid = random_stack(seed)
    less = shrink(solid, in_plane, along_z)
    for a, b in itertools.pairwise(less.bands):
        assert a.z1 <= b.z0
    for band in less.bands:
        # At every depth within along_z of this band's, the solid must have the section, and more around it.
        for z in np.linspace(band.z0 - along_z, band.z1 + along_z, 9)[1:-1]:
            here = [b.section for b in solid.bands if b.z0 <= z <= b.z1]
            assert here
            assert min(band.section.difference(s).area for s in here) < 1e-9
    assert less.volume < solid.volume
