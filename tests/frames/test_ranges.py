"""Which frames are meant; timecode by SMPTE ST 12-1 at 24 numbers a second, worked by hand."""

from types import SimpleNamespace

import pytest

from choreo.errors import ChoreoError
from choreo.frames.ranges import chosen_range, place_of
from choreo.model.tracks import FilmSection

SHOTS = (
    SimpleNamespace(name="burst", start_frame=0, frames=132),
    SimpleNamespace(name="return", start_frame=132, frames=60),
)
TRACKS = SimpleNamespace(
    shots=SHOTS,
    sections=(FilmSection("opening", 0, 119), FilmSection("rest", 120, 191)),
    frame_rate=(24000, 1001),
)


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, (0, 191, "film")),
        ({"shot": "return"}, (132, 191, "return")),
        ({"section": "opening"}, (0, 119, "opening")),
        ({"frames": "12-47"}, (12, 47, "frames-12-47")),
        ({"frames": "12"}, (12, 12, "frame-12")),
        ({"frames": "00:00:01:00-00:00:02:11"}, (24, 59, "frames-24-59")),
        ({"frames": "0-191"}, (0, 191, "film")),
        ({"section": "rest", "frames": "130-140"}, (130, 140, "frames-130-140")),
    ],
)
def test_ranges(asked, found):
    chosen = chosen_range(TRACKS, **asked)
    assert (chosen.first, chosen.last, chosen.name) == found
    assert len(chosen) == len(chosen.frames) == found[1] - found[0] + 1


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ({"shot": "none"}, "unknown-shot"),
        ({"section": "burst"}, "unknown-section"),
        ({"shot": "burst", "section": "rest"}, "two-ranges"),
        ({"frames": "47-12"}, "upside-down"),
        ({"frames": "0-192"}, "frames-outside"),
        ({"shot": "return", "frames": "100-140"}, "frames-outside"),
        ({"frames": "a-b"}, "no-range"),
        ({"frames": "1-2-3"}, "no-range"),
        ({"frames": "-3"}, "no-range"),
        ({"frames": "\u0663"}, "no-range"),
        ({"frames": "00:00:00:24"}, "no-timecode"),
        ({"frames": "00:00:01:00-7"}, "no-timecode"),
    ],
)
def test_what_is_no_range_is_refused(asked, code):
    with pytest.raises(ChoreoError) as error:
        chosen_range(TRACKS, **asked)
    assert error.value.exit_code == 2
    assert [finding.code for finding in error.value.findings] == [code]


def test_the_option_that_was_typed_is_named():
    with pytest.raises(ChoreoError) as error:
        chosen_range(TRACKS, frames="9999", option="--frame")
    assert error.value.findings[0].what.startswith("--frame asks for 9999, but the film has the frames 0 to ")


def test_a_frame_of_the_film_has_a_place_in_a_shot():
    assert place_of(TRACKS, 131) == ("burst", 131)
    assert place_of(TRACKS, 132) == ("return", 0)
