"""Outlines from drawings: against an independent renderer, the standard's own examples, and hostile files."""

from __future__ import annotations

import io
import json
import math

import numpy as np
import pytest
import resvg_py
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pictures import coverage
from PIL import Image as Pillow

from choreo.errors import ChoreoError
from choreo.geometry.plane.curves import arc, bezier, centre_of
from choreo.read.assembly import inspect_assembly
from choreo.read.project import read_assembly
from choreo.read.refused import Refused
from choreo.read.svg_file import parse_svg
from choreo.read.svg_outlines import FLATTEN_MM, svg_polygons
from choreo.read.svg_path import commands

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="300" height="200" viewBox="0 0 300 200">'


def drawing(body, head=HEAD):
    return f"{head}{body}</svg>"


def polygons(text, name="s", scale=1.0):
    return svg_polygons(parse_svg(text.encode("utf-8")), name, scale)


def refused(text, name="s", scale=1.0):
    with pytest.raises(Refused) as caught:
        polygons(text, name, scale)
    assert caught.value.remedy
    assert caught.value.what.isprintable()
    return caught.value.code


def area(text, name="s", scale=1.0):
    return sum(polygon.area for polygon in polygons(text, name, scale))


SHAPES = {
    "rect": '<rect id="s" x="20.5" y="30" width="200" height="100"/>',
    "rounded": '<rect id="s" x="20" y="30" width="200" height="100" rx="30" ry="60"/>',
    "rounded-once": '<rect id="s" x="20" y="30" width="200" height="100" rx="30"/>',
    "circle": '<circle id="s" cx="150" cy="100" r="77.7"/>',
    "ellipse": '<ellipse id="s" cx="150" cy="100" rx="120" ry="33.3" transform="rotate(20 150 100)"/>',
    "polygon": '<polygon id="s" points="20,20 280,30, 200 180-0,100"/>',
    "cubic": '<path id="s" d="M20 100C20 0 140 0 140 100s120 100 120 0L260 190H20z"/>',
    "quadratic": '<path id="s" d="M20 100q60-120 120 0t120 0V190h-240Z"/>',
    "smooth-after-others": '<path id="s" d="M20 100Q80 0 140 100S200 180 260 100T280 150L200 190T20 150z"/>',
    "arcs": '<path id="s" d="M90 60a70 30 30 1180 60a70 30 30 01-80-60z"/>',
    "small-radii": '<path id="s" d="M60 100 A 10 5 40 0 1 240 100 L 150 190 z"/>',
    "evenodd": '<path id="s" fill-rule="evenodd" d="M20 20H280V180H20zM60 60H240V140H60zM100 80h60v40h-60z"/>',
    "nonzero-same": '<path id="s" d="M20 20H280V180H20zM60 60H240V140H60z"/>',
    "nonzero-opposed": '<path id="s" d="M20 20H280V180H20zM60 60V140H240V60z"/>',
    "nonzero-deep": '<path id="s" d="M20 20H280V180H20zM40 40V160H260V40zM60 60V140H240V60zM80 80H220V120H80z"/>',
    "inherited-rule": '<g style="fill-rule:evenodd"><path id="s" d="M20 20H280V180H20zM60 60H240V140H60z"/></g>',
    "islands": '<path id="s" d="M20 20h50v50h-50zM100 20h50v50h-50zM180 20a30 30 0 1 0 60 0z"/>',
    "transforms": '<g transform="translate(150,100) rotate(15)"><g transform="scale(1.5 -.8) skewX(20)">'
                  '<rect id="s" x="-50" y="-50" width="100" height="100" transform="skewY(-5)matrix(1 0 0 1 5 5)"/>'
                  "</g></g>",
    "closed-without-z": '<path id="s" d="M20 20 L 200 30 L 150 180 L 20 20"/>',
    "relative-after-z": '<path id="s" d="m20 20 50 0 0 50z m100 0 50 0 0 50z"/>',
    "units": '<rect id="s" x="5mm" y=".5cm" width="2in" height="72pt"/>',
}  # fmt: skip


