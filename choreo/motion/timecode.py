"""Timecode after SMPTE ST 12-1, and frame rates as exact ratios.

Timecode counts frames with the whole number of frames next above the rate. At 30000/1001 and 60000/1001 it
therefore runs slow against the clock, and drop-frame counting skips the first two (four) numbers of every
minute that is not a multiple of ten: numbers, never pictures.
"""

from __future__ import annotations

import re
from fractions import Fraction

from choreo.model.choreography import FrameRate

DROPPED = {Fraction(30000, 1001): 2, Fraction(60000, 1001): 4}
"""Numbers skipped a minute, for the rates that have drop-frame counting."""
HIGHEST_NOMINAL = 960
DAY_MINUTES = 24 * 60

RATE = re.compile(r"([0-9]{1,9})(?:/([0-9]{1,9}))?", re.ASCII)
DECIMAL_RATE = re.compile(r"[0-9]{1,9}[.,][0-9]{1,9}", re.ASCII)
LABEL = re.compile(r"([0-9]{2}):([0-9]{2}):([0-9]{2})([:;])([0-9]{2,3})", re.ASCII)


def _ratio(rate: FrameRate) -> Fraction:
    return Fraction(rate.numerator, rate.denominator)


def nominal(rate: FrameRate) -> int:
    """Return the whole number of frames that timecode counts to a second: 24 for 24000/1001."""
    return -(-rate.numerator // rate.denominator)


def drops(rate: FrameRate) -> bool:
    """Return whether drop-frame counting exists, and is the default, at this rate."""
    return _ratio(rate) in DROPPED


def _skipped(rate: FrameRate, drop: bool) -> int:
    """Return the numbers skipped a minute."""
    if not drop:
        return 0
    if not drops(rate):
        name = f"{rate.numerator}/{rate.denominator}"
        raise ValueError(f"Drop-frame timecode exists only at 30000/1001 and 60000/1001, not at {name}.")
    return DROPPED[_ratio(rate)]


def _width(rate: FrameRate) -> int:
    return max(2, len(str(nominal(rate) - 1)))


def timecode(frame: int, rate: FrameRate, drop: bool | None = None) -> str:
    """Return the timecode of a frame counted from 0.

    Parameters
    ----------
    frame : int
        Frames since 00:00:00:00; beyond 24 hours, and below 0, the count wraps.
    rate : FrameRate
        Frames a second.
    drop : bool, optional
        Whether numbers are dropped; None: at 30000/1001 and 60000/1001 only.

    Returns
    -------
    str
        ``HH:MM:SS:FF``, or ``HH:MM:SS;FF`` where numbers are dropped.

    Raises
    ------
    ValueError
        If `drop` is asked for at a rate that has no drop-frame counting.

    """
    dropping = drops(rate) if drop is None else drop
    skipped, fps = _skipped(rate, dropping), nominal(rate)
    long_minute = 60 * fps  # the first minute of ten drops nothing
    short_minute = long_minute - skipped
    ten = long_minute + 9 * short_minute
    tens, rest = divmod(frame % (DAY_MINUTES // 10 * ten), ten)
    short, beyond = divmod(max(rest - long_minute, 0), short_minute)
    if rest < long_minute:
        minute, number = 0, rest
    else:
        minute, number = 1 + short, beyond + skipped
    hours, minutes = divmod(10 * tens + minute, 60)
    seconds_, frames = divmod(number, fps)
    mark = ";" if dropping else ":"
    return f"{hours:02d}:{minutes:02d}:{seconds_:02d}{mark}{frames:0{_width(rate)}d}"


def parse_timecode(text: str, rate: FrameRate) -> int:
    """Return the frame, counted from 0, that a timecode names.

    Parameters
    ----------
    text : str
        ``HH:MM:SS:FF``, or ``HH:MM:SS;FF`` for drop-frame counting.
    rate : FrameRate
        Frames a second.

    Returns
    -------
    int
        Frames since 00:00:00:00.

    Raises
    ------
    ValueError
        If the text is no timecode, if it has a frame number the rate does not reach, or if the number is one
        of those that drop-frame counting skips. The message is meant for the user.

    """
    match = LABEL.fullmatch(text) if isinstance(text, str) else None
    if match is None or len(match[5]) != _width(rate):
        places = "F" * _width(rate)
        raise ValueError(
            f"{_quoted(text)} is not a timecode: write HH:MM:SS:{places}, or HH:MM:SS;{places} for drop-frame."
        )
    hours, minutes, seconds_, frames = (int(match[group]) for group in (1, 2, 3, 5))
    fps = nominal(rate)
    if hours > 23 or minutes > 59 or seconds_ > 59:
        raise ValueError(f"{_quoted(text)} is past the end of the day: it ends after 23:59:59.")
    if frames >= fps:
        raise ValueError(f"{_quoted(text)} has frame {frames}, but frames run from 0 to {fps - 1} at this rate.")
    skipped = _skipped(rate, match[4] == ";")
    if frames < skipped and seconds_ == 0 and minutes % 10:
        following = f"{text[:9]}{skipped:0{_width(rate)}d}"
        raise ValueError(f"{_quoted(text)} is a dropped number: that minute starts with {following}.")
    total = 60 * hours + minutes
    return (60 * total + seconds_) * fps + frames - skipped * (total - total // 10)


def seconds(frame: int, rate: FrameRate) -> Fraction:
    """Return the exact clock time of a frame, in seconds since frame 0."""
    return Fraction(frame * rate.denominator, rate.numerator)


def parse_rate(text: str) -> FrameRate:
    """Return the frame rate that `text` writes as a whole number or a ratio.

    Parameters
    ----------
    text : str
        ``"24"`` or ``"24000/1001"``.

    Returns
    -------
    FrameRate
        In lowest terms.

    Raises
    ------
    ValueError
        If it is neither, not positive, or above 960 frames a second. For a decimal such as 59.94 the message
        names the ratio to write.

    """
    match = RATE.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise ValueError(f"{_quoted(text)} is not a frame rate: {_advice(text)}")
    numerator, denominator = int(match[1]), int(match[2] or 1)
    if numerator == 0 or denominator == 0:
        raise ValueError(f"{_quoted(text)} is not a frame rate: both numbers must be above 0.")
    ratio = Fraction(numerator, denominator)
    if ratio > HIGHEST_NOMINAL:
        raise ValueError(f"{_quoted(text)} is too fast: up to {HIGHEST_NOMINAL} frames a second are supported.")
    return FrameRate(ratio.numerator, ratio.denominator)


def _advice(text: object) -> str:
    """Say how the rate is written, with the exact ratio behind a rounded decimal."""
    if not isinstance(text, str) or DECIMAL_RATE.fullmatch(text) is None:
        return 'write a whole number or a ratio, as in "24" or "24000/1001".'
    value = Fraction(text.replace(",", "."))
    whole = round(value * 1001 / 1000)
    # The usual decimals are cut to two or three digits: 23.976, 23.98, 29.97, 59.94.
    if whole and abs(value - Fraction(1000 * whole, 1001)) <= Fraction(1, 200) and value.denominator != 1:
        return f'it is rounded. Write the exact ratio "{1000 * whole}/1001".'
    if value > 0:
        exact = f"{value.numerator}/{value.denominator}" if value.denominator > 1 else f"{value.numerator}"
        return f'write it as a ratio: "{exact}".'
    return "it must be above 0."


def _quoted(text: object) -> str:
    """Return what was found in quotation marks, shortened, with anything that does not print replaced."""
    plain = str(text) if isinstance(text, str | int | float) else type(text).__name__
    short = plain if len(plain) <= 40 else plain[:37] + "..."
    return '"' + "".join(c if c.isprintable() else "?" for c in short) + '"'
