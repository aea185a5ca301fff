"""Layers and mattes as files: read back by other libraries, stacked and summed by arithmetic of this file."""

from __future__ import annotations

import itertools
import json
import struct
from pathlib import Path

import cv2
import jsonschema
import numpy as np
import OpenEXR
import pytest
from photographed_project import write_project

from choreo.cli import main
from choreo.frames.film import film_of
from choreo.frames.scene import scene_of
from choreo.read.project import read_project

SIZE = (320, 200)
FRAMES = (3, 8, 16, 17, 19)
"""Parts on their way, one at home, the hero coming in, the hero alone."""


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    folder = tmp_path_factory.mktemp("project")
    return write_project(folder, handoff="handoff_px = 2", resolution=SIZE, px_per_mm=5)


@pytest.fixture(scope="module")
def pictures(project):
    """The renderer's pictures, in linear light."""
    view = scene_of(film_of(read_project(project), lambda *_: None))
    [shot] = view.tracks.shots
    assert 0 < shot.hero_opacity[16] < 1 == shot.hero_opacity[19]
    return {frame: view.renderer(shot.name).picture(shot, frame).astype(np.float64) for frame in FRAMES}


def said(capsys, *arguments):
    code = main([*map(str, arguments), "--json"])
    return code, json.loads(capsys.readouterr().out)


def channels_of(path):
    """All channels of an OpenEXR file on the whole picture, and its header."""
    file = OpenEXR.File(str(path), separate_channels=True)
    (x, y), (right, bottom) = file.header()["dataWindow"]
    assert tuple(file.header()["displayWindow"][1] + 1) == SIZE
    out = {}
    for name, channel in file.channels().items():
        out[name] = np.zeros((SIZE[1], SIZE[0]), dtype=channel.pixels.dtype)
        out[name][y : bottom + 1, x : right + 1] = channel.pixels
    return out, file.header()


def linear(path):
    """A layer in linear light, premultiplied, in double precision; the sRGB curve is that of IEC 61966-2-1."""
    if path.suffix == ".exr":
        channels, _ = channels_of(path)
        assert {plane.dtype for plane in channels.values()} == {np.dtype(np.float16)}
        return np.dstack([channels[name] for name in "RGBA"]).astype(np.float64)
    codes = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)[..., [2, 1, 0, 3]]
    values = codes / float(np.iinfo(codes.dtype).max)
    light = np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)
    return np.dstack([light[..., :3] * values[..., 3:], values[..., 3]])


def codes_of(picture):
    light = np.clip(picture[..., :3] / np.maximum(picture[..., 3:], 1e-9), 0, 1)
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def numbered(pattern, frame, first=1001):
    return Path(pattern.replace("####", f"{first + frame:04d}"))


@pytest.mark.parametrize("kind", ["exr", "png16", "png8"])
def test_layers_stack_to_the_film_in_the_order_that_lies_beside_them(kind, project, pictures, tmp_path, capsys):
    code, found = said(capsys, "layers", project, "--out", tmp_path, "--kind", kind)
    assert code == 0
    told = json.loads((tmp_path / "order.json").read_text())
    schema = Path(__file__).resolve().parents[1] / "schemas" / "layer-order.schema.json"
    jsonschema.Draft202012Validator(json.loads(schema.read_text())).validate(told)
    files = [layer["files"] for layer in told["back_to_front"]]
    assert [layer["part"] for layer in told["back_to_front"]] == found["back_to_front"]
    assert found["back_to_front"][-1] == "_hero"
    assert (told["first_number"], told["frames"], told["resolution"]) == (1001, 20, list(SIZE))
    said_so = ("linear", "premultiplied") if kind == "exr" else ("sRGB", "straight")
    assert (told["stored_colour"], told["stored_alpha"]) == said_so
    for name in files:
        assert sorted(path.name for path in (tmp_path / name).parent.iterdir()) == [
            numbered(name, frame).name for frame in range(20)
        ]
    for frame, picture in pictures.items():
        out = np.zeros_like(picture)
        for name in files:
            layer = linear(tmp_path / numbered(name, frame))
            out = layer + (1 - layer[..., 3:]) * out
        alpha = [np.floor(255 * np.clip(each[..., 3], 0, 1) + 0.5) for each in (out, picture)]
        assert np.abs(alpha[0] - alpha[1]).max() <= 1
        colours = [np.floor(codes_of(each) + 0.5) for each in (out, picture)]
        assert (np.abs(colours[0] - colours[1]).max(axis=2) * picture[..., 3]).max() <= 1 + 1e-6
        lines = (tmp_path / "order.txt").read_text().splitlines()
    assert [line.strip() for line in lines if ".####." in line] == files[::-1]