@pytest.mark.parametrize("name", SHAPES)
def test_shapes_are_those_of_another_renderer(name):
    text = drawing(SHAPES[name])
    png = resvg_py.svg_to_bytes(svg_string=text, dpi=96)
    theirs = np.asarray(Pillow.open(io.BytesIO(bytes(png))).getchannel("A"), dtype=float) / 255
    assert theirs.shape == (200, 300)
    found = polygons(text)
    flip = np.array([1, -1])
    rings = [
        (shapely.get_coordinates(p.exterior) * flip, [shapely.get_coordinates(r) * flip for r in p.interiors])
        for p in found
    ]
    ours = sum(coverage((300, 200), [outline], holes, factor=8) for outline, holes in rings)
    length = sum(polygon.length for polygon in found)
    # Its edges are off by up to 32 of 255 in single pixels, and sloping ones are 0.05 px short of exact areas.
    assert np.abs(ours - theirs).max() < 0.3
    assert abs(sum(p.area for p in found) - theirs.sum()) < 0.06 * length


def test_areas_by_hand():
    assert area(drawing('<circle id="s" r="50"/>')) == pytest.approx(math.pi * 2500, rel=3e-4)
    # SVG 2, section 9.3.8, the pie of the examples of arcs: three quarters of one circle, and the quarter cut out.
    pie = '<path id="s" d="M300,200 h-150 a150,150 0 1,0 150,-150 z"/>'
    assert area(drawing(pie)) == pytest.approx(0.75 * math.pi * 150**2, rel=2e-4)
    piece = '<path id="s" d="M275,175 v-150 a150,150 0 0,0 -150,150 z"/>'
    assert area(drawing(piece)) == pytest.approx(0.25 * math.pi * 150**2, rel=2e-4)
    # Below a parabola: a quadratic from (0, 0) over (1, 2) to (2, 0) encloses 2/3 of its triangle's area of 2.
    assert area(drawing('<path id="s" d="M0 0 Q 100 200 200 0z"/>')) == pytest.approx(2 / 3 * 20000, rel=2e-4)
    nested = '<path id="s" fill-rule="evenodd" d="M0 0H90V90H0zM10 10H80V80H10zM20 20H70V70H20z"/>'
    assert area(drawing(nested)) == pytest.approx(8100 - 4900 + 2500)


@pytest.mark.parametrize(("large", "clockwise", "centre"), [
    (False, True, 125 + 125j), (True, False, 125 + 125j), (False, False, 225 + 75j), (True, True, 225 + 75j),
])  # fmt: skip
def test_the_four_arcs_of_the_standard(large, clockwise, centre):
    # SVG 2, section 9.3.8, the figure of the four flag combinations: M 125,75 a100,50 0 ?,? 100,50. Its two ellipses,
    # by hand, have their centres at (125, 125) and (225, 75): both points lie on both.
    found = centre_of(125 + 75j, (100, 50), 0, large, clockwise, 225 + 125j)
    assert found.centre == pytest.approx(centre)
    assert abs(found.sweep) == pytest.approx(math.pi * (1.5 if large else 0.5))
    assert (found.sweep > 0) == clockwise


def test_radii_that_do_not_reach_grow():
    # By hand: a half circle over 22 needs a radius of 11; half an ellipse of 10 by 5 over 22 along x one of 11 by 5.5.
    assert centre_of(0, (10, 10), 0, large=False, clockwise=True, end=22).rx == pytest.approx(11)
    grown = centre_of(0, (10, 5), 0, large=False, clockwise=True, end=22)
    assert (grown.centre, grown.rx, grown.ry) == (pytest.approx(11), pytest.approx(11), pytest.approx(5.5))


@given(
    st.complex_numbers(max_magnitude=1e3), st.complex_numbers(max_magnitude=1e3), st.floats(1, 1e3), st.floats(1, 1e3),
    st.floats(-720, 720), st.booleans(), st.booleans(),
)  # fmt: skip
def test_arcs_run_between_their_ends_on_one_ellipse(start, end, rx, ry, rotation, large, clockwise):
    if abs(start - end) < 1e-3:
        return
    points = arc(start, (rx, ry), rotation, large, clockwise, end, 0.01)
    assert complex(*points[-1]) == end
    whole = centre_of(start, (rx, ry), rotation, large, clockwise, end)
    turn = complex(math.cos(math.radians(rotation)), math.sin(math.radians(rotation)))
    around = (np.array([start, *(points @ np.array([1, 1j]))]) - whole.centre) / turn
    assert np.allclose((around.real / whole.rx) ** 2 + (around.imag / whole.ry) ** 2, 1, atol=1e-6)
    # SVG 2, B.2.5: radii grow together, and only where they must.
    assert whole.rx / rx == pytest.approx(whole.ry / ry)
    assert whole.rx >= rx * (1 - 1e-12)
    assert (abs(whole.sweep) > math.pi) == large or abs(whole.sweep) == pytest.approx(math.pi, abs=1e-3)


