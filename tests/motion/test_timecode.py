"""Timecode against OpenTimelineIO, its published rows, and the arithmetic of SMPTE ST 12-1.

The rule of ST 12-1:2014 was read at dropframetimecode.org: two numbers (four at 60000/1001) are skipped at the start
of every minute but the tenth ones. OpenTimelineIO counts frames from 0, as choreo does.
"""

from fractions import Fraction

import opentimelineio as otio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.model.choreography import FrameRate
from choreo.motion.timecode import drops, nominal, parse_rate, parse_timecode, seconds, timecode

R2398, R24, R25 = FrameRate(24000, 1001), FrameRate(24), FrameRate(25)
R2997, R30, R5994 = FrameRate(30000, 1001), FrameRate(30), FrameRate(60000, 1001)


# OpenTimelineIO tests/test_opentime.py, test_timecode_2997.
@pytest.mark.parametrize(
    ("frame", "counted", "dropped"),
    [
        (10789, "00:05:59:19", "00:05:59;29"),
        (10790, "00:05:59:20", "00:06:00;02"),
        (17981, "00:09:59:11", "00:09:59;29"),
        (17982, "00:09:59:12", "00:10:00;00"),
        (17983, "00:09:59:13", "00:10:00;01"),
        (17984, "00:09:59:14", "00:10:00;02"),
    ],
)
def test_published_rows(frame, counted, dropped):
    assert counted == timecode(frame, R2997, drop=False)
    assert dropped == timecode(frame, R2997)
    assert frame == parse_timecode(counted, R2997) == parse_timecode(dropped, R2997)


# dropframetimecode.org: after 01:04:59:29 comes 01:05:00:02, but after 01:09:59:29 comes 01:10:00:00.
@pytest.mark.parametrize(("label", "following"), [("01:04:59;29", "01:05:00;02"), ("01:09:59;29", "01:10:00;00")])
def test_published_successors(label, following):
    assert following == timecode(parse_timecode(label, R2997) + 1, R2997)


# Hand arithmetic: a minute of 1800 - 2, ten of them 17982; an hour 107892; a day 24 times that.
@pytest.mark.parametrize(
    ("rate", "frame", "label"),
    [
        (R2997, 1799, "00:00:59;29"),
        (R2997, 1800, "00:01:00;02"),
        (R2997, 107892, "01:00:00;00"),
        (R2997, 2589407, "23:59:59;29"),
        (R2997, 2589408, "00:00:00;00"),
        (R2997, -1, "23:59:59;29"),
        (R2997, 1084319, "10:03:00;05"),
        (R5994, 3600, "00:01:00;04"),
        (R5994, 35964, "00:10:00;00"),
        (R5994, 5178815, "23:59:59;59"),
        (R2398, 86399, "00:59:59:23"),
        (R2398, 86400, "01:00:00:00"),
        (R25, 1499, "00:00:59:24"),
        (R24, 24 * 86400, "00:00:00:00"),
        (FrameRate(120), 119, "00:00:00:119"),
        (FrameRate(120), 120, "00:00:01:000"),
        (FrameRate(100), 99, "00:00:00:99"),
    ],
)
def test_labels_by_hand(rate, frame, label):
    assert label == timecode(frame, rate)


COUNTS = [
    (R2398, False, 24 * 86400),
    (R24, False, 24 * 86400),
    (R25, False, 25 * 86400),
    (R2997, False, 30 * 86400),
    (R2997, True, 2589408),
    (R5994, True, 5178816),
]


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(COUNTS), st.floats(0, 1, exclude_max=True))
def test_labels_equal_opentimelineio(count, share):
    """Not quite to 24 hours of the clock: there OpenTimelineIO wraps, while ST 12-1 counts on to 23:59:59."""
    rate, drop, _ = count
    exact = rate.numerator / rate.denominator
    frame = int(share * 86000 * exact)
    expected = otio.opentime.to_timecode(otio.opentime.RationalTime(frame, exact), exact, drop)
    assert expected == timecode(frame, rate, drop=drop)


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(COUNTS), st.floats(0, 1, exclude_max=True))
def test_round_trip_over_a_day(count, share):
    rate, drop, day = count
    frame = int(share * day)
    assert frame == parse_timecode(timecode(frame, rate, drop=drop), rate)
    assert timecode(frame, rate, drop=drop) == timecode(frame + day, rate, drop=drop)


