"""The commands, one a file: arguments, one call, words out. `choreo.cli` runs them."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

Arguments = argparse.Namespace


@dataclass(frozen=True)
class Said:
    """What a command has to say: lines for people, data for machines."""

    words: list[str] = field(default_factory=list)
    data: dict[str, Any] = field(default_factory=dict)
    exit_code: int = 0
    """1 where the answer is no, and is all that was asked for."""


@dataclass(frozen=True)
class Command:
    """One command of the command line."""

    name: str
    help: str
    add: Callable[[argparse.ArgumentParser], None]
    """Adds its arguments."""
    run: Callable[[Arguments], Said]
