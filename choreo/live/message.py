"""What the page of a watched project is told, as JSON on one line."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from choreo.errors import Finding

MOVING, DRAWN, WHOLE, FAILED = "moving", "drawn", "whole", "failed"
"""Paths and timing are new, orders and masks are to come; the picture is new; so is all that stands below it; the
project cannot be compiled as it is, and what was there last stays."""


@dataclass(frozen=True)
class Message:
    """What has changed; what is left out has not."""

    round: int
    """Saves so far."""
    state: str
    said: str
    """For people, one line."""
    head: dict[str, Any] | None = None
    """The film without its shots."""
    length: dict[str, Any] | None = None
    """What of the head hangs on the lengths of shots, where nothing else of it has changed."""
    order: tuple[str, ...] = ()
    """Names of all shots, in the order of the film."""
    shots: Mapping[str, dict[str, Any]] = field(default_factory=dict)
    pieces: Mapping[str, str] = field(default_factory=dict)
    """Markup of the page's sections, by their id."""
    findings: Sequence[Finding] = ()
    warnings: Sequence[Finding] = ()
    """Of the report, for the terminal; the page has them under its numbers, in `pieces`."""

    def text(self) -> bytes:
        """Return it as JSON; no line break stands in it."""
        data: dict[str, Any] = {"round": self.round, "state": self.state, "said": self.said}
        data["findings"] = [finding.as_json() for finding in self.findings]
        if self.head is not None:
            data["head"] = self.head
        if self.length is not None:
            data["length"] = self.length
        if self.order:
            data["order"] = list(self.order)
            data["shots"] = dict(self.shots)
        if self.pieces:
            data["pieces"] = dict(self.pieces)
        return json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":")).encode()


def joined(before: Message | None, after: Message) -> Message:
    """Return what a page that comes now has to be told: all of the earlier messages, the later over the earlier."""
    if before is None:
        return after
    shots = {**before.shots, **after.shots}
    order = after.order or before.order
    return replace(
        after,
        head=before.head if after.head is None else after.head,
        length=before.length if after.head is None and after.length is None else after.length,
        order=order,
        shots={name: shots[name] for name in order},
        pieces={**before.pieces, **after.pieces},
    )
