"""Movies, decoded by OpenCV's decoders (another build than the encoder's) and taken apart byte by byte.

Boxes after ISO/IEC 14496-12 (mdhd 8.4.2, stts 8.6.1.2, colr 12.1.5), code points after ITU-T H.273 (1 primaries and
matrix of BT.709, 13 transfer of IEC 61966-2-1), elements after RFC 8794 and RFC 9559; read there before, numbers from
memory and confirmed by what independent tools say of these files.
"""

from __future__ import annotations

import struct
import sys

import cv2
import numpy as np
import pytest

from choreo.errors import ChoreoError
from choreo.write.movie import to_bt709, write_movie

RATE = (24000, 1001)
PATCHES = [(80, 80, 80), (200, 30, 30), (30, 200, 30), (30, 30, 200), (255, 255, 255), (0, 0, 0), (233, 230, 223)]


def picture(number, size=(192, 108)):
    out = np.full((size[1], size[0], 3), (233, 230, 223), dtype=np.uint8)
    for index, patch in enumerate(PATCHES):
        out[12 + 12 * index : 24 + 12 * index, 10 + 2 * number : 90 + 2 * number] = patch
    return out


def written(path, count=30, size=(192, 108), rate=RATE):
    frames = [picture(number, size) for number in range(count)]
    assert list(write_movie(path, frames, size, rate)) == list(range(1, count + 1))
    assert [file.name for file in path.parent.iterdir() if file.name.startswith(".")] == []
    return frames


def decoded(path):
    capture = cv2.VideoCapture(str(path))
    out = []
    while True:
        more, frame = capture.read()
        if not more:
            return capture.get(cv2.CAP_PROP_FPS), out
        out.append(frame[..., ::-1])


def boxes(data, path=()):
    """Every box of an MP4 with its path."""
    at = 0
    while at + 8 <= len(data):
        size, kind = struct.unpack(">I4s", data[at : at + 8])
        head = 8
        if size == 1:
            size, head = struct.unpack(">Q", data[at + 8 : at + 16])[0], 16
        body = data[at + head : at + size]
        here = (*path, kind.decode("latin1"))
        yield here, body
        if here[-1] in ("moov", "trak", "mdia", "minf", "stbl"):
            yield from boxes(body, here)
        elif here[-1] == "stsd":
            yield from boxes(body[8:], here)
        elif here[-1] == "avc1":
            yield from boxes(body[78:], here)
        at += size


@pytest.mark.parametrize("ending", ["mp4", "webm"])
def test_another_decoder_finds_the_frames(tmp_path, ending):
    path = tmp_path / f"film.{ending}"
    frames = written(path)
    rate, found = decoded(path)
    assert len(found) == len(frames)
    assert rate == pytest.approx(24000 / 1001, abs=1e-4)
    error = np.abs(np.array(found).astype(int) - np.array(frames))
    # Flat colours come back within the rounding of limited range and of the decoder's own conversion; the mean holds
    # the soft edges of chroma at half size as well.
    for index, patch in enumerate(PATCHES):
        assert np.abs(found[8][18 + 12 * index, 60].astype(int) - patch).max() <= 4
    assert error.mean() < 2.5


@pytest.mark.parametrize("rate", [(24000, 1001), (24, 1), (25, 1), (30000, 1001), (60, 1)])
def test_the_rate_is_exact_in_mp4(tmp_path, rate):
    path = tmp_path / "film.mp4"
    written(path, 12, rate=rate)
    found = {where[-1]: body for where, body in boxes(path.read_bytes()) if "mdia" in where}
    version = found["mdhd"][0]
    scale, length = struct.unpack(
        ">IQ" if version else ">II", found["mdhd"][20 if version else 12 :][: 12 if version else 8]
    )
    count, *table = struct.unpack(f">I{(len(found['stts']) - 8) // 4}I", found["stts"][4:])
    assert count == 1, "every frame lasts as long as the others"
    assert table[0] == 12
    assert scale * rate[1] == rate[0] * table[1]
    assert length == 12 * table[1]


