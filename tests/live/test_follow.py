"""Saves are seen, however an editor saves; the files of a project are all that a compile reads."""

import os
import threading
import time
from pathlib import Path

import pytest

from choreo.live.follow import Follower, files_at, files_of
from choreo.read.project import read_project
from choreo.read.stamp import stamp_of

DEMOS = Path(__file__).parents[2] / "demo_assemblies"


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "choreography.toml"
    path.write_text("one")
    return path


def test_nothing_saved_is_nothing_changed(file):
    follower = Follower((file, file.parent / "not-there"))
    assert follower.changed() == ()


def replace_whole(path):
    other = path.with_suffix(".new")
    other.write_text("two")
    other.replace(path)


@pytest.mark.parametrize(
    "save",
    [
        lambda path: path.write_text("longer"),
        replace_whole,
        lambda path: path.unlink(),
        lambda path: os.utime(path, ns=(1, 1)),
    ],
    ids=["in place", "by a new file", "gone", "touched"],
)
def test_each_way_to_save_is_seen_once(file, save):
    follower = Follower((file,))
    save(file)
    assert follower.changed() == (file,)
    assert follower.changed() == ()


def test_a_file_that_comes_is_seen(tmp_path):
    late = tmp_path / "late.png"
    follower = Follower((late,))
    late.write_bytes(b"x")
    assert follower.changed() == (late,)


def test_what_is_known_of_a_file_survives_a_new_list(file, tmp_path):
    follower = Follower((file,))
    file.write_text("longer")
    follower.follow((tmp_path / "other", file))
    assert follower.changed() == (file,)


def test_a_save_in_several_steps_is_one_save(file, monkeypatch):
    follower = Follower((file,))
    steps = iter(["a", "ab", "abc"])

    def sleep(_seconds):
        if (text := next(steps, None)) is not None:
            file.write_text(text)

    monkeypatch.setattr(time, "sleep", sleep)
    assert follower.wait(lambda: False) == (file,)
    assert file.read_text() == "abc"
    assert follower.changed() == ()


def test_waiting_ends_when_it_is_told_to(file):
    stopped = threading.Event()
    stopped.set()
    assert Follower((file,)).wait(stopped.is_set) == ()


def test_a_path_that_cannot_be_looked_at_has_no_stamp(tmp_path):
    assert stamp_of(tmp_path / ("x" * 5000)) is None
    assert stamp_of(tmp_path / "a\0b") is None


def test_all_that_a_compile_reads_is_followed():
    folder = DEMOS / "headlamp_late_part"
    project = read_project(folder)
    names = {file.relative_to(folder).as_posix() for file in files_of(folder, project)}
    assert {"choreography.toml", "assembly.json", "approved.tracks.json"} <= names
    assert set(files_at(folder)) <= set(files_of(folder, project))
    assert files_at(folder / "choreography.toml") == files_at(folder)
