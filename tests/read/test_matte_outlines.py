"""Outlines traced from mattes: where they land in mm, what stands in the digest, what is said about bad ones."""

from __future__ import annotations

import json
import subprocess

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pictures import coverage, disc, rgba, write_png

from choreo.compile import take_apart
from choreo.errors import ChoreoError
from choreo.read import drawn
from choreo.read.assembly import inspect_assembly
from choreo.read.drawn import to_mm
from choreo.read.project import read_assembly

OUTLINE = [[20.0, 30.0], [180.0, 30.0], [180.0, 110.0], [60.0, 110.0], [60.0, 130.0], [20.0, 130.0]]
WINDOW = [[100.0, 50.0], [150.0, 50.0], [150.0, 90.0], [100.0, 90.0]]
MATTE = {"matte": "plates/part.png", "px_per_mm": 4, "pivot_px": [100, 80]}


def project(folder, *outlines, alpha=None, **slab):
    if alpha is not None:
        (folder / "plates").mkdir(exist_ok=True)
        write_png(folder / "plates/part.png", rgba(alpha))
    parts = [
        {"id": f"p{index}", "slabs": [{"outline": outline, "z": [10 * index, 10 * index + 10], **slab}]}
        for index, outline in enumerate(outlines)
    ]
    value = {"format": "choreo/assembly", "version": 1, "name": "Invented", "parts": parts}
    (folder / "assembly.json").write_text(json.dumps(value), encoding="utf-8")
    return folder / "assembly.json"


def polygon(slab):
    return shapely.Polygon(slab.outline, slab.holes)


def findings(path):
    return [(f.code, f.place, f.severity) for f in inspect_assembly(path).findings]


def test_a_picture_that_was_shot_askew_lies_right(tmp_path):
    # Drawn 10 degrees against the clock about its pivot; the number turns it back.
    turn = np.radians(-10)
    matrix = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    askew = (np.array(OUTLINE) - (100, 80)) @ matrix + (100, 80)
    path = project(tmp_path, {**MATTE, "turn": 10, "simplify_px": 0.25}, alpha=coverage((220, 180), [askew]))
    (slab,) = inspect_assembly(path).assembly.parts[0].slabs
    truth = shapely.Polygon([((x - 100) / 4, (80 - y) / 4) for x, y in OUTLINE])
    assert shapely.symmetric_difference(polygon(slab), truth).area < 3e-3 * truth.area
    # By hand: a quarter turn clockwise takes what is right of the pivot below it.
    assert to_mm(np.array([[104.0, 80.0]]), 4, (100, 80), 90.0) == pytest.approx(np.array([[0, -1]]), abs=1e-12)


def test_px_become_mm(tmp_path):
    path = project(tmp_path, {**MATTE, "simplify_px": 0.25}, alpha=coverage((200, 160), [OUTLINE], [WINDOW]))
    read = inspect_assembly(path)
    assert read.findings == ()
    (slab,) = read.assembly.parts[0].slabs
    # By hand: x = (px - 100) / 4, y = (80 - py) / 4.
    truth = shapely.Polygon([((x - 100) / 4, (80 - y) / 4) for x, y in OUTLINE],
                            [[((x - 100) / 4, (80 - y) / 4) for x, y in WINDOW]])  # fmt: skip
    assert truth.bounds == (-20, -12.5, 20, 12.5)
    assert polygon(slab).area == pytest.approx(truth.area, rel=1e-3)
    assert shapely.symmetric_difference(polygon(slab), truth).area < 1e-3 * truth.area
    assert slab.z == (0, 10)
    assert shapely.is_ccw(shapely.LinearRing(slab.outline))


@given(
    st.lists(st.tuples(st.floats(-2e4, 2e4), st.floats(-2e4, 2e4)), min_size=1, max_size=9),
    st.floats(0.01, 1e4), st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6)),
)  # fmt: skip
def test_there_and_back(points, scale, pivot):
    px = np.array(points)
    back = to_mm(px, scale, pivot) * [scale, -scale] + pivot
    # Four roundings, of numbers no larger than the difference and the pivot.
    assert np.abs(back - px).max() <= 8 * np.finfo(float).eps * (np.abs(px).max() + np.abs(pivot).max())
    assert to_mm(np.array([pivot]), scale, pivot).tolist() == [[0, 0]]


def test_islands_become_slabs_of_one_depth(tmp_path):
    alpha = disc((200, 160), (50, 80), 30) + disc((200, 160), (150, 80), 30)
    assembly = read_assembly(project(tmp_path, MATTE, [[-9, -9], [9, -9], [9, 9], [-9, 9]], alpha=alpha))
    slabs = assembly.parts[0].slabs
    assert [slab.z for slab in slabs] == [(0, 10), (0, 10)]
    assert sorted(round(polygon(slab).centroid.x, 1) for slab in slabs) == [-12.5, 12.5]
    apart = take_apart(assembly)
    assert apart.solids["p0"].volume == pytest.approx(2 * np.pi * 7.5**2 * 10, rel=3e-3)