def test_every_minute_of_the_day_starts_with_the_right_number():
    """Brute force over all joints of minutes at 30000/1001: the label before, and the first label."""
    for minute in range(1, 24 * 60):
        number = 0 if minute % 10 == 0 else 2
        first = 1800 * minute + number - 2 * (minute - minute // 10)
        hours, minutes = divmod(minute, 60)
        assert f"{hours:02d}:{minutes:02d}:00;{number:02d}" == timecode(first, R2997)
        assert timecode(first - 1, R2997).endswith(":59;29")


def test_drop_frame_is_the_default_only_where_it_exists():
    assert [rate for rate in (R2398, R24, R25, R2997, R30, R5994, FrameRate(60)) if drops(rate)] == [R2997, R5994]
    with pytest.raises(ValueError, match="only at 30000/1001"):
        timecode(0, R25, drop=True)


# The first four from OpenTimelineIO's tests and the drop rule, the others from the form of a label.
@pytest.mark.parametrize(
    ("label", "rate", "said"),
    [
        ("00:01:00;00", R2997, "starts with 00:01:00;02"),
        ("00:01:00;01", R2997, "dropped"),
        ("01:00:13;23", R24, "only at 30000/1001"),
        ("01:00:13:24", R24, "0 to 23"),
        ("00:11:00;03", R5994, "starts with 00:11:00;04"),
        ("24:00:00:00", R24, "end of the day"),
        ("00:60:00:00", R24, "end of the day"),
        ("00:00:60:00", R24, "end of the day"),
        ("0:00:00:00", R24, "HH:MM:SS:FF"),
        ("00:00:00:000", R24, "HH:MM:SS:FF"),
        ("00:00:00:00", FrameRate(120), "HH:MM:SS:FFF"),
        ("00:00:00:00\n", R24, "HH:MM:SS:FF"),
        ("\N{ARABIC-INDIC DIGIT ZERO}0:00:00:00", R24, "HH:MM:SS:FF"),
        ("-1:00:00:00", R24, "HH:MM:SS:FF"),
        ("x" * 10_000, R24, "HH:MM:SS:FF"),
        (17, R24, "HH:MM:SS:FF"),
    ],
)
def test_labels_that_do_not_exist(label, rate, said):
    with pytest.raises(ValueError) as caught:
        parse_timecode(label, rate)
    assert said in str(caught.value)
    assert len(str(caught.value)) < 200


def test_numbers_that_look_dropped_but_are_not():
    assert parse_timecode("00:10:00;00", R2997) == 17982  # a tenth minute drops nothing
    assert parse_timecode("00:01:01;00", R2997) == 1828  # only the first second does: 1800 + 30 - 2
    assert parse_timecode("00:01:00:00", R2997) == 1800  # not drop-frame


def test_clock_time_is_exact():
    """An hour of drop-frame labels lasts 107892 x 1001/30000 = 3599.9964 s (hand arithmetic)."""
    assert seconds(107892, R2997) == Fraction("3599.9964")
    assert seconds(86400, R2398) == Fraction("3603.6")
    assert seconds(25, R25) == 1


@pytest.mark.parametrize(
    ("text", "rate", "whole"),
    [
        ("24", R24, 24),
        ("24000/1001", R2398, 24),
        ("48000/2002", R2398, 24),
        ("60/1", FrameRate(60), 60),
        ("25/2", FrameRate(25, 2), 13),
        ("960", FrameRate(960), 960),
        ("60000/1001", R5994, 60),
    ],
)
def test_rates(text, rate, whole):
    assert rate == parse_rate(text)
    assert whole == nominal(rate)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("59.94", '"60000/1001"'),
        ("29.97", '"30000/1001"'),
        ("23.976", '"24000/1001"'),
        ("23.98", '"24000/1001"'),
        ("23,976", '"24000/1001"'),
        ("47.952", '"48000/1001"'),
        ("119.88", '"120000/1001"'),
        ("12.5", '"25/2"'),
        ("24.0", '"24"'),
        ("1.0", '"1"'),
        ("0.0", "above 0"),
        ("0", "above 0"),
        ("1/0", "above 0"),
        ("0/5", "above 0"),
        ("-24", '"24000/1001"'),
        ("961", "960"),
        ("999999999/1", "960"),
        ("1" * 5000, "whole number"),
        ("24 fps", "whole number"),
        ("24\n", "whole number"),
        ("", "whole number"),
        ("nan", "whole number"),
        (23.976, "whole number"),
        (None, "whole number"),
    ],
)
def test_rates_that_are_none(text, said):
    with pytest.raises(ValueError) as caught:
        parse_rate(text)
    assert said in str(caught.value)
    assert len(str(caught.value)) < 200
    assert str(caught.value).isprintable()
