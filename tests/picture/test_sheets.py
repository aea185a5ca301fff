"""Sheets for print: how panels stand, how large type is, what PDF and PNG show, and that nothing in a name runs."""

import math
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_film import MARGINS, film

from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Slab
from choreo.model.tracks import FilmSection
from choreo.picture.sheets.compose import compose
from choreo.picture.sheets.legible import legible
from choreo.picture.sheets.output import pdf_of, png_of
from choreo.picture.sheets.paper import CAPTION, GAP, PAPERS, SMALL, UNDER
from choreo.picture.sheets.storyboard import Storyboard, sheets_of
from choreo.picture.sheets.typeface import font_files, measure, not_set
from choreo.write.png import png_bytes

A4 = PAPERS["a4"]
CAPITAL = 0.656
"""Height of a capital of the typeface, in ems."""
SVG = "{http://www.w3.org/2000/svg}"
POPPLER = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs poppler's pdftoppm and pdffonts")
SECTIONS = (FilmSection("opening", 0, 25), FilmSection("return", 26, 49))


def board(frame_of=lambda *_: None, **changes):
    assembly, solids, tracks, report = film()
    assembly, tracks = replace(assembly, **changes), replace(tracks, sections=SECTIONS)
    return Storyboard(assembly, solids, tracks, report, MARGINS, frame_of, "0a1b2c3d")


def blue(_shot, _frame, large):
    """A picture of a frame that is all one colour, see-through at its left half."""
    pixels = np.zeros((360, 640, 4) if large else (180, 320, 4), np.uint8)
    pixels[..., 2] = 255
    pixels[:, pixels.shape[1] // 2 :, 3] = 255
    return png_bytes(pixels)


def decoded(png):
    return cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_COLOR)


def words_of(svg):
    return [(element.text, float(element.get("font-size"))) for element in ET.fromstring(svg).iter(f"{SVG}text")]


@given(
    st.lists(st.booleans(), min_size=1, max_size=30),
    st.floats(0.4, 3.0),
    st.sampled_from(sorted(PAPERS)),
)
def test_panels_lie_on_their_sheets_in_order_and_apart(large, aspect, paper):
    paper = PAPERS[paper]
    left, top, wide, high = paper.room
    places = compose(large, aspect, paper)
    assert [place.sheet for place in places] == sorted(place.sheet for place in places)
    assert {place.sheet for place in places} == set(range(places[-1].sheet + 1))
    for place, whole in zip(places, large, strict=True):
        assert place.width == pytest.approx(place.height * aspect)
        assert left - 1e-9 <= place.x
        assert place.x + place.width <= left + wide + 1e-6
        assert top <= place.y
        assert place.y + place.height + UNDER <= top + high + 1e-6
        together = [other for other in places if other.sheet == place.sheet]
        assert len(together) == 1 if whole else len(together) <= 4
        for other in together:
            if other is not place:
                beside = max(place.x, other.x) - min(place.x, other.x) >= place.width + GAP - 1e-6
                below = max(place.y, other.y) - min(place.y, other.y) >= place.height + UNDER - 1e-6
                assert beside or below


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_captions_names_and_timecodes_can_be_read_from_three_metres(paper):
    # Normal acuity (decimal 1.0) reads letters 5 minutes of arc high: ISO 8596, from memory.
    # By hand: 4.8 mm type on A4 is 6.79 mm on A3; a capital of 0.656 em is 4.45 mm, and atan(4.45 / 3000) is 5.1'.
    assert minutes(A4, 48.0) == pytest.approx(5.10, abs=0.01)
    assert min(CAPTION, SMALL) == 48.0
    for sheet in sheets_of(board(), PAPERS[paper])[:-1]:
        sizes = {}
        for element, scale in scaled_texts(ET.fromstring(sheet.svg())):
            sizes[element.text] = float(element.get("font-size")) * scale
        read = {text: size for text, size in sizes.items() if "revision" not in text and "invented" not in text}
        assert any(text.isdigit() for text in read)  # the numbers of removal are read from there as well
        assert len(read) > 3
        # Two figures share a circle and are a little smaller than what stands alone.
        least = {text: 4.6 if text.isdigit() and len(text) > 1 else 5.0 for text in read}
        assert all(minutes(PAPERS[paper], size) >= least[text] for text, size in read.items()), read