def test_one_matte_is_read_and_traced_once(tmp_path, monkeypatch):
    calls = []
    for name in ("read_image", "trace_alpha"):
        real = getattr(drawn, name)
        monkeypatch.setattr(drawn, name, lambda *args, _name=name, _real=real: calls.append(_name) or _real(*args))
    path = project(tmp_path, MATTE, {**MATTE, "px_per_mm": 8}, alpha=disc((200, 160), (100, 80), 50))
    one, two = read_assembly(path).parts
    assert calls == ["read_image", "trace_alpha"]
    assert polygon(one.slabs[0]).area == pytest.approx(4 * polygon(two.slabs[0]).area)


def test_the_digest_follows_the_matte(tmp_path):
    path = project(tmp_path, MATTE, alpha=disc((200, 160), (100, 80), 50))
    first = inspect_assembly(path).digest
    # As the schema says: what sha256sum prints, hashed once more.
    listed = "sha256sum assembly.json plates/part.png | sha256sum"
    said = subprocess.run(["bash", "-c", listed], cwd=tmp_path, capture_output=True, text=True, check=True).stdout
    assert first == f"sha256:{said.split()[0]}"
    assert inspect_assembly(path).digest == first
    write_png(tmp_path / "plates/part.png", rgba(disc((200, 160), (100, 80), 51)))
    assert inspect_assembly(path).digest != first


def test_without_drawings_the_digest_is_that_of_the_file(tmp_path):
    path = project(tmp_path, [[0, 0], [9, 0], [0, 9]])
    said = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout.split()[0]
    assert inspect_assembly(path).digest == f"sha256:{said}"


PLACE = "/parts/0/slabs/0/outline/matte"


def test_what_is_said_about_odd_mattes(tmp_path):
    def said(alpha, **keys):
        return findings(project(tmp_path, {**MATTE, **keys}, alpha=alpha))

    assert said(np.zeros((160, 200))) == [("empty-matte", PLACE, "error")]
    assert said(disc((200, 160), (100, 80), 50) * 0.4) == [("empty-matte", PLACE, "error")]
    assert said(disc((200, 160), (100, 80), 2)) == [("empty-matte", PLACE, "error")]
    assert said(disc((200, 160), (100, 80), 50) * 0.4, threshold=0.2) == []
    assert said(np.ones((160, 200))) == [("opaque-matte", PLACE, "warning")]
    assert said(disc((200, 160), (10, 80), 50)) == [("matte-cut-off", PLACE, "warning")]
    dusty = disc((200, 160), (100, 80), 50) + disc((200, 160), (10, 10), 1.5)
    assert said(dusty) == [("matte-dust", PLACE, "warning")]
    assert said(disc((200, 160), (100, 80), 50), px_per_mm=1e-6) == [("out-of-range", PLACE[:-6], "error")]
    assert said(disc((200, 160), (100, 80), 50), px_per_mm=1e4)[0][0] == "too-thin"
    speckled = coverage((400, 400), [[[x, y], [x + 6, y], [x + 6, y + 6], [x, y + 6]]
                                     for x in range(4, 390, 20) for y in range(4, 390, 20)], factor=1)  # fmt: skip
    assert said(speckled) == [("too-ragged", PLACE[:-6], "error")]


def test_every_bad_matte_of_a_file_is_named(tmp_path):
    outlines = [{**MATTE, "matte": name} for name in ("plates/none.png", "assembly.json", "../x.png")]
    codes = findings(project(tmp_path, *outlines))
    assert codes == [
        ("no-such-file", "/parts/0/slabs/0/outline/matte", "error"),
        ("not-an-image", "/parts/1/slabs/0/outline/matte", "error"),
        ("path-outside", "/parts/2/slabs/0/outline/matte", "error"),
    ]


def test_links_out_of_the_project_are_not_followed(tmp_path):
    inside = tmp_path / "project"
    inside.mkdir()
    path = project(inside, MATTE)
    (inside / "plates").mkdir()
    write_png(tmp_path / "secret.png", rgba(disc((200, 160), (100, 80), 50)))
    (inside / "plates/part.png").symlink_to(tmp_path / "secret.png")
    assert findings(path) == [("path-outside", PLACE, "error")]


def test_holes_beside_a_matte(tmp_path):
    path = project(tmp_path, MATTE, alpha=disc((200, 160), (100, 80), 50), holes=[[[0, 0], [1, 0], [0, 1]]])
    with pytest.raises(ChoreoError) as caught:
        read_assembly(path)
    assert [(f.code, f.place) for f in caught.value.findings] == [("holes-beside-drawing", "/parts/0/slabs/0/holes")]


def test_a_product_of_plates_comes_apart(tmp_path):
    shell = coverage((200, 160), [OUTLINE], [WINDOW])
    pane = [[(x - 100) / 4, (80 - y) / 4] for x, y in WINDOW]
    shrunk = [[x + (0.3 if x < 6 else -0.3), y + (0.3 if y < 0 else -0.3)] for x, y in pane]
    path = project(tmp_path, MATTE, shrunk, alpha=shell)
    value = json.loads(path.read_text())
    value["parts"][1]["slabs"][0]["z"] = [0, 10]
    path.write_text(json.dumps(value))
    apart = take_apart(read_assembly(path))
    assert apart.removal.body == "p0"
    assert apart.removal.order == ("p1",)
