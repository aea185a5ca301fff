"""The day of an approval: what the user says, else today's. No other output hangs on a calendar."""

from __future__ import annotations

import argparse
import datetime as dt


def today() -> str:
    """Return today's date here, year, month and day."""
    return dt.datetime.now().astimezone().date().isoformat()


def day(text: str) -> str:
    """Return a day from the command line."""
    try:
        found = dt.date.fromisoformat(text).isoformat()
    except ValueError:
        found = ""
    if found != text:
        raise argparse.ArgumentTypeError(f"{text!r} is no day; write e.g. 2026-11-28")
    return text
