"""ID mattes: names as numbers and the words that go with them, by the open Cryptomatte specification.

Cryptomatte Specification, version 1.1.0 (J. Friedman, A. Jones and the Cryptomatte committee), in the repository
Psyop/Cryptomatte, sections "Metadata", "Manifest", "Hash" and "Floating point conversion". The hash is MurmurHash3 for
32 bits (Austin Appleby, public domain), seed 0, of the name in UTF-8.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from choreo.errors import ChoreoError, Finding, wrong_input

TYPE_NAME = "CryptoObject"
"""Under which names the channels stand: one of the specification's own examples."""
HASH, CONVERSION = "MurmurHash3_32", "uint32_to_float32"
"""The only ones that the specification knows."""

_ALL = 0xFFFFFFFF
_EXPONENT, _MANTISSA_BITS = 0xFF, 23


def murmur3_32(data: bytes, seed: int = 0) -> int:
    """Return MurmurHash3 for 32 bits (x86 variant) of some bytes."""
    state = seed
    whole = len(data) // 4 * 4
    for at in range(0, whole, 4):
        state = _turned(state ^ _scrambled(data[at : at + 4]), 13)
        state = (state * 5 + 0xE6546B64) & _ALL
    if whole < len(data):
        state ^= _scrambled(data[whole:])
    state ^= len(data)
    for shift, factor in ((16, 0x85EBCA6B), (13, 0xC2B2AE35)):
        state = ((state ^ (state >> shift)) * factor) & _ALL
    return state ^ (state >> 16)


def id_bits(name: str) -> int:
    """Return the bits of the float that stands for a name in the pixels.

    They are those of the hash, with the exponent kept within 1 and 254: a float with 0 or 255 there may be a
    denormal, an infinity or no number, which programs on the way do not always leave alone.
    """
    bits = murmur3_32(name.encode())
    exponent = bits >> _MANTISSA_BITS & _EXPONENT
    kept = min(max(exponent, 1), 254)
    return bits & ~(_EXPONENT << _MANTISSA_BITS) | kept << _MANTISSA_BITS


def id_float(name: str) -> np.float32:
    """Return the float that stands for a name in the pixels."""
    return np.uint32(id_bits(name)).view(np.float32)


def id_tints(name: str) -> tuple[float, float]:
    """Return the green and blue, 0 to 1 each, that a name has in the picture to look at."""
    bits = murmur3_32(name.encode())
    return (bits << 8 & _ALL) / _ALL, (bits << 16 & _ALL) / _ALL


def manifest(names: Sequence[str]) -> dict[str, str]:
    """Return the names with their numbers as eight hexadecimal digits."""
    return {name: f"{id_bits(name):08x}" for name in names}


def metadata(names: Sequence[str], type_name: str = TYPE_NAME) -> dict[str, str]:
    """Return the text attributes of a file with ID mattes of these names.

    Their key is the first seven digits of the hash of the type's name: always the same, as the specification asks.
    """
    key = f"cryptomatte/{f'{murmur3_32(type_name.encode()):08x}'[:7]}"
    return {
        f"{key}/name": type_name,
        f"{key}/hash": HASH,
        f"{key}/conversion": CONVERSION,
        f"{key}/manifest": json.dumps(manifest(names), separators=(",", ":")),
    }


def require_different(names: Sequence[str]) -> Mapping[str, np.float32]:
    """Return the float of each name.

    Raises
    ------
    ChoreoError
        Exit 2 if two names have the same: their mattes could not be told apart.

    """
    found = {name: id_float(name) for name in names}
    for one, two in combinations(names, 2):
        if id_bits(one) == id_bits(two):
            raise _same(one, two)
    return found


def _scrambled(word: bytes) -> int:
    return _turned(int.from_bytes(word, "little") * 0xCC9E2D51 & _ALL, 15) * 0x1B873593 & _ALL


def _turned(value: int, bits: int) -> int:
    return (value << bits | value >> (32 - bits)) & _ALL


def _same(one: str, two: str) -> ChoreoError:
    return wrong_input(
        Finding(
            "same-id",
            f'The parts "{one}" and "{two}" have the same number as ID mattes, {id_bits(one):08x}.',
            "assembly.json",
            why="The numbers are hashes of 32 bits, and by chance two names may share one.",
            remedy="Give one of the two parts another id, or write mattes without the ID sequence.",
        )
    )