WHOLE = st.builds(complex, st.integers(-100, 100), st.integers(-100, 100))


@given(st.lists(WHOLE, min_size=3, max_size=4), st.sampled_from([1e-3, 0.01, 1.0]))
def test_chords_stay_by_their_curve(control, tolerance):
    drawn = np.array([[control[0].real, control[0].imag], *bezier(control, tolerance)])
    t = np.linspace(0, 1, 2000)
    points = np.array(control)[:, None] + 0 * t
    while len(points) > 1:  # de Casteljau
        points = points[:-1] + t * (points[1:] - points[:-1])
    line = shapely.LineString(drawn) if len(np.unique(drawn, axis=0)) > 1 else shapely.Point(drawn[0])
    assert (
        shapely.distance(shapely.points(points[0].real, points[0].imag), line).max() <= tolerance * (1 + 1e-9) + 1e-12
    )


def test_a_circle_is_followed_within_its_tolerance():
    for scale in (0.01, 1, 50):
        (found,) = polygons(drawing('<circle id="s" r="50"/>'), scale=scale)
        middles = shapely.get_coordinates(shapely.segmentize(found, found.length / 4000))
        off = np.abs(np.hypot(*middles.T) - 50 * scale)
        assert off.max() <= FLATTEN_MM * (1 + 1e-9)
        assert scale < 1 or off.max() > FLATTEN_MM / 9  # no more corners than that takes


@pytest.mark.parametrize(("size", "scale"), [
    ('viewBox="0 0 300 200"', 1), ('width="300" height="200" viewBox="0 0 300 200"', 1),
    ('width="100%" height="100%" viewBox="0 0 300 200"', 1),
    ('width="30mm" height="20mm" viewBox="0 0 300 200"', 0.1), ('width="3cm" viewBox="0 0 300 200"', 0.1),
    ('width="2in" height="72pt"', 25.4 / 96), ('width="96px" height="64px" viewBox="0 0 300 200"', 25.4 / 300),
    ('width="60Q" height="40Q" viewBox="0 0 30 20"', 0.5), ('width="6pc" viewBox="0 0 254 10"', 0.1),
])  # fmt: skip
def test_scale(size, scale):
    text = drawing('<rect id="s" x="10" width="30" height="20"/>', f'<svg xmlns="http://www.w3.org/2000/svg" {size}>')
    (found,) = polygons(text, scale=None)
    assert found.bounds == pytest.approx((10 * scale, -20 * scale, 40 * scale, 0))
    (found,) = polygons(text, scale=3.0)
    assert found.bounds == pytest.approx((30, -60, 120, 0))


BOMB = '<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
OUTSIDE = '<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
PUBLIC = '<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">'
RECT = '<rect id="s" width="9" height="9"/>'

