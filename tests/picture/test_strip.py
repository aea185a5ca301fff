"""The strip as a file: sound, inert, the same every time, and true to the tracks."""

from __future__ import annotations

import dataclasses
import hashlib
import itertools
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import opentimelineio.opentime as otio
import pytest
import shapely
from small_film import MARGINS, film

from choreo.picture.strip import strip_svg

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = [
    "<script>alert(1)</script>",
    '"/><image href="https://example.invalid/x.png"/>',
    "]]>&amp;&#0;&lol;",
    "\u202eright to left\u202c",
    "\x00\x1b[2J\ufffe\ud800",
    "a" * 5000,
    "word " * 500,
    "Größe 電池 🔋 e" + "\u0301" * 400,
    "",
]


@pytest.fixture(scope="module")
def drawn() -> str:
    return strip_svg(*film(), MARGINS)


def texts(svg: str) -> list[str]:
    return [node.text or "" for node in ET.fromstring(svg).iter(SVG + "text")]


def with_labels(labels: list[str]):
    assembly, solids, tracks, report = film()
    parts = tuple(dataclasses.replace(p, label=label) for p, label in zip(assembly.parts, labels, strict=True))
    return dataclasses.replace(assembly, parts=parts), solids, tracks, report


def test_it_is_one_standalone_picture(drawn):
    root = ET.fromstring(drawn)
    assert root.tag == SVG + "svg"
    names = {node.tag.removeprefix(SVG) for node in root.iter()}
    assert names <= {"svg", "title", "g", "rect", "line", "path", "circle", "text"}
    attributes = {name for node in root.iter() for name in node.attrib}
    assert not {name for name in attributes if "href" in name or name.startswith("on") or name == "style"}
    assert not re.search(r"url\(|@import|@font-face|<!|<\?", drawn)


def test_it_is_a_sheet_of_a4_landscape_or_less(drawn):
    # ISO 216: A4 is 210 mm x 297 mm.
    root = ET.fromstring(drawn)
    width, height = (float(root.get(name).removesuffix("mm")) for name in ("width", "height"))
    assert width <= 297.0
    assert height <= 210.1
    box = [float(n) for n in root.get("viewBox").split()]
    assert abs(width / height - box[2] / box[3]) < 0.01


def test_every_timecode_is_that_of_its_frame(drawn):
    # OpenTimelineIO counts the timecode of the frame in the film: shots begin on frames 0 and 26.
    rate = 24000 / 1001
    expected = {"burst": [0, 9, 12, 25], "return": [0, 4, 8, 11, 23]}
    starts = {"burst": 0, "return": 26}
    lines = [
        f"{otio.to_timecode(otio.RationalTime(starts[name] + frame, rate), rate)} · frame {frame}"
        for name, frames in expected.items()
        for frame in frames
    ]
    assert [line for line in texts(drawn) if "· frame" in line] == lines


def test_a_long_name_is_wrapped_and_pushes_the_rest_down(drawn):
    assembly, *rest = film()
    name = " ".join(f"Tin{number}" for number in range(40))
    long = strip_svg(dataclasses.replace(assembly, name=name), *rest, MARGINS)
    words, usual = texts(long), texts(drawn)
    lines = words[: words.index(usual[1])]
    assert len(lines) > 1
    assert " ".join(lines) == name
    assert words[len(lines) :] == usual[1:]
    shots = [[float(at) for at in re.findall(r'<g transform="translate\(48 (\d+)', svg)] for svg in (drawn, long)]
    assert len(shots[0]) >= 2
    assert {b - a for a, b in zip(*shots, strict=True)} == {48.0 * (len(lines) - 1)}


def test_it_says_what_and_where_from(drawn):
    words = texts(drawn)
    assert "Tin with a knob (invented)" in words
    assert "24000/1001 frames a second · 640 × 360 px · 50 frames, 00:00:02:02 · 3 parts" in words
    assert "assembly 01234567 · choreography fedcba98" in words
    assert "* Knob is a stand-in: A turned piece of wood." in words
    assert "All parts at rest, 40 px apart or more" in words


def labels_by_panel(svg: str) -> list[list[ET.Element]]:
    return [
        found
        for panel in ET.fromstring(svg).iter(SVG + "g")
        if panel.get("class") == "panel" and (found := [g for g in panel.iter(SVG + "g") if g.get("class") == "label"])
    ]


def rectangle(label: ET.Element) -> shapely.Polygon:
    box = label.find(SVG + "rect")
    x, y, width, height = (float(box.get(name)) for name in ("x", "y", "width", "height"))
    return shapely.box(x, y, x + width, y + height)


def test_labels_at_rest_name_and_number_all_parts(drawn):
    rest = [panel for panel in labels_by_panel(drawn) if len(panel) == 3]
    assert len(rest) == 2
    for panel in rest:
        words = {" ".join(t.text or "" for t in label.iter(SVG + "text")) for label in panel}
        assert words == {"Tin", "Lid 2", "Knob* 1"}