def test_mattes_sum_to_the_alpha_and_ids_are_the_mattes(project, pictures, tmp_path, capsys):
    code, found = said(capsys, "mattes", project, "--out", tmp_path, "--frames", "3-19")
    assert code == 0
    parts = [name for name in found["sequences"] if name != "_id"]
    assert parts[-1] == "_hero"
    for frame, picture in pictures.items():
        mattes = {}
        for part in parts:
            channels, _ = channels_of(numbered(found["sequences"][part], frame))
            assert list(channels) == ["Y"]
            mattes[part] = channels["Y"].astype(np.float64)
        # A half float is within 2^-12 of a number up to 1.
        assert np.abs(sum(mattes.values()) - picture[..., 3]).max() <= len(parts) * 2**-12
        channels, header = channels_of(numbered(found["sequences"]["_id"], frame))
        for part, matte in by_id(channels, header).items():
            assert np.abs(matte - mattes[part]).max() <= 2**-12, (frame, part)


def by_id(channels, header):
    """Mattes by name, read as the Cryptomatte Specification 1.1.0 says; its names are written here by hand."""
    [key] = {name.split("/")[1] for name in header if name.startswith("cryptomatte/")}
    words = {name: header[f"cryptomatte/{key}/{name}"] for name in ("name", "hash", "conversion", "manifest")}
    assert (words["hash"], words["conversion"]) == ("MurmurHash3_32", "uint32_to_float32")
    assert all(name.startswith(words["name"]) for name in channels)
    pairs = []
    for layer in range(3):
        name = f"{words['name']}{layer:02d}"
        pairs += [(channels[f"{name}.r"], channels[f"{name}.g"]), (channels[f"{name}.b"], channels[f"{name}.a"])]
    assert {plane.dtype for pair in pairs for plane in pair} == {np.dtype(np.float32)}
    assert all((one[1] >= two[1]).all() for one, two in itertools.pairwise(pairs))
    out, green, blue = {}, 0, 0
    for name, digits in json.loads(words["manifest"]).items():
        number = np.float32(struct.unpack(">f", bytes.fromhex(digits))[0])
        out[name] = sum(np.where(numbers == number, cover, 0) for numbers, cover in pairs)
        # The specification's picture to look at: the hash, moved up by 8 and by 16 bits, as a share of 2^32 - 1.
        green = green + out[name] * ((int(digits, 16) << 8 & 0xFFFFFFFF) / 0xFFFFFFFF)
        blue = blue + out[name] * ((int(digits, 16) << 16 & 0xFFFFFFFF) / 0xFFFFFFFF)
    for channel, wanted in (("g", green), ("b", blue)):
        assert np.abs(channels[f"{words['name']}.{channel}"] - wanted).max() <= 2**-11
    return out


@pytest.mark.parametrize(("kind", "dtype"), [("png8", np.uint8), ("png16", np.uint16)])
def test_mattes_as_png_are_proportional_to_coverage(kind, dtype, project, pictures, tmp_path, capsys):
    arguments = ("mattes", project, "--out", tmp_path, "--frames", "8", "--kind", kind, "--only", "parts")
    code, found = said(capsys, *arguments)
    assert code == 0
    assert "_id" not in found["sequences"]
    mattes = [cv2.imread(str(numbered(p, 8)), cv2.IMREAD_UNCHANGED) for p in found["sequences"].values()]
    assert {(matte.dtype, matte.shape) for matte in mattes} == {(np.dtype(dtype), SIZE[::-1])}
    top = float(np.iinfo(dtype).max)
    assert np.abs(sum(matte / top for matte in mattes) - pictures[8][..., 3]).max() <= len(mattes) * 0.5 / top + 1e-6