def minutes(paper, size):
    """How high capitals of so many tenths of a mm of type look from 3 m, minutes of arc, on what is hung up."""
    return math.degrees(math.atan(size / 10 * paper.enlarged * CAPITAL / 3000)) * 60


def scaled_texts(element, scale=1.0):
    """Every text with the factor by which it is enlarged."""
    grown = re.search(r"scale\(([\d.]+)\)", element.get("transform", ""))
    scale *= float(grown[1]) if grown else 1.0
    if element.tag == f"{SVG}text":
        yield element, scale
    for inner in element:
        yield from scaled_texts(inner, scale)


def test_the_height_of_a_capital_is_that_of_the_typeface():
    # OpenType's OS/2 table says how high a capital is; read by fontTools.
    from fontTools.ttLib import TTFont

    font = TTFont(font_files()[0])
    assert font["OS/2"].sCapHeight / font["head"].unitsPerEm == pytest.approx(CAPITAL, abs=0.005)


def test_letters_that_the_typeface_lacks_are_told():
    assert not_set("Größe Ωμέγα Дверь") == ""
    assert not_set("扉のドア扉") == "扉のドア"


def test_what_cannot_be_set_is_called_otherwise():
    base = board().assembly
    label, note = {"label": "つまみ", "stand_in": "木 turned"}, {"label": "Größe Дверь"}
    parts = (replace(base.parts[0], **label), replace(base.parts[1], **note), *base.parts[2:])
    shown = legible(replace(base, name="懐中電灯 Lamp", parts=parts))
    assert shown.name == "???? Lamp"
    assert [part.label for part in shown.parts] == [parts[0].id, "Größe Дверь", *(part.label for part in parts[2:])]
    assert shown.parts[0].stand_in == "? turned"
    assert legible(base) == base
    # And so it is on the sheets: every letter of theirs is in the typeface.
    made = sheets_of(replace(board(), assembly=shown), A4)
    assert not_set("".join(text for sheet in made for text, _ in words_of(sheet.svg()))) == ""


def test_each_section_has_a_line_to_sign_and_each_sheet_the_revision():
    made = sheets_of(board(), A4)
    said = [text for sheet in made for text, _ in words_of(sheet.svg())]
    for section in SECTIONS:
        assert section.name in [text for text, _ in words_of(made[-1].svg())]
    assert "* Knob is a stand-in: A turned piece of wood." in said
    revision = board().revision
    assert sum(f"revision {revision}" in text for text in said) >= len(made)
    assert any("frame 25 · opening" in text for text in said)


def test_lines_of_type_are_as_wide_as_measured():
    # Pillow sets the same typeface by FreeType, without kerning.
    from PIL import ImageFont

    engine = ImageFont.Layout.BASIC
    font = ImageFont.truetype(str(font_files()[0]), 1000, layout_engine=engine)
    for words in ("Light board", "Größe 12*", "Screw 1", "illi.,;"):
        assert measure(words, 1000.0) == pytest.approx(sum(map(font.getlength, words)), rel=1e-3)
    assert measure("扉", 10.0) == 10.0


def test_many_sections_go_on_to_the_next_sheet():
    one = board()
    many = tuple(FilmSection(f"section_{n}", n, n) for n in range(40))
    made = sheets_of(replace(one, tracks=replace(one.tracks, sections=many)), A4)
    notes = [sheet for sheet in made if sheet.title.endswith("notes")]
    assert len(notes) >= 3
    _, top, _, high = A4.room
    for sheet in notes:
        rows = re.findall(r'transform="translate\([\d.]+ ([\d.]+)\)"', "".join(sheet.over))
        assert max(map(float, rows)) <= top + high
    said = [text for sheet in notes for text, _ in words_of(sheet.svg())]
    assert [f"section_{n}" for n in range(40)] == [text for text in said if text.startswith("section_")]


