"""Pictures of every kind at every depth, and files that are wrong on purpose: a finding each, and nothing else."""

from __future__ import annotations

import io
import os
import struct
import tempfile
from pathlib import Path

import numpy as np
import OpenEXR
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from pictures import disc, png_bytes, png_file, rgba, write_png
from PIL import Image as Pillow
from PIL import ImageCms, ImageOps

from choreo.errors import ChoreoError
from choreo.read.image_profile import profile_notes
from choreo.read.images import read_image

ALPHA = disc((48, 32), (20.0, 15.0), 11.0)


def write_exr(path, pixels, header=None, names="RGBA"):
    channels = {name: np.ascontiguousarray(pixels[..., index]) for index, name in enumerate(names)}
    base = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    OpenEXR.File({**base, **(header or {})}, channels).write(str(path))
    return path


def window(left, top, right, bottom):
    return np.array([left, top], dtype="int32"), np.array([right, bottom], dtype="int32")


def code_of(path, **options):
    with pytest.raises(ChoreoError) as caught:
        read_image(path, **options)
    (finding,) = caught.value.findings
    assert caught.value.exit_code == 2
    assert finding.remedy
    assert finding.as_text().replace("\n", "").isprintable()
    return finding.code


@pytest.fixture(autouse=True)
def nothing_else_is_said(capfd):
    """No library may speak to the user in our place."""
    yield
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("depth", ["uint8", "uint16"])
def test_png(tmp_path, depth):
    pixels = rgba(ALPHA, depth)
    image = read_image(write_png(tmp_path / "a.png", pixels))
    assert (image.kind, image.depth, image.size, image.premultiplied) == ("png", depth, (48, 32), False)
    assert np.array_equal(image.alpha, pixels[..., 3])
    assert np.array_equal(image.colour, pixels[..., :3])


def test_png_as_another_library_writes_it(tmp_path):
    pixels = rgba(ALPHA)
    Pillow.fromarray(pixels).save(tmp_path / "a.png")
    assert np.array_equal(read_image(tmp_path / "a.png").alpha, pixels[..., 3])
    Pillow.fromarray(pixels[..., 2:].copy(), mode="LA").save(tmp_path / "grey.png")
    grey = read_image(tmp_path / "grey.png")
    assert np.array_equal(grey.alpha, pixels[..., 3])
    assert np.array_equal(grey.colour, np.repeat(pixels[..., 2:3], 3, axis=2))


@pytest.mark.parametrize("depth", ["uint8", "uint16", "float32"])
@pytest.mark.parametrize("extra", ["assocalpha", "unassalpha"])
@pytest.mark.parametrize("options", [{}, {"compression": "zlib"}, {"compression": "lzw", "predictor": True},
                                     {"planarconfig": "separate"}, {"tile": (16, 16)}, {"byteorder": ">"}])  # fmt: skip
def test_tiff(tmp_path, depth, extra, options):
    pixels = rgba(ALPHA, depth)
    planes = options.get("planarconfig") == "separate"
    written = np.ascontiguousarray(pixels.transpose(2, 0, 1)) if planes else pixels
    tifffile.imwrite(tmp_path / "a.tif", written, photometric="rgb", extrasamples=[extra], **options)
    image = read_image(tmp_path / "a.tif")
    assert (image.kind, image.depth, image.size) == ("tiff", depth, (48, 32))
    assert image.premultiplied == (extra == "assocalpha")
    assert np.array_equal(image.alpha, pixels[..., 3])
    assert np.array_equal(image.colour, pixels[..., :3])


def test_tiff_as_another_library_writes_it(tmp_path):
    pixels = rgba(ALPHA)
    Pillow.fromarray(pixels).save(tmp_path / "a.tif", compression="tiff_lzw")
    assert np.array_equal(read_image(tmp_path / "a.tif").alpha, pixels[..., 3])


@pytest.mark.parametrize("depth", ["float16", "float32"])
def test_exr(tmp_path, depth):
    pixels = rgba(ALPHA, depth)
    image = read_image(write_exr(tmp_path / "a.exr", pixels))
    assert (image.kind, image.depth, image.size, image.premultiplied) == ("exr", depth, (48, 32), True)
    assert np.array_equal(image.alpha, pixels[..., 3])
    assert np.array_equal(image.colour, pixels[..., :3])


