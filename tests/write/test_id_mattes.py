"""Hashes, numbers and words of ID mattes, against what the specification and the hash's author have published."""

from __future__ import annotations

import json
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from choreo.errors import ChoreoError
from choreo.write import id_mattes
from choreo.write.id_mattes import id_bits, id_float, manifest, metadata, murmur3_32, require_different


def test_the_hash_has_its_authors_verification_value():
    """SMHasher (A. Appleby): keys of 0 to 255 bytes with seeds 256 less the length, hashed once more: 0xB0F57EE3."""
    keys = bytes(range(256))
    hashes = b"".join(murmur3_32(keys[:length], 256 - length).to_bytes(4, "little") for length in range(256))
    assert murmur3_32(hashes) == 0xB0F57EE3


def test_the_specifications_examples():
    """Cryptomatte Specification 1.1.0, "Metadata" and "Manifest"."""
    names = ["bunny", "default", "bunny_porcelain_mat"]
    assert list(manifest(names).values()) == ["13851a76", "42c9679f", "b24b26d4"]


@pytest.mark.parametrize(
    ("name", "bits"),
    [
        ("default_111", "ad58c73a"),
        ("default_444", "8ca57ad9"),
        ("leftAsset", "ce406a47"),
        ("rightAsset", "8f3ccbde"),
        ("bush", "f763d090"),
        ("flowerA.flowerA_petal1.:2261", "00af91ae"),
        # In these two the hash has all bits of the exponent set, and the number has 254 there.
        ("flowerA.flowerA_petal1.:1065", "7f0e5296"),
        ("flowerA.flowerA_petal1.:3086", "7f572e64"),
    ],
)
def test_manifests_beside_the_specification(name, bits):
    """From the sample pictures' manifests in the specification's repository (Psyop/Cryptomatte, sample_images)."""
    assert f"{id_bits(name):08x}" == bits


@given(st.text())
def test_a_number_is_a_plain_float_with_the_bits_of_the_hash(name):
    value, bits = id_float(name), murmur3_32(name.encode())
    assert np.isfinite(value)
    assert abs(value) >= np.finfo(np.float32).tiny
    # The specification's way back: the digits are the bytes of the float, highest first.
    assert struct.unpack(">f", bytes.fromhex(f"{id_bits(name):08x}"))[0] == value
    if 0 < bits >> 23 & 255 < 255:
        assert id_bits(name) == bits
    else:
        assert (id_bits(name) ^ bits) == 1 << 23


def test_words_of_the_header():
    """Names as the specification has them; the key is our own, seven digits of the type's hash."""
    words = metadata(["bunny", "default"])
    assert {name.split("/")[2] for name in words} == {"name", "hash", "conversion", "manifest"}
    [key] = {name.rpartition("/")[0] for name in words}
    assert key.startswith("cryptomatte/")
    assert len(key) == len("cryptomatte/adb0a84")
    assert (words[f"{key}/hash"], words[f"{key}/conversion"]) == ("MurmurHash3_32", "uint32_to_float32")
    assert words[f"{key}/manifest"] == '{"bunny":"13851a76","default":"42c9679f"}'
    assert json.loads(metadata(['a"b', "ü"])[f"{key}/manifest"]).keys() == {'a"b', "ü"}
    assert max(len(name) for name in words) <= 31  # OpenEXR: longer names need a flag


def test_names_with_one_number_are_refused(monkeypatch):
    assert require_different(["bunny", "default"])["bunny"] == id_float("bunny")
    monkeypatch.setattr(id_mattes, "murmur3_32", lambda *_: 7)
    with pytest.raises(ChoreoError) as error:
        require_different(["bunny", "default"])
    [finding] = error.value.findings
    assert finding.code == "same-id"
    assert "bunny" in finding.what