def test_the_next_run_draws_only_what_is_missing(project, tmp_path, capsys):
    arguments = ("layers", project, "--out", tmp_path, "--size", "quarter", "--shutter", 0)
    said(capsys, *arguments, "--frames", "2-5")
    there = {path: path.read_bytes() for path in tmp_path.rglob("*.exr")}
    assert len(there) == 4 * 4
    main([*map(str, arguments), "--frames", "2-6"])
    assert "Frames: 1 drawn, 4 were there already." in capsys.readouterr().out
    gone = next(iter(there))
    gone.unlink()
    main([*map(str, arguments), "--frames", "2-6"])
    assert "Frames: 1 drawn, 4 were there already." in capsys.readouterr().out
    assert all(path.read_bytes() == content for path, content in there.items())
    # Other numbers: the old ones would be taken for frames of the film.
    said(capsys, *arguments, "--frames", "2-3", "--first-number", 1)
    assert sorted({path.name.split(".")[1] for path in tmp_path.rglob("*.exr")}) == ["0003", "0004"]


def test_parts_that_id_mattes_cannot_name_are_warned_of(project, tmp_path, capsys):
    # Three parts and the still: a pixel where the still comes in over parts that meet shows three or more.
    arguments = ("mattes", project, "--out", tmp_path, "--frames", "3-19")
    _, found = said(capsys, *arguments, "--ranks", 2)
    [warning] = found["warnings"]
    assert warning["code"] == "ids-left-out"
    mattes, lost = [], {}
    for frame in range(3, 20):
        planes = [
            channels_of(numbered(pattern, frame))[0]["Y"].astype(float)
            for part, pattern in found["sequences"].items()
            if part != "_id"
        ]
        mattes.append(np.sort(planes, axis=0)[::-1])
        lost[frame] = mattes[-1][2:].sum(axis=0).max()
    seen = [frame for frame, share in lost.items() if share >= 0.5 / 255]
    assert f"On {len(seen)} frames, the first of them {seen[0]} of the film" in warning["what"]
    assert f"up to {100 * max(lost.values()):.1f} % of a pixel" in warning["why"]
    assert "--ranks 4" in warning["remedy"]
    # It is said of frames that are there already, too, and not where there are ranks enough.
    assert said(capsys, *arguments, "--ranks", 2)[1]["warnings"] == [warning]
    assert said(capsys, *arguments, "--ranks", 4)[1]["warnings"] == []


def test_each_size_has_a_folder_of_its_own(project, capsys):
    _, found = said(capsys, "mattes", project, "--frames", 0, "--size", "half", "--only", "id", "--ranks", 2)
    assert found["sequences"] == {"_id": str(project / "out" / "mattes-half" / "_id" / "_id.####.exr")}
    file = OpenEXR.File(str(numbered(found["sequences"]["_id"], 0)), separate_channels=True)
    assert tuple(file.header()["displayWindow"][1] + 1) == (160, 100)
    assert sorted(file.channels()) == [f"CryptoObject.{c}" for c in "bgr"] + [f"CryptoObject00.{c}" for c in "abgr"]


@pytest.mark.parametrize(
    "wrong", [("--ranks", 3), ("--ranks", 0), ("--first-number", -1), ("--kind", "gif"), ("--frames", "7-99")]
)
def test_what_makes_no_sense_is_refused(wrong, project, capsys):
    try:
        code = main(["mattes", str(project), *map(str, wrong)])
    except SystemExit as stop:
        code = stop.code
    assert code == 2
    assert "Traceback" not in capsys.readouterr().err