@pytest.mark.parametrize("size", [1, 30, 300])
def test_no_two_labels_overlap(size):
    svg = strip_svg(*with_labels(["T" * size, "Lid " * size, "W" * size]), MARGINS)
    panels = labels_by_panel(svg)
    assert panels
    for panel in panels:
        for one, other in itertools.combinations(map(rectangle, panel), 2):
            assert not one.intersects(other)


def test_labels_hold_their_words():
    # Widths of Helvetica in thousandths of an em, from memory of the standard metrics: the text of a label ends
    # before its rectangle does.
    helvetica = {"W": 944, "i": 222, "d": 556, "o": 556, "g": 556, "e": 556, "t": 278, "M": 833, "A": 667, "@": 1015}
    for word in ("Widget", "WWWWW", "iiiii", "MAMA", "@@@"):
        svg = strip_svg(*with_labels([word, word, word]), MARGINS)
        for label in itertools.chain.from_iterable(labels_by_panel(svg)):
            line = label.find(SVG + "text")
            end = float(line.get("x")) + float(line.get("font-size")) * sum(helvetica.get(c, 0) for c in word) / 1000
            assert line.text.startswith(word)
            assert end <= rectangle(label).bounds[2]


@pytest.mark.parametrize("label", HOSTILE)
def test_hostile_labels_are_inert(label):
    assembly, solids, tracks, report = with_labels([label] * 3)
    parts = tuple(dataclasses.replace(part, stand_in=label) for part in assembly.parts)
    svg = strip_svg(dataclasses.replace(assembly, name=label, parts=parts), solids, tracks, report, MARGINS)
    root = ET.fromstring(svg)
    names = {node.tag.removeprefix(SVG) for node in root.iter()}
    assert names <= {"svg", "title", "g", "rect", "line", "path", "circle", "text"}
    assert not re.search(r"[\x00-\x08\x0b-\x1f\u202a-\u202e\ud800-\udfff\ufffe\uffff]", svg)
    assert not re.search("[\u0300-\u036f]{3}", svg)
    svg.encode()
    assert len(svg) < 100_000


def test_long_names_leave_the_verb_and_the_mark():
    words = texts(strip_svg(*with_labels(["Tin " * 50, "Lid " * 50, "W" * 80]), MARGINS))
    assert any(line.startswith("Lid Lid") and line.endswith("… goes in first") for line in words)
    assert any(line.startswith("W") and line.endswith("…*") for line in words)


def test_the_safe_area_is_drawn_if_there_is_one(drawn):
    assert "stroke-dasharray" in drawn
    assert "safe area" in texts(drawn)
    bare = strip_svg(*film())
    assert "stroke-dasharray" not in bare
    assert "safe area" not in texts(bare)


def test_the_same_film_gives_the_same_bytes(drawn):
    assert strip_svg(*film(), MARGINS) == drawn
    program = (
        "import hashlib; from small_film import MARGINS, film; from choreo.picture.strip import strip_svg;"
        "print(hashlib.sha256(strip_svg(*film(), MARGINS).encode()).hexdigest())"
    )
    here = Path(__file__).parent
    for seed in ("1", "77"):
        env = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": f"{here}{os.pathsep}{here.parents[1]}"}
        run = subprocess.run([sys.executable, "-c", program], env=env, capture_output=True, text=True, check=True)
        assert run.stdout.strip() == hashlib.sha256(drawn.encode()).hexdigest()


@pytest.mark.parametrize("resolution", [(360, 640), (640, 640), (2000, 400)])
def test_frames_of_other_shapes(resolution):
    assembly, solids, tracks, report = film()
    svg = strip_svg(assembly, solids, dataclasses.replace(tracks, resolution=resolution), report)
    shots = [
        panels
        for group in ET.fromstring(svg).iter(SVG + "g")
        if (panels := [g for g in group.findall(SVG + "g") if g.get("class") == "panel"])
    ]
    assert len(shots) == 2
    for panels in shots:
        frames = [place(panel) for panel in panels]
        for x, _, width, height in frames:
            assert abs(width / height * resolution[1] / resolution[0] - 1) < 0.01
            assert x >= 0
            assert x + width <= 2088 - 2 * 48
        boxes = [shapely.box(x, y, x + width, y + height) for x, y, width, height in frames]
        assert not any(a.intersects(b) for a, b in itertools.combinations(boxes, 2))


def place(panel: ET.Element) -> tuple[float, float, float, float]:
    x, y = (float(n) for n in re.fullmatch(r"translate\((\S+) (\S+)\)", panel.get("transform")).groups())
    frame = panel.find(SVG + "rect")
    return x, y, float(frame.get("width")), float(frame.get("height"))