def test_colours_are_tagged_as_they_are(tmp_path):
    written(tmp_path / "film.mp4", 3)
    data = (tmp_path / "film.mp4").read_bytes()
    colr = next(body for where, body in boxes(data) if where[-1] == "colr")
    assert colr[:4] == b"nclx"
    assert struct.unpack(">HHHB", colr[4:11]) == (1, 13, 1, 0)
    pixels = next(body for where, body in boxes(data) if where[-1] == "pasp")
    assert struct.unpack(">II", pixels) == (1, 1), "pixels are square, and it says so"
    names = [where[0] for where, _ in boxes(data) if len(where) == 1]
    assert names.index("moov") < names.index("mdat"), "it plays before all of it has arrived"

    written(tmp_path / "film.webm", 3)
    webm = (tmp_path / "film.webm").read_bytes()
    for element, value in ((b"\x55\xb1", 1), (b"\x55\xba", 13), (b"\x55\xbb", 1), (b"\x55\xb9", 1)):
        assert webm.count(element + b"\x81" + bytes([value])) == 1
    duration = webm[webm.index(b"\x23\xe3\x83") + 3 :]
    nanoseconds = int.from_bytes(duration[1 : 1 + (duration[0] & 0x7F)], "big")
    assert nanoseconds == 41708333  # 1001 / 24000 s


def test_colour_planes_are_the_nearest_codes():
    # ITU-R BT.709-6, items 3.2 to 3.5 and 4.6, in float64; chroma at the left of its pair of pixels (H.264, annex E).
    codes = cv2.resize(np.random.default_rng(3).integers(0, 256, (9, 13, 3), dtype=np.uint8), (104, 72))
    light = codes / 255
    luma = light @ [0.2126, 0.7152, 0.0722]
    expected = [16 + 219 * luma]
    for chroma in ((light[..., 2] - luma) / 1.8556, (light[..., 0] - luma) / 1.5748):
        wide = np.pad(chroma, ((0, 0), (1, 1)), mode="edge")
        across = (wide[:, :-2] + 2 * wide[:, 1:-1] + wide[:, 2:])[:, ::2] / 4
        expected.append(128 + 224 * (across[::2] + across[1::2]) / 2)
    found = to_bt709(codes)
    planes = [found[:72], found[72:].reshape(2, 36, 52)[0], found[72:].reshape(2, 36, 52)[1]]
    for plane, exact in zip(planes, expected, strict=True):
        assert np.abs(plane - exact).max() <= 0.5 + 1e-4


def test_bars_have_the_values_that_everybody_knows():
    # 100 % white, black, red, green and blue at 8 bits: common practice, from memory, and by the formula above.
    codes = np.repeat(np.array([[[255] * 3, [0] * 3, [255, 0, 0], [0, 255, 0], [0, 0, 255]]], np.uint8), 4, axis=1)
    found = to_bt709(np.repeat(codes, 4, axis=0))
    known = [(235, 128, 128), (16, 128, 128), (63, 102, 240), (173, 42, 26), (32, 240, 118)]
    chroma = found[4:].reshape(2, 2, 10)
    for index, value in enumerate(known):
        assert (found[1, 4 * index + 2], *chroma[:, 0, 2 * index + 1]) == value


@pytest.mark.parametrize("ending", ["mp4", "webm"])
def test_the_same_frames_give_the_same_bytes(tmp_path, ending):
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        written(tmp_path / name / f"film.{ending}", 20)
    assert (tmp_path / "one" / f"film.{ending}").read_bytes() == (tmp_path / "two" / f"film.{ending}").read_bytes()


@pytest.mark.parametrize("ending", ["mp4", "webm"])
def test_odd_sizes_lose_nothing(tmp_path, ending):
    path = tmp_path / f"film.{ending}"
    frames = written(path, 3, size=(191, 107))
    found = decoded(path)[1]
    assert found[0].shape == (108, 192, 3)
    assert np.abs(found[0][:107, :191].astype(int) - frames[0]).mean() < 2.5


def test_what_was_there_stays_if_a_movie_cannot_be_finished(tmp_path):
    path = tmp_path / "film.mp4"
    path.write_bytes(b"before")

    def frames():
        yield picture(0)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        list(write_movie(path, frames(), (192, 108), RATE))
    assert path.read_bytes() == b"before"
    assert [file.name for file in tmp_path.iterdir()] == ["film.mp4"]


def test_a_missing_encoder_is_said_with_the_line_to_type(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(ChoreoError) as error:
        list(write_movie(tmp_path / "film.mp4", [picture(0)], (192, 108), RATE))
    (finding,) = error.value.findings
    assert finding.code == "movies-need-av"
    assert "pip install av" in finding.remedy