def test_exr_windows(tmp_path):
    pixels = rgba(ALPHA, "float32")
    header = {"displayWindow": window(-7, 5, 92, 84), "dataWindow": window(23, -5, 70, 26)}
    image = read_image(write_exr(tmp_path / "a.exr", pixels, header))
    assert image.size == (100, 80)
    assert np.array_equal(image.alpha[:22, 30:78], pixels[10:, :, 3])
    assert not image.alpha[22:].any()
    assert not image.alpha[:, :30].any()
    assert np.array_equal(image.colour[:22, 30:78], pixels[10:, :, :3])


@pytest.mark.parametrize("turn", range(1, 9))
def test_a_tiff_is_read_as_viewers_show_it(tmp_path, turn):
    # Pillow turns a picture in memory by the same tag, and is the referee.
    tag = [(274, "H", 1, turn, True)]
    tifffile.imwrite(tmp_path / "a.tif", rgba(ALPHA), photometric="rgb", extrasamples=["unassalpha"], extratags=tag)
    stored = Pillow.fromarray(rgba(ALPHA))
    stored.getexif()[274] = turn
    seen = np.asarray(ImageOps.exif_transpose(stored))
    image = read_image(tmp_path / "a.tif")
    assert np.array_equal(image.alpha, seen[..., 3])
    assert np.array_equal(image.colour, seen[..., :3])


def test_profiles_are_named_and_change_nothing(tmp_path):
    # Profiles by LittleCMS; one that fits no RGB picture makes the decoder's library talk.
    for kind, name in (("sRGB", "sRGB built-in"), ("LAB", "Lab identity built-in")):
        profile = ImageCms.ImageCmsProfile(ImageCms.createProfile(kind)).tobytes()
        for suffix in ("png", "tif"):
            Pillow.fromarray(rgba(ALPHA)).save(tmp_path / f"a.{suffix}", icc_profile=profile)
            image = read_image(tmp_path / f"a.{suffix}")
            assert image.profile == name
            assert np.array_equal(image.colour, rgba(ALPHA)[..., :3])
            assert [one.code for one in profile_notes(image.profile, "a")] == ["colour-profile"] * (kind == "LAB")


def test_primaries_of_an_exr_are_named(tmp_path):
    # SMPTE ST 2065-1, table 1: the primaries of scene-linear ACES.
    aces = (0.7347, 0.2653, 0.0, 1.0, 0.0001, -0.077, 0.32168, 0.33767)
    pixels = rgba(ALPHA, "float16")
    image = read_image(write_exr(tmp_path / "a.exr", pixels, {"chromaticities": aces}))
    assert "red at (0.735, 0.265)" in image.profile
    bt709 = (0.64, 0.33, 0.3, 0.6, 0.15, 0.06, 0.3127, 0.329)
    assert read_image(write_exr(tmp_path / "b.exr", pixels, {"chromaticities": bt709})).profile == ""


def test_colour_that_is_no_number_becomes_one(tmp_path):
    pixels = rgba(ALPHA, "float32")
    pixels[3, 4, :3] = np.nan, np.inf, -np.inf
    write_exr(tmp_path / "a.exr", pixels)
    tifffile.imwrite(tmp_path / "a.tif", pixels, photometric="rgb", extrasamples=["unassalpha"])
    for name in ("a.exr", "a.tif"):
        image = read_image(tmp_path / name)
        assert image.colour[3, 4].tolist() == [0, 1, 0]
        assert np.array_equal(image.alpha, pixels[..., 3])


def test_content_decides_not_the_name(tmp_path):
    tifffile.imwrite(tmp_path / "t.tif", rgba(ALPHA), photometric="rgb", extrasamples=["unassalpha"])
    (tmp_path / "t.tif").rename(tmp_path / "t.png")
    assert read_image(tmp_path / "t.png").kind == "tiff"


