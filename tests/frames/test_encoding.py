"""Movies that are encoded side by side: the bytes of each are those it has alone, and none is left half done."""

from __future__ import annotations

import signal
import threading
import time
from types import SimpleNamespace

import numpy as np
import pytest
from photographed_project import write_project

from choreo.cli import main
from choreo.commands.picturing import movies_to_come
from choreo.errors import ChoreoError
from choreo.frames import encoding, movies
from choreo.frames.encoding import encode_all
from choreo.frames.worker import Job
from choreo.write.movie import write_movie
from choreo.write.png import png_bytes

SIZE, RATE = (96, 54), (24000, 1001)


def pictures(count=30):
    rows, columns = np.mgrid[: SIZE[1], : SIZE[0]]
    for number in range(count):
        shade = ((rows * 3 + columns + 5 * number) % 256).astype(np.uint8)
        yield np.dstack([shade, 255 - shade, shade // 2])


def test_company_changes_no_byte(tmp_path):
    names = ("film.mp4", "film.webm")
    heard = []
    encode_all(pictures(), [tmp_path / "both" / name for name in names], SIZE, RATE, heard.append)
    assert heard == list(range(1, 31))
    for name in names:
        list(write_movie(tmp_path / name, pictures(), SIZE, RATE))
        assert (tmp_path / "both" / name).read_bytes() == (tmp_path / name).read_bytes()


@pytest.mark.parametrize("error", [KeyboardInterrupt, ZeroDivisionError])
def test_what_was_there_stays_if_the_frames_break_off(tmp_path, error):
    def broken():
        yield from pictures(12)
        raise error

    paths = [tmp_path / "film.mp4", tmp_path / "film.webm"]
    paths[0].write_bytes(b"before")
    with pytest.raises(error):
        encode_all(broken(), paths, SIZE, RATE)
    assert [path.name for path in tmp_path.iterdir()] == ["film.mp4"]
    assert paths[0].read_bytes() == b"before"
    assert not any(type(one).__name__ == "_Encoder" for one in threading.enumerate())


def test_ctrl_c_while_the_last_frames_are_packed_leaves_nothing_half_done(tmp_path, monkeypatch):
    # Encoders that look ahead have most of a short movie before them when the last frame has been handed out.
    ready, left = threading.Event(), []

    def slow(path, frames, *_):
        yield from enumerate(frames)
        aside = path.with_name("aside")
        aside.write_bytes(b"half")
        ready.set()
        time.sleep(0.5)
        aside.unlink()

    def press():
        ready.wait(5)
        signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(encoding, "write_movie", slow)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    hand = threading.Thread(target=press)
    hand.start()
    try:
        with pytest.raises(KeyboardInterrupt):
            encode_all(pictures(2), [tmp_path / "film.webm"], SIZE, RATE)
        left += tmp_path.iterdir()
    finally:
        signal.signal(signal.SIGINT, before)
        hand.join()
    assert left == []


def test_an_encoder_that_fails_ends_the_others(tmp_path):
    (tmp_path / "taken").write_bytes(b"mine")
    with pytest.raises(ChoreoError) as found:
        encode_all(pictures(300), [tmp_path / "film.webm", tmp_path / "taken" / "film.mp4"], SIZE, RATE)
    assert found.value.findings[0].code == "output-not-written"
    assert [path.name for path in tmp_path.iterdir()] == ["taken"]
    assert not any(type(one).__name__ == "_Encoder" for one in threading.enumerate())


@pytest.mark.parametrize("step", ["encode_all", "FlashMeter"])
def test_an_animatic_that_is_stopped_late_says_that_its_frames_are_there(tmp_path, capsys, monkeypatch, step):
    project = write_project(tmp_path, resolution=(160, 100), px_per_mm=2)
    options = ("--size", "quarter", "--shutter", "0", "--format", "webm")

    def stopped(*_arguments):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        # On a slow machine the run says first how long it will take, and tries a few frames to know it.
        patch.setattr(movies, "seconds_to_encode", lambda *_: None)
        patch.setattr(movies, step, stopped)
        assert main(["animatic", str(project), *options]) == 130
    said = capsys.readouterr().err.splitlines()[-1]
    assert said == "choreo: stopped; all 20 frames are there, whole; the next run goes on from them"
    assert main(["animatic", str(project), *options]) == 0
    assert "Frames: 0 drawn, 20 were there already." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("one", "two", "codes"),
    [
        ((0, 0, 0), (255, 255, 255), ["flashing"]),
        ((220, 0, 0), (94, 94, 94), ["flashing-red"]),
        ((255, 0, 0), (0, 0, 0), ["flashing", "flashing-red"]),
        ((94, 94, 94), (100, 100, 100), []),
    ],
)
def test_frames_that_flash_are_warned_of(tmp_path, one, two, codes):
    # Four flashes in 17 frames of 24 a second, from frame 100 of the film on: WCAG 2.2, success criterion 2.3.1.
    for number in range(20):
        colour = (one, two)[number // 2 % 2]
        (tmp_path / f"{number}.png").write_bytes(png_bytes(np.full((54, 96, 3), colour, np.uint8)))
    jobs = [Job("burst", number, (f"{number}.png",), "") for number in range(20)]
    film = SimpleNamespace(tracks=SimpleNamespace(frame_rate=(24, 1)), shot=lambda _: SimpleNamespace(start_frame=100))
    heard = []
    found = movies.flashing(film, jobs, tmp_path, lambda *told: heard.append(told[:2]))
    assert [(finding.code, finding.severity) for finding in found] == [(code, "warning") for code in codes]
    assert all(finding.what.startswith("From frame 100 to 116 the film flashes") for finding in found)
    assert heard[-1] == (20, 20)


def test_how_long_movies_take_is_told_by_frames_that_are_there(tmp_path, monkeypatch):
    names = tuple(f"{number}.png" for number in range(40))
    for name, picture in zip(names[::20], pictures(), strict=False):
        (tmp_path / name).write_bytes(png_bytes(picture))
    plan = movies.MoviePlan(names, None, tmp_path, SIZE, RATE, "", ("film.webm",), ())
    assert 0 < movies.seconds_to_encode(plan, tmp_path) < 60
    assert movies.seconds_to_encode(plan, tmp_path / "nowhere") is None
    monkeypatch.setattr(movies, "TemporaryDirectory", lambda: (_ for _ in ()).throw(OSError("no room")))
    assert movies.seconds_to_encode(plan, tmp_path) is None  # nothing fails for that
    assert sorted(path.name for path in tmp_path.iterdir()) == ["0.png", "20.png"]
    assert movies_to_come(("a.mp4", "a.webm"), 12.3) == "; then a.mp4 and a.webm, about 12 s more"
    assert movies_to_come(("a.mp4",), None) == "; then a.mp4"
    assert movies_to_come((), None) == ""
