"""tracks.json against its schema, against the motion it must agree with, and there and back."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from small_tracks import FRAMES, TRIANGLE, small_tracks

from choreo.errors import ChoreoError
from choreo.model.tracks import Key
from choreo.motion.law import evaluate_keys
from choreo.motion.path import position
from choreo.read.tracks_json import read_tracks
from choreo.write.tracks_json import tracks_text

SCHEMA = json.loads((Path(__file__).parents[2] / "schemas" / "tracks.schema.json").read_text())


@pytest.fixture(scope="module")
def content():
    return json.loads(tracks_text(small_tracks()))


def test_output_follows_its_schema(content):
    # JSON Schema 2020-12, judged by the jsonschema library.
    jsonschema.Draft202012Validator(SCHEMA).validate(content)


def test_shape_is_that_of_the_format(content):
    # Keys and their order as the description of the format gives them.
    assert list(content) == ["format", "version", "source", "frame_rate", "resolution", "shots", "sections"]
    assert (content["format"], content["version"]) == ("choreo/tracks", 1)
    assert list(content["source"]) == ["assembly", "choreography"]
    shot = content["shots"][0]
    assert list(shot) == ["name", "start_frame", "frames", "camera", "parts", "hero", "masking"]
    part = shot["parts"][1]
    assert list(part) == ["id", "route", "keys", "samples"]
    assert list(part["samples"]) == ["position", "screen", "scale", "opacity", "plate_frame"]
    assert part["keys"] == {
        "progress": [
            {"frame": 1, "value": 0, "easing": "cubic-bezier(0.3, 0, 0.1, 1)"},
            {"frame": 7, "value": 1},
        ]
    }
    assert list(shot["masking"]) == ["orders", "holdouts"]
    assert shot["masking"]["orders"][0] == {"from": 0, "to": 3, "back_to_front": ["box", "lid", "knob"]}
    assert list(shot["masking"]["holdouts"][0]) == ["part", "from", "to", "region", "behind"]


def test_a_camera_is_twelve_numbers_row_by_row(content):
    matrices = content["shots"][0]["camera"]["matrix"]
    assert len(matrices) == FRAMES
    assert matrices[0] == [10, 0, 0, 960, 0, -10, 0, 540, 0, 0, 0, 1]


def test_samples_are_route_of_progress_to_1e_9(content):
    # The format promises it; both sides are read from the written text alone.
    for part in (part for shot in content["shots"] for part in shot["parts"]):
        keys = [Key(key["frame"], key["value"], key.get("easing")) for key in part["keys"]["progress"]]
        expected = position(part["route"], evaluate_keys(keys, np.arange(FRAMES)))
        np.testing.assert_allclose(part["samples"]["position"], expected, rtol=0, atol=1e-9)


def test_one_half_way_sample_by_hand(content):
    # min-jerk is symmetric: half of its time is half of its way, 12.5 mm / 2, on frame (1 + 7) / 2.
    assert content["shots"][0]["parts"][2]["samples"]["position"][4] == [-6.25, 0, 0]


def test_masks_are_given_to_a_ten_thousandth_of_a_pixel(content):
    region = content["shots"][0]["masking"]["holdouts"][0]["region"][0]
    assert region["outline"] == [[10.1235, 20], [30, 20], [30, 45.5]]
    assert region["outline"][0][0] != TRIANGLE[0][0]


def test_what_rounding_leaves_nothing_of_is_left_out(content):
    holdouts = content["shots"][0]["masking"]["holdouts"]
    assert [holdout["part"] for holdout in holdouts] == ["lid"]
    assert len(holdouts[0]["region"][0]["holes"]) == 1


def test_whole_numbers_have_no_point_and_zero_no_minus():
    text = tracks_text(small_tracks())
    assert "-0," not in text
    assert "-0]" not in text
    assert ".0," not in text
    assert ".0]" not in text
    assert '"route": [[0, 0, 0], [-12.5, 0, 0]]' in text


def test_reading_what_was_written_gives_the_same():
    tracks = small_tracks()
    again = read_tracks(tracks_text(tracks))
    assert tracks_text(again) == tracks_text(tracks)
    for one, other in zip(tracks.shots, again.shots, strict=True):
        np.testing.assert_array_equal(one.cameras, other.cameras)
        np.testing.assert_array_equal(one.hero_opacity, other.hero_opacity)
        assert one.masking.orders == other.masking.orders
        for a, b in zip(one.parts, other.parts, strict=True):
            assert (a.id, a.keys, a.plate_frame) == (b.id, b.keys, b.plate_frame)
            np.testing.assert_array_equal(a.route, b.route)
            np.testing.assert_array_equal(a.scale, b.scale)
            np.testing.assert_allclose(a.position, b.position, rtol=0, atol=1e-10)
            np.testing.assert_allclose(a.screen, b.screen, rtol=0, atol=1e-9)


def test_parts_that_the_still_takes_over_have_a_row_each():
    tracks = small_tracks()
    own = {"knob": np.linspace(0.5, 1, FRAMES), "lid": np.ones(FRAMES)}
    text = tracks_text(replace(tracks, shots=(replace(tracks.shots[0], hero_parts=own), tracks.shots[1])))
    hero = [shot["hero"] for shot in json.loads(text)["shots"]]
    assert [row["part"] for row in hero[0]["parts"]] == ["lid", "knob"]  # in the order of the parts
    assert hero[0]["parts"][0]["opacity"] == [1] * FRAMES
    assert list(hero[1]) == ["opacity"]
    jsonschema.Draft202012Validator(SCHEMA).validate(json.loads(text))
    again = read_tracks(text)
    assert tracks_text(again) == text
    assert again.shots[0].hero_parts["knob"].tolist() == own["knob"].tolist()
    # Without them the text is what it was, to the byte.
    assert tracks_text(replace(again, shots=(replace(again.shots[0], hero_parts={}), again.shots[1]))) == tracks_text(
        tracks
    )


def test_ids_in_other_scripts_and_quotes_survive():
    tracks = small_tracks()
    shot = replace(tracks.shots[0], name='"quoted" \\ Größe')
    assert read_tracks(tracks_text(replace(tracks, shots=(shot,)))).shots[0].name == '"quoted" \\ Größe'


def test_a_number_that_is_none_is_a_defect_and_never_written():
    tracks = small_tracks()
    shot = replace(tracks.shots[0], hero_opacity=np.full(FRAMES, math.nan))
    with pytest.raises(ValueError, match="not JSON compliant"):
        tracks_text(replace(tracks, shots=(shot,)))


@pytest.mark.parametrize(
    "change",
    [
        lambda c: c.pop("shots"),
        lambda c: c.update(version=2),
        lambda c: c.update(shots=5),
        lambda c: c.update(frame_rate=[24, 0]),
        lambda c: c.update(resolution=[1e300, 1080]),
        lambda c: c["shots"][0].update(frames=8),
        lambda c: c["shots"][0]["parts"][0]["samples"].update(position=[[0, 0]] * FRAMES),
        lambda c: c["shots"][0]["parts"][0]["samples"].update(plate_frame=[]),
        lambda c: c["shots"][0]["masking"]["holdouts"][0]["region"][0].update(outline=[[1]]),
        lambda c: c["shots"][0]["camera"].update(matrix=[["a"] * 12] * FRAMES),
        lambda c: c["shots"][0]["camera"].update(matrix=[[None] * 12] * FRAMES),
        lambda c: c["shots"][0]["parts"][1]["keys"].update(progress=[]),
        lambda c: c["shots"][0]["parts"][1]["keys"]["progress"].reverse(),
        lambda c: c["shots"][0]["parts"][1]["keys"]["progress"][0].update(easing="bouncy"),
    ],
)
def test_a_broken_file_is_wrong_input(content, change):
    broken = json.loads(json.dumps(content))
    change(broken)
    with pytest.raises(ChoreoError) as error:
        read_tracks(json.dumps(broken), "approved.tracks.json")
    assert error.value.exit_code == 2
    assert error.value.findings[0].file == "approved.tracks.json"


@pytest.mark.parametrize("text", ["", "{", "[]", "null", "[" * 100_000, '{"format": NaN}', "\ud800"])
def test_what_is_no_such_file_is_wrong_input(text):
    with pytest.raises(ChoreoError):
        read_tracks(text)