def test_without_alpha_where_none_is_needed(tmp_path):
    path = write_png(tmp_path / "a.png", rgba(ALPHA, "uint16")[..., :3])
    assert code_of(path) == "no-alpha"
    image = read_image(path, alpha=False)
    assert (image.alpha == 65535).all()
    assert image.colour.shape == (32, 48, 3)


def test_the_digest_is_that_of_the_bytes(tmp_path):
    import subprocess

    path = write_png(tmp_path / "a.png", rgba(ALPHA))
    said = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout.split()[0]
    assert read_image(path).digest == f"sha256:{said}"


def huge_png(width, height):
    return png_file(("IHDR", struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)), ("IDAT", b""), ("IEND", b""))


@pytest.mark.parametrize(("width", "height"), [(2**31 - 1, 2**31 - 1), (16385, 1), (1, 16385), (16384, 16384)])
def test_declared_sizes_are_looked_at_first(tmp_path, width, height):
    path = tmp_path / "a.png"
    path.write_bytes(huge_png(width, height))
    assert code_of(path) == "image-too-large"


def test_huge_tiff_and_exr(tmp_path):
    small = rgba(ALPHA, "uint8")
    tifffile.imwrite(tmp_path / "a.tif", small, photometric="rgb", extrasamples=["unassalpha"])
    data = bytearray((tmp_path / "a.tif").read_bytes())
    with tifffile.TiffFile(io.BytesIO(bytes(data))) as file:
        at = [file.pages[0].tags[name].valueoffset for name in ("ImageWidth", "ImageLength")]
    for place in at:
        data[place : place + 2] = b"\xff\xff"
    (tmp_path / "a.tif").write_bytes(data)
    assert code_of(tmp_path / "a.tif") == "image-too-large"
    header = {"displayWindow": window(0, 0, 10**6, 10**6), "dataWindow": window(0, 0, 47, 31)}
    assert code_of(write_exr(tmp_path / "a.exr", rgba(ALPHA, "float16"), header)) == "image-too-large"


def png_of(colour_type, bits, **options):
    chunks = [("IHDR", struct.pack(">IIBBBBB", 8, 8, bits, colour_type, 0, 0, 0))]
    return png_file(*chunks, *options.get("extra", ()), ("IDAT", b""), ("IEND", b""))


PNGS = {
    "palette": (png_of(3, 8), "image-mode"),
    "bilevel": (png_of(0, 1), "image-mode"),
    "unknown-type": (png_of(5, 8), "image-damaged"),
    "transparent-colour": (png_bytes(rgba(ALPHA)[..., :3], [("tRNS", bytes(6))]), "image-mode"),
    "animated": (png_bytes(rgba(ALPHA), [("acTL", struct.pack(">II", 2, 0))]), "several-images"),
    "grey": (png_bytes(rgba(ALPHA)[..., :1]), "no-alpha"),
    "no-size": (huge_png(0, 8), "image-damaged"),
    "truncated": (png_bytes(rgba(ALPHA))[:-30], "image-damaged"),
    "header-only": (png_bytes(rgba(ALPHA))[:40], "image-damaged"),
    "signature-only": (b"\x89PNG\r\n\x1a\n", "image-damaged"),
    "no-pixels": (huge_png(8, 8), "image-damaged"),
    "checksum": (png_bytes(rgba(ALPHA))[:100] + b"\0\1\2" + png_bytes(rgba(ALPHA))[103:], "image-damaged"),
    "empty": (b"", "not-an-image"),
    "text": (b"This is no picture.\n", "not-an-image"),
    "jpeg": (b"\xff\xd8\xff\xe0" + bytes(40), "not-an-image"),
}


@pytest.mark.parametrize("name", PNGS)
def test_wrong_pngs(tmp_path, name):
    data, code = PNGS[name]
    (tmp_path / "a.png").write_bytes(data)
    assert code_of(tmp_path / "a.png") == code


def tiff(path, pixels, **options):
    tifffile.imwrite(path, pixels, **options)
    return path


