"""All files or none, whatever fails."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from choreo.errors import ChoreoError
from choreo.write.files import write_all

NEW = {"tracks.json": "new tracks é", "report.json": "new report", "mattes/lid/0001.png": b"\x89PNG"}


def state(folder: Path) -> dict[str, object]:
    """Everything in a folder: what each file holds, where each link points."""
    found: dict[str, object] = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        found[name] = str(path.readlink()) if path.is_symlink() else path.read_bytes() if path.is_file() else None
    return found


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "tracks.json").write_text("old tracks")
    (folder / "kept.txt").write_text("kept")
    return folder


def test_everything_is_written(folder):
    write_all(folder, NEW)
    assert state(folder) == {
        "kept.txt": b"kept",
        "mattes": None,
        "mattes/lid": None,
        "mattes/lid/0001.png": b"\x89PNG",
        "report.json": b"new report",
        "tracks.json": "new tracks é".encode(),
    }


def test_the_folder_is_made(tmp_path):
    write_all(tmp_path / "a" / "b", {"x": "y"})
    assert state(tmp_path) == {"a": None, "a/b": None, "a/b/x": b"y"}


@pytest.mark.parametrize("failing", [1, 2, 3])
@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()])
def test_a_move_that_fails_leaves_the_folder_as_it_was(folder, monkeypatch, failing, error):
    before, calls, move = state(folder), [], os.replace

    def fail_once(source, target):
        calls.append(target)
        if len(calls) == failing:
            raise error
        move(source, target)

    monkeypatch.setattr(os, "replace", fail_once)
    with pytest.raises(ChoreoError if isinstance(error, OSError) else KeyboardInterrupt) as caught:
        write_all(folder, NEW)
    assert len(calls) >= failing
    assert state(folder) == before
    if isinstance(error, OSError):
        assert caught.value.exit_code == 2
        assert "No space left on device" in str(caught.value)


@pytest.mark.parametrize("failing", [1, 2, 3])
def test_a_write_that_fails_leaves_the_folder_as_it_was(folder, monkeypatch, failing):
    before, calls = state(folder), []

    def full(_descriptor):
        calls.append(1)
        if len(calls) == failing:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ChoreoError):
        write_all(folder, NEW)
    assert state(folder) == before


def test_a_failure_in_a_new_folder_leaves_no_folder(tmp_path, monkeypatch):
    def fail(_source, _target):
        raise OSError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(ChoreoError):
        write_all(tmp_path / "a" / "b", NEW)
    assert state(tmp_path) == {}


def test_without_hard_links_the_old_file_comes_back_all_the_same(folder, monkeypatch):
    before, calls, move = state(folder), [], os.replace

    def no_links(*_args, **_kwargs):
        raise OSError(errno.EPERM, "Operation not permitted")

    def fail_second(source, target):
        calls.append(target)
        if len(calls) == 2:
            raise OSError(errno.EIO, "Input/output error")
        move(source, target)

    monkeypatch.setattr(os, "link", no_links)
    monkeypatch.setattr(os, "replace", fail_second)
    with pytest.raises(ChoreoError):
        write_all(folder, NEW)
    assert state(folder) == before


@pytest.mark.parametrize("name", ["../x", "/etc/x", "a/../../x", "a/../x", "", ".", "a\\b", "a\0b"])
def test_names_that_lead_out_are_refused(folder, name):
    before = state(folder.parent)
    with pytest.raises(ChoreoError) as error:
        write_all(folder, {"report.json": "new", name: "x"})
    assert error.value.exit_code == 2
    assert error.value.findings[0].code == "output-refused"
    assert state(folder.parent) == before


@pytest.mark.parametrize("to_folder", [True, False])
def test_a_link_that_leaves_the_folder_is_refused(folder, tmp_path, to_folder):
    outside = tmp_path / "elsewhere"
    outside.mkdir()
    (outside / "victim").write_text("safe")
    link = folder / ("mattes" if to_folder else "report.json")
    link.symlink_to(outside if to_folder else outside / "victim")
    before = state(tmp_path)
    with pytest.raises(ChoreoError) as error:
        write_all(folder, NEW)
    assert "leads out of the folder" in str(error.value)
    assert state(tmp_path) == before


def test_rings_of_links_are_no_traceback(folder):
    (folder / "mattes").symlink_to("mattes")
    before = state(folder)
    with pytest.raises(ChoreoError):
        write_all(folder, NEW)
    assert state(folder) == before


def test_the_folder_itself_may_be_a_link(folder, tmp_path):
    (tmp_path / "link").symlink_to(folder)
    write_all(tmp_path / "link", {"tracks.json": "new"})
    assert (folder / "tracks.json").read_text() == "new"


@pytest.mark.parametrize("name", ["mattes/lid/0001.png", "tracks.json"])
def test_a_folder_in_the_way_is_named(folder, name):
    (folder / "tracks.json").unlink()
    (folder / name).mkdir(parents=True)
    before = state(folder)
    with pytest.raises(ChoreoError) as error:
        write_all(folder, NEW)
    assert Path(name).name in str(error.value)
    assert state(folder) == before


def test_a_file_where_a_folder_is_needed(folder):
    (folder / "mattes").write_text("in the way")
    before = state(folder)
    with pytest.raises(ChoreoError):
        write_all(folder, NEW)
    assert state(folder) == before


def test_a_file_where_the_output_folder_should_be(folder):
    with pytest.raises(ChoreoError):
        write_all(folder / "kept.txt", NEW)
    assert (folder / "kept.txt").read_text() == "kept"


def test_a_name_that_is_too_long(folder):
    before = state(folder)
    with pytest.raises(ChoreoError):
        write_all(folder, {"report.json": "x", "n" * 300: "x"})
    assert state(folder) == before