HOSTILE = {
    "empty": ("", "not-svg"),
    "text": ("shell", "not-svg"),
    "truncated": (drawing(RECT)[:-8], "not-svg"),
    "html": ("<html><body/></html>", "not-svg"),
    "no-namespace": ('<svg><rect id="s" width="9" height="9"/></svg>', "not-svg"),
    "bomb": (BOMB + drawing('<text id="s">&b;</text>'), "svg-entities"),
    "outside": (OUTSIDE + drawing('<text id="s">&x;</text>'), "svg-entities"),
    "encoding": ('<?xml version="1.0" encoding="nonsense"?>' + drawing(RECT), "not-svg"),
    "deep": (drawing("<g>" * 200 + RECT + "</g>" * 200), "svg-too-large"),
    "no-id": (drawing('<rect id="t" width="9" height="9"/>'), "svg-no-such-id"),
    "twice": (drawing(RECT + RECT), "svg-repeated-id"),
    "open": (drawing('<path id="s" d="M0 0L9 0L9 9"/>'), "svg-open"),
    "open-polyline": (drawing('<polyline id="s" points="0 0 9 0 9 9"/>'), "svg-no-shape"),
    "line": (drawing('<path id="s" d="M0 0L9 9z"/>'), "no-area"),
    "on-one-line": (drawing('<path id="s" d="M0 0L9 9 18 18z"/>'), "no-area"),
    "no-data": (drawing('<path id="s"/>'), "no-area"),
    "only-moves": (drawing('<path id="s" d="M0 0 9 9 M 3 3"/>'), "svg-open"),
    "bow-tie": (drawing('<path id="s" d="M0 0L9 9L9 0L0 9z"/>'), "crosses-itself"),
    "overlap": (drawing('<path id="s" d="M0 0h9v9h-9zM5 5h9v9h-9z"/>'), "crosses-itself"),
    "touching": (drawing('<path id="s" d="M0 0h9v9h-9zM9 0h9v9h-9z"/>'), "crosses-itself"),
    "twice-the-same": (drawing('<path id="s" d="M0 0h9v9h-9zM0 0h9v9h-9z"/>'), "crosses-itself"),
    "nan": (drawing('<path id="s" d="M0 0h9vNaNh-9z"/>'), "svg-path"),
    "infinite": (drawing('<path id="s" d="M0 0h9v1e999h-9z"/>'), "svg-number"),
    "letter": (drawing('<path id="s" d="M0 0h9v9x-9z"/>'), "svg-path"),
    "no-move": (drawing('<path id="s" d="L0 0h9v9h-9z"/>'), "svg-path"),
    "half-a-pair": (drawing('<path id="s" d="M0 0 9z"/>'), "svg-path"),
    "two-commas": (drawing('<path id="s" d="M0,,0 9 9 0 9z"/>'), "svg-path"),
    "trailing-comma": (drawing('<path id="s" d="M0,0 9 9 0 9,z"/>'), "svg-path"),
    "flag": (drawing('<path id="s" d="M0 0A5 5 0 2 0 9 9z"/>'), "svg-path"),
    "odd-points": (drawing('<polygon id="s" points="0 0 9 0 9"/>'), "svg-path"),
    "no-points": (drawing('<polygon id="s"/>'), "svg-path"),
    "no-width": (drawing('<rect id="s" height="9"/>'), "no-area"),
    "negative": (drawing('<circle id="s" r="-9"/>'), "no-area"),
    "percent": (drawing('<rect id="s" width="9%" height="9"/>'), "svg-length"),
    "words": (drawing('<rect id="s" width="wide" height="9"/>'), "svg-length"),
    "text-element": (drawing('<text id="s">shell</text>'), "svg-no-shape"),
    "use": (drawing('<defs><rect id="r" width="9" height="9"/></defs><use id="s" href="#r"/>'), "svg-no-shape"),
    "group": (drawing('<g id="s"><rect width="9" height="9"/></g>'), "svg-no-shape"),
    "foreign": (drawing('<x:rect xmlns:x="urn:x" id="s"/>'), "svg-no-shape"),
    "in-a-pattern": (drawing(f"<pattern>{RECT}</pattern>"), "svg-nested"),
    "in-an-svg": (drawing(f"<svg>{RECT}</svg>"), "svg-nested"),
    "clipped": (drawing(f'<g clip-path="url(#c)">{RECT}</g>'), "svg-unsupported"),
    "css-transform": (drawing('<rect id="s" style="transform: scale(2)" width="9" height="9"/>'), "svg-unsupported"),
    "sheet": (drawing(f"<style>.a {{ fill-rule: evenodd }}</style>{RECT}"), "svg-unsupported"),
    "rule": (drawing('<rect id="s" fill-rule="odd" width="9" height="9"/>'), "svg-unsupported"),
    "flat": (drawing('<rect id="s" transform="scale(1 0)" width="9" height="9"/>'), "no-area"),
    "transform": (drawing('<rect id="s" transform="turn(9)" width="9" height="9"/>'), "svg-transform"),
    "transform-count": (drawing('<rect id="s" transform="rotate(9 9)" width="9" height="9"/>'), "svg-transform"),
    "huge": (drawing('<rect id="s" width="1e9" height="9"/>'), "out-of-range"),
    "overflow": (drawing("<g transform='scale(1e12)'>" * 40 + RECT + "</g>" * 40), "no-area"),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_drawings(name):
    text, code = HOSTILE[name]
    assert refused(text) == code


def test_a_plain_document_type_does_no_harm():
    assert area(PUBLIC + drawing(RECT)) == 81
    with pytest.raises(Refused):
        parse_svg(b"\x1f\x8b\x08")


@pytest.mark.parametrize("size", [
    'width="30mm" height="30mm" viewBox="0 0 300 200"', 'width="30mm" viewBox="0 0 0 0"',
    'width="-3mm" viewBox="0 0 3 2"',
    'width="3mm" viewBox="0 0"',
])  # fmt: skip
def test_contradicting_sizes(size):
    text = drawing(RECT, f'<svg xmlns="http://www.w3.org/2000/svg" {size}>')
    assert refused(text, scale=None) == "svg-scale"
    assert area(text, scale=1.0) == 81


@given(st.text("MmLlHhVvCcSsQqTtAaZz0123456789.,-+eE \n", max_size=60))
@settings(max_examples=300)
def test_any_path_is_drawn_or_refused(text):
    try:
        found = polygons(drawing(f'<path id="s" d="{text}"/>'))
    except Refused as error:
        assert error.what.isprintable()  # noqa: PT017
    else:
        assert all(polygon.is_valid for polygon in found)


def test_the_grammar_needs_no_separators():
    # SVG 2, section 9.3.9: "M 0.6.5" is 0.6 and 0.5, "M 100-200" is 100 and -200, and arc flags stand alone.
    assert list(commands("M 0.6.5")) == [("M", [0.6, 0.5])]
    assert list(commands("M 100-200")) == [("M", [100, -200])]
    assert list(commands("m1 2 3 4,5,6"))[1:] == [("l", [3, 4]), ("l", [5, 6])]
    assert list(commands("M0 0a1 2 3 0110 20"))[1] == ("a", [1, 2, 3, 0, 1, 10, 20])


def project(folder, outline, text, **slab):
    (folder / "shapes.svg").write_text(text, encoding="utf-8")
    parts = [{"id": "p", "slabs": [{"outline": outline, "z": [0, 5], **slab}]}]
    value = {"format": "choreo/assembly", "version": 1, "name": "Invented", "parts": parts}
    (folder / "assembly.json").write_text(json.dumps(value), encoding="utf-8")
    return folder / "assembly.json"


def test_an_assembly_takes_its_outline_from_a_drawing(tmp_path):
    text = drawing('<path id="shell" d="M10 10H110V60H10zM20 20V50H100V20zM200 10h9v9h-9z"/>')
    path = project(tmp_path, {"svg": "shapes.svg", "id": "shell", "mm_per_unit": 0.5}, text)
    read = inspect_assembly(path)
    assert read.findings == ()
    slabs = read.assembly.parts[0].slabs
    assert [(len(slab.outline), len(slab.holes)) for slab in slabs] == [(4, 1), (4, 0)]
    assert sorted(slabs[0].outline) == [(5, -30), (5, -5), (55, -30), (55, -5)]
    first = read.digest
    (tmp_path / "shapes.svg").write_text(text + "\n", encoding="utf-8")
    assert inspect_assembly(path).digest != first


@pytest.mark.parametrize(("outline", "slab", "said"), [
    ({"svg": "shapes.svg", "id": "shel"}, {}, ("svg-no-such-id", "id")),
    ({"svg": "none.svg", "id": "shell"}, {}, ("no-such-file", "svg")),
    ({"svg": "assembly.json", "id": "shell"}, {}, ("not-svg", "svg")),
    ({"svg": "../shapes.svg", "id": "shell"}, {}, ("path-outside", "svg")),
    ({"svg": "shapes.svg", "id": "line"}, {}, ("no-area", "id")),
    ({"svg": "shapes.svg", "id": "shell"}, {"holes": [[[0, 0], [1, 0], [0, 1]]]}, ("holes-beside-drawing", "")),
])  # fmt: skip
def test_findings_name_file_and_place(tmp_path, outline, slab, said):
    body = '<rect id="shell" width="9" height="9"/><path id="line" d="M0 0L9 9z"/>'
    with pytest.raises(ChoreoError) as caught:
        read_assembly(project(tmp_path, outline, drawing(body), **slab))
    (finding,) = caught.value.findings
    place = f"/parts/0/slabs/0/outline/{said[1]}" if said[1] else "/parts/0/slabs/0/holes"
    assert (finding.code, finding.place) == (said[0], place)
    assert finding.file.endswith("assembly.json")
    assert finding.line == 1
