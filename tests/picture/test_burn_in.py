"""What is burnt in: the right words at the right frame, readable over anything, in nobody's way at rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_film import film

from choreo.geometry.cameras.silhouette import hull_points
from choreo.model.tracks import FilmSection
from choreo.picture.burn_in import BurnIn
from choreo.picture.render.lettered import Line, draw_line, line_size


def luminance(codes):
    light = np.asarray(codes) / 255
    return np.where(light <= 0.04045, light / 12.92, ((light + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722]


@pytest.mark.parametrize("below", [(0, 0, 0), (255, 255, 255), (200, 30, 30), (30, 30, 200)])
def test_a_line_can_be_read_over_anything(below):
    # WCAG 2.2, contrast ratio (L1 + 0.05) / (L2 + 0.05); 7 is its enhanced minimum for text (1.4.6).
    picture = np.full((60, 300, 3), below, np.uint8)
    draw_line(picture, Line("00:00:02:11 Lens", 10, 10, 24))
    wide, high = line_size("00:00:02:11 Lens", 24)
    inside = luminance(picture[10 : 10 + high, 10 : 10 + wide])
    assert (inside.max() + 0.05) / (inside.min() + 0.05) >= 7
    outside = picture.copy()
    outside[10 : 10 + high, 10 : 10 + wide] = below
    assert (outside == below).all(), "nothing is drawn beside the plate"


def test_a_running_number_does_not_jitter():
    assert len({line_size(f"{n}{n}:{n}{n}:{n}{n}:{n}{n}", 30) for n in range(10)}) == 1


def test_strength_goes_from_nothing_to_all():
    blank = np.full((60, 200, 3), 90, np.uint8)
    for strength in (0.0, 0.5, 1.0):
        picture = blank.copy()
        draw_line(picture, Line("Lens", 10, 10, 24, strength))
        reached = np.abs(picture.astype(int) - blank).max()
        assert reached == pytest.approx(strength * (90 + (250 - 90) * 0.78 - 90), abs=2)


def test_lines_beyond_the_edge_and_strange_text_do_no_harm():
    picture = np.zeros((20, 20, 3), np.uint8)
    for x, y in ((-500, 0), (500, 0), (0, -500), (0, 500), (-5, -5), (15, 15)):
        draw_line(picture, Line("Lens", x, y, 24))
    for text in ("", "\u202eabc", "a\x00\nb", "\u0301", "日本語 שלום", "e" * 400):
        draw_line(picture, Line(text, 0, 0, 11))
    assert picture.any()


def burn_in(pixels=(640, 360)):
    assembly, solids, tracks, _ = film()
    tracks = replace(tracks, sections=(FilmSection("opening", 0, 25), FilmSection("end", 26, 49)))
    points = {part: hull_points(solid) for part, solid in solids.items()}
    return BurnIn(tracks, {part.id: part.label for part in assembly.parts}, points, pixels), tracks


def test_words_below_name_the_frame():
    made, tracks = burn_in()
    burst, back = tracks.shots
    # SMPTE ST 12-1 at 24 numbers a second: frame 30 of the film is 00:00:01:06.
    assert [line.text for line in made.lines_of(back)(4)][:2] == ["00:00:01:06 · frame 30", "return · end"]
    assert [line.text for line in made.lines_of(burst)(0)][:2] == ["00:00:00:00 · frame 0", "burst · opening"]
    for line in made.lines_of(burst)(0)[:2]:
        wide, high = line_size(line.text, line.size)
        assert line.x >= 0.05 * 640 - 1e-9
        assert line.x + wide <= 0.95 * 640 + 1e-9
        assert line.y + high <= 0.95 * 360 + 1e-9


@pytest.mark.parametrize("pixels", [(640, 360), (1280, 720), (320, 180)])
def test_names_stand_beside_their_parts_at_rest_and_are_gone_when_assembled(pixels):
    made, tracks = burn_in(pixels)
    lines = made.lines_of(tracks.shots[0])
    assert len(lines(0)) == 2, "nothing is away, so nothing has a name"
    names = lines(25)[2:]
    assert {line.text for line in names} >= {"Lid", "Knob"}
    assert all(line.strength == 1 for line in names)
    strengths = [next((line.strength for line in lines(f) if line.text == "Knob"), 0.0) for f in range(26)]
    assert strengths == sorted(strengths)
    assert 0 < strengths[12] < 1
    # By hand: 10 px a mm about the middle of 640 x 360, and the routes' ends.
    share = pixels[0] / 640
    parts = {"Tin": (260, 140, 380, 220), "Lid": (430, 150, 530, 210), "Knob": (300, 60, 340, 100)}
    places = {}
    for line in names:
        wide, high = line_size(line.text, line.size)
        places[line.text] = (line.x, line.y, line.x + wide, line.y + high)
    everything = [*places.values(), *(tuple(share * v for v in box) for box in parts.values())]
    for index, one in enumerate(everything):
        for two in everything[index + 1 :]:
            assert one[0] >= two[2] or two[0] >= one[2] or one[1] >= two[3] or two[1] >= one[3]