PAGES = np.stack([rgba(ALPHA)] * 2)
TIFFS = {
    "several": (lambda p: tiff(p, PAGES, photometric="rgb", extrasamples=["unassalpha"]), "several-images"),
    "rgb": (lambda p: tiff(p, rgba(ALPHA)[..., :3], photometric="rgb"), "no-alpha"),
    "unmarked": (lambda p: tiff(p, rgba(ALPHA), photometric="rgb", extrasamples=["unspecified"]), "no-alpha"),
    "cmyk": (lambda p: tiff(p, rgba(ALPHA), photometric="separated"), "image-mode"),
    "white": (lambda p: tiff(p, rgba(ALPHA)[..., 3], photometric="miniswhite"), "image-mode"),
    "bilevel": (lambda p: tiff(p, rgba(ALPHA)[..., 3] > 9, photometric="minisblack"), "image-mode"),
    "nan": (lambda p: tiff(p, np.full((8, 8, 4), np.nan, "f4"), photometric="rgb", extrasamples=[2]), "image-damaged"),
    "double": (lambda p: tiff(p, rgba(ALPHA, "float64"), photometric="rgb", extrasamples=["unassalpha"]), "image-mode"),
}  # fmt: skip


@pytest.mark.parametrize("name", TIFFS)
def test_wrong_tiffs(tmp_path, name):
    make, code = TIFFS[name]
    assert code_of(make(tmp_path / "a.tif")) == code


def test_wrong_exrs(tmp_path):
    pixels = rgba(ALPHA, "float16")
    assert code_of(write_exr(tmp_path / "a.exr", pixels[..., :3], names="RGB")) == "no-alpha"
    assert code_of(write_exr(tmp_path / "b.exr", pixels[..., :1], names="Z")) == "no-alpha"
    whole = rgba(ALPHA, "uint8").astype("uint32")
    assert code_of(write_exr(tmp_path / "c.exr", whole)) == "image-mode"
    pixels[3, 4, 3] = np.nan
    assert code_of(write_exr(tmp_path / "d.exr", pixels)) == "image-damaged"
    parts = [OpenEXR.Part({"name": name}, {"A": rgba(ALPHA, "float16")[..., 3].copy()}) for name in ("one", "two")]
    OpenEXR.File(parts).write(str(tmp_path / "e.exr"))
    assert code_of(tmp_path / "e.exr") == "several-images"


def test_wrong_files(tmp_path):
    assert code_of(tmp_path / "missing.png") == "no-such-file"
    assert code_of(tmp_path) == "not-a-file"
    os.mkfifo(tmp_path / "pipe")
    assert code_of(tmp_path / "pipe") == "not-a-file"
    assert code_of(tmp_path / ("x" * 300)) == "unreadable"
    assert code_of(tmp_path / "a\0b.png") == "unreadable"
    odd = tmp_path / os.fsdecode(b"\xff\xfe.png")
    odd.write_bytes(b"no")
    assert code_of(odd) == "not-an-image"


def good_files():
    folder = Path(tempfile.mkdtemp())
    write_png(folder / "a.png", rgba(ALPHA))
    tifffile.imwrite(
        folder / "a.tif", rgba(ALPHA, "uint16"), photometric="rgb", extrasamples=["unassalpha"], compression="zlib"
    )
    write_exr(folder / "a.exr", rgba(ALPHA, "float16"))
    return [(folder / name).read_bytes() for name in ("a.png", "a.tif", "a.exr")]


GOOD = good_files()


@given(st.sampled_from(GOOD), st.data())
@settings(max_examples=300, deadline=None)
def test_damage_anywhere_ends_in_one_finding_or_a_picture(tmp_path_factory, data, draw):
    changed = bytearray(data[: draw.draw(st.integers(4, len(data)))])
    for place in draw.draw(st.lists(st.integers(4, len(changed)), max_size=4)):
        changed[place - 1 : place] = bytes([draw.draw(st.integers(0, 255))])
    path = tmp_path_factory.getbasetemp() / "damaged"
    path.write_bytes(changed)
    try:
        image = read_image(path)
    except ChoreoError as error:
        assert len(error.findings) == 1  # noqa: PT017  (most damage raises, some does no harm)
    else:
        assert image.alpha.ndim == 2
        assert image.colour.shape == (*image.alpha.shape, 3)