def test_markup_in_names_stays_text():
    evil = '<script>alert(1)</script>&"'
    one = board(name=evil)
    parts = (one.assembly.parts[0], replace(one.assembly.parts[1], label=evil, stand_in=evil), one.assembly.parts[2])
    for sheet in sheets_of(replace(one, assembly=replace(one.assembly, parts=parts)), A4):
        root = ET.fromstring(sheet.svg())
        assert not list(root.iter(f"{SVG}script"))
        assert evil[:8] in "".join(root.itertext())


def test_a_picture_of_the_frame_takes_the_place_of_the_solids():
    sheet = sheets_of(board(blue), A4)[1]  # the panel at rest, alone on its sheet
    picture = sheet.pictures[0]
    pixels = decoded(png_of(sheet, 100))
    scale = 100 / 254
    x, y, width, height = (round(v * scale) for v in (picture.x, picture.y, picture.width, picture.height))
    right = pixels[y + 4 : y + height - 4, x + width // 2 + 4 : x + width - 4]
    # All of it is blue but labels: their paper, ink and lines.
    assert (np.abs(right.astype(int) - [255, 0, 0]).max(axis=2) < 8).mean() > 0.85
    left = pixels[y + height - 12 : y + height - 6, x + 8 : x + width // 2 - 4]
    assert (left > 247).all()
    drawn = sheets_of(board(), A4)[1]
    assert 'fill-rule="evenodd"' in "".join(drawn.under)
    assert 'fill-rule="evenodd"' not in "".join(sheet.under)


@POPPLER
def test_the_pdf_shows_what_the_png_shows_with_its_fonts_inside(tmp_path):
    """Poppler draws the PDF, resvg has drawn the PNG: two programs that know nothing of each other."""
    sheets = sheets_of(board(blue), A4)
    file = tmp_path / "strip.pdf"
    file.write_bytes(pdf_of(sheets, "Tin"))
    subprocess.run(["pdftoppm", "-r", "100", "-png", str(file), str(tmp_path / "page")], check=True)
    pages = sorted(tmp_path.glob("page*.png"))
    assert len(pages) == len(sheets)
    for page, sheet in zip(pages, sheets, strict=True):
        theirs, ours = decoded(page.read_bytes()).astype(float), decoded(png_of(sheet, 100)).astype(float)
        assert np.abs(np.subtract(theirs.shape, ours.shape)).max() <= 1
        height, width = np.minimum(theirs.shape[:2], ours.shape[:2])
        # resvg kerns and the PDF does not, so lines of type end a px or two apart: compared over 1 cm they agree.
        theirs, ours = (cv2.blur(each[:height, :width], (41, 41)) for each in (theirs, ours))
        assert np.abs(theirs - ours).max() < 20
    fonts = subprocess.run(["pdffonts", str(file)], check=True, capture_output=True, text=True).stdout.splitlines()[2:]
    assert fonts
    assert all("SourceSansPro" in line and re.search(r"\byes +yes\b", line) for line in fonts), fonts
    said = subprocess.run(["pdftotext", "-layout", str(file), "-"], check=True, capture_output=True, text=True).stdout
    assert "Knob leaves first" in said


def test_same_sheets_same_bytes():
    first, second = (sheets_of(board(blue), A4) for _ in range(2))
    assert [sheet.svg() for sheet in first] == [sheet.svg() for sheet in second]
    assert pdf_of(first, "Tin") == pdf_of(second, "Tin")
    assert b"D:20000101000000" in pdf_of(first, "Tin")  # not the day of the run
    assert png_of(first[0], 60) == png_of(second[0], 60)


def test_upright_frames_and_letter_paper_are_drawn_too():
    one = board()
    upright = replace(one, tracks=replace(one.tracks, resolution=(360, 640)))
    for sheet in sheets_of(upright, PAPERS["letter"]):
        assert png_of(sheet, 50)[:4] == b"\x89PNG"
    assert Path(font_files()[0]).name.endswith(".ttf")


def test_what_is_too_thin_to_be_drawn_does_not_stop_the_pdf():
    wire = build_solid([Slab(((0.0, 0.0), (4.0, 0.0), (0.0, 0.003)), (), (6.0, 6.001))])
    one = board()
    sheets = sheets_of(replace(one, solids={**one.solids, "knob": wire}), A4)
    assert pdf_of(sheets, "Tin").startswith(b"%PDF")
