"""Answers of passes, kept by the content of what they were asked: what an edit does not touch is not computed again.

Passes are pure, so an answer holds as long as everything that went into it is the same to the last bit. A key is made
of plain data and frozen dataclasses; whatever else stands in it is refused, so that nothing is forgotten silently.
"""

from __future__ import annotations

import hashlib
import itertools
import struct
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from enum import Enum
from typing import Any, TypeVar

import numpy as np

from choreo.errors import ChoreoError

Answer = TypeVar("Answer")


class Recall:
    """Gives the answer to a question. This one asks every time: one compile meets no question twice."""

    def __call__(self, _name: str, _key: tuple[Any, ...], make: Callable[[], Answer]) -> Answer:
        """Return the answer of a pass; `key` is all that it hangs on."""
        return make()


anew = Recall()


@dataclass(eq=False)
class Memory(Recall):
    """Keeps the last answers of each pass, refusals included."""

    most: int = 8
    """Answers kept of one pass: a few shots, now and before the last edit."""
    asked: dict[str, int] = field(default_factory=dict)
    """How often each pass really ran."""
    _kept: dict[str, OrderedDict[bytes, Any]] = field(default_factory=dict)

    def __call__(self, name: str, key: tuple[Any, ...], make: Callable[[], Answer]) -> Answer:
        """Return the answer to a question; `key` is all that the answer hangs on.

        Raises
        ------
        ChoreoError
            As `make` raises it; a refusal is kept like any answer.

        """
        kept = self._kept.setdefault(name, OrderedDict())
        digest = content(*key)
        if digest not in kept:
            self.asked[name] = self.asked.get(name, 0) + 1
            try:
                kept[digest] = make()
            except ChoreoError as error:
                kept[digest] = _Refusal(error)
            if len(kept) > self.most:
                kept.popitem(last=False)
        kept.move_to_end(digest)
        answer = kept[digest]
        if isinstance(answer, _Refusal):
            raise answer.error
        found: Answer = answer
        return found


@dataclass(frozen=True)
class _Refusal:
    error: ChoreoError


def content(*values: Any) -> bytes:
    """Return a digest of values: equal for equal content, whichever objects hold it.

    Parameters
    ----------
    *values
        None, booleans, numbers, text, bytes, arrays, enums, tuples, lists, mappings (their order counts) and
        dataclasses of these.

    Raises
    ------
    TypeError
        If anything else is among them.

    """
    digest = hashlib.blake2b(digest_size=24)
    _feed(digest, values)
    return digest.digest()


def _feed(digest: hashlib.blake2b, value: Any) -> None:
    """Each kind of value under a letter of its own, with its length, so that no two contents feed the same bytes."""
    if value is None or isinstance(value, bool):
        digest.update(b"n" if value is None else b"t" if value else b"f")
    elif isinstance(value, Enum):
        _feed(digest, (type(value).__name__, value.name))
    elif isinstance(value, (int, np.integer)):
        _words(digest, b"i", str(int(value)).encode())
    elif isinstance(value, (float, np.floating)):
        digest.update(b"d" + struct.pack("<d", value))
    elif isinstance(value, (str, bytes)):
        _words(digest, b"s" if isinstance(value, str) else b"b", value.encode() if isinstance(value, str) else value)
    elif isinstance(value, np.ndarray) and value.dtype != np.object_:
        _words(digest, b"a", repr((value.dtype.str, value.shape)).encode())
        digest.update(np.ascontiguousarray(value).tobytes())
    else:
        _feed_many(digest, value)


def _feed_many(digest: hashlib.blake2b, value: Any) -> None:
    if isinstance(value, tuple) and _feed_numbers(digest, value):
        return
    if isinstance(value, (tuple, list)):
        _words(digest, b"l", str(len(value)).encode())
        items: list[Any] = list(value)
    elif isinstance(value, Mapping):
        _words(digest, b"m", str(len(value)).encode())
        items = [item for pair in value.items() for item in pair]
    elif is_dataclass(value) and not isinstance(value, type):
        _words(digest, b"o", type(value).__name__.encode())
        items = [getattr(value, each.name) for each in fields(value)]
    else:
        raise TypeError(f"the content of a {type(value).__name__} is not known")
    for item in items:
        _feed(digest, item)


def _feed_numbers(digest: hashlib.blake2b, value: tuple[Any, ...]) -> bool:
    """Feed a tuple of floats, or of points, in one go; return whether it is one. Outlines are made of thousands."""
    kind, flat = b"v", value
    if value and type(value[0]) is tuple:
        if any(type(point) is not tuple or len(point) != 2 for point in value):
            return False
        kind, flat = b"p", tuple(itertools.chain.from_iterable(value))
    if not flat or any(type(number) is not float for number in flat):
        return False
    _words(digest, kind, struct.pack(f"<{len(flat)}d", *flat))
    return True


def _words(digest: hashlib.blake2b, kind: bytes, words: bytes) -> None:
    digest.update(kind + str(len(words)).encode() + b":" + words)
