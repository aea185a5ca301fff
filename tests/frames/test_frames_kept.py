"""Frames on disk: drawn once, drawn again exactly where something about them has changed, whole after an interruption.

What must be stale is told by drawing both states, not by looking at keys.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from photographed_project import write_project
from PIL import Image

from choreo.cli import _say_findings
from choreo.errors import ChoreoError
from choreo.frames import jobs as frame_jobs
from choreo.frames import keys as frame_keys
from choreo.frames.drawing import WholeFrame
from choreo.frames.film import film_of
from choreo.frames.jobs import Hearing, jobs_of, make
from choreo.frames.keys import FrameKeys
from choreo.frames.scene import scene_of
from choreo.frames.store import INDEX_FILE
from choreo.model.plan import Region
from choreo.model.tracks import Holdout
from choreo.read.project import read_project

DRAW = WholeFrame("frames/f.{:04d}.png", "#e9e6df")


def scene(folder, **look):
    return scene_of(film_of(read_project(folder), lambda *_: None), **look)


def frames_of(view):
    return [(shot.name, frame) for shot in view.tracks.shots for frame in range(shot.frames)]


def jobs(view, frames=None):
    return jobs_of(view, frames or frames_of(view), lambda shot, frame: [DRAW.name(view.shot(shot), frame)], repr(DRAW))


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    return write_project(tmp_path_factory.mktemp("project"), resolution=(320, 200), px_per_mm=5)


def keys(view):
    told = FrameKeys(view, "")
    return [told.key(view.shot(shot), frame) for shot, frame in frames_of(view)]


def pictures(view):
    return [view.renderer(shot).frame(view.shot(shot), frame).tobytes() for shot, frame in frames_of(view)]


def edited(project, tmp_path, old, new, file="choreography.toml"):
    folder = tmp_path / "edited"
    folder.mkdir()
    for name in ("assembly.json", "choreography.toml"):
        text = (project / name).read_text()
        if name == file:
            assert re.search(old, text)
            text = re.sub(old, new, text, count=1)
        (folder / name).write_text(text)
    (folder / "plates").symlink_to(project / "plates")
    for name in (project / "plates").iterdir():
        assert name.is_file()
    return folder


@pytest.mark.parametrize("shutter", [0.0, 180.0])
@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("choreography.toml", "move = 8", "move = 7"),
        ("choreography.toml", "stagger = 2", "stagger = 3"),
        ("choreography.toml", "\\[shot.handoff\\]\n  frames = 4", "[shot.handoff]\n  frames = 3"),
        ("assembly.json", '"pivot_px": \\[', '"pivot_px": [1'),
        ("assembly.json", '"label": "', '"label": "Other '),
    ],
)
def test_a_frame_is_stale_where_its_picture_differs(project, tmp_path, file, old, new, shutter):
    folder = edited(project, tmp_path, old, new, file)
    (folder / "plates").unlink()
    shutil.copytree(project / "plates", folder / "plates")
    one, two = scene(project, shutter=shutter, size="half"), scene(folder, shutter=shutter, size="half")
    stale = [a != b for a, b in zip(keys(one), keys(two), strict=True)]
    differs = [a != b for a, b in zip(pictures(one), pictures(two), strict=True)]
    assert all(s >= d for s, d in zip(stale, differs, strict=True)), "a frame that differs passes for current"
    # The other way round a key may know more than a pixel shows; for these edits it must not know much more.
    assert sum(stale) <= sum(differs) + 4
    assert not all(stale) or file == "assembly.json"
    if "label" in old:
        assert not any(stale)


def track_with(**changes):
    """A change of the part that travels the longest way."""

    def change(shot):
        far = max(shot.parts, key=lambda track: np.abs(track.position).max())
        new = {name: make(getattr(far, name)) for name, make in changes.items()}
        return replace(shot, parts=tuple(replace(track, **new) if track is far else track for track in shot.parts))

    return change


def held(shot, right=220.0):
    region = (Region(((100.0, 60.0), (right, 60.0), (right, 140.0), (100.0, 140.0)), ()),)
    order = shot.masking.orders[0].back_to_front
    hold = Holdout(order[0], 4, 9, region, (order[-1],))
    return replace(shot, masking=replace(shot.masking, holdouts=(hold,)))


def turned_around(shot):
    spans = tuple(replace(span, back_to_front=span.back_to_front[::-1]) for span in shot.masking.orders)
    return replace(shot, masking=replace(shot.masking, orders=spans))


CHANGES = {
    "camera on one frame": lambda shot: replace(
        shot, cameras=shot.cameras + (np.arange(shot.frames) == 6)[:, None, None] * np.eye(3, 4, 3) * 2.0
    ),
    "way between frames": track_with(route=lambda route: route * 1.3),
    "places on frames": track_with(position=lambda rows: rows + np.array([0.7, 0, 0])),
    "opacity": track_with(opacity=lambda values: values * 0.8),
    "register": track_with(register=lambda _: np.tile([3.0, 1.0, 1.0, 2.0], (20, 1))),
    "holdout": held,
    "order": turned_around,
    "hero": lambda shot: replace(shot, hero_opacity=np.linspace(0, 1, shot.frames)),
    "taken over": lambda shot: replace(shot, hero_parts={"dial": np.linspace(-0.5, 1, shot.frames).clip(0)}),
}


@pytest.mark.parametrize("shutter", [0.0, 180.0])
@pytest.mark.parametrize("change", CHANGES)
def test_whatever_tracks_say_that_shows_is_in_the_key(project, change, shutter):
    one = scene(project, shutter=shutter, size="half")
    shots = tuple(CHANGES[change](shot) for shot in one.tracks.shots)
    two = replace(one, tracks=replace(one.tracks, shots=shots), _renderers={})
    stale = [a != b for a, b in zip(keys(one), keys(two), strict=True)]
    differs = [a != b for a, b in zip(pictures(one), pictures(two), strict=True)]
    assert all(s >= d for s, d in zip(stale, differs, strict=True)), "a frame that differs passes for current"
    assert any(differs) or (change == "way between frames" and shutter == 0)


def test_who_shows_on_the_last_frame_is_in_the_key_of_those_on_which_parts_are_taken_over(project):
    base = scene(project, shutter=0.0)
    rows = {"dial": np.r_[np.zeros(8), np.linspace(0.25, 1, 12)]}
    views = []
    for away in (0.0, 30.0):
        (shot,) = base.tracks.shots
        parts = tuple(
            replace(one, position=one.position + away * (np.arange(20) == 19)[:, None]) if one.id == "cap" else one
            for one in shot.parts
        )
        shots = (replace(shot, hero_opacity=np.zeros(20), hero_parts=rows, parts=parts),)
        views.append(replace(base, tracks=replace(base.tracks, shots=shots), _renderers={}))
    assert [a != b for a, b in zip(*map(keys, views), strict=True)] == [frame >= 8 for frame in range(20)]


def test_another_region_of_a_holdout_is_another_picture(project):
    base = scene(project, shutter=0.0)
    views = []
    for right in (220.0, 200.0):
        shots = tuple(held(shot, right) for shot in base.tracks.shots)
        views.append(replace(base, tracks=replace(base.tracks, shots=shots), _renderers={}))
    stale = [a != b for a, b in zip(*map(keys, views), strict=True)]
    assert stale == [4 <= frame <= 9 for frame in range(20)]


def test_another_photograph_is_another_picture(project, tmp_path):
    folder = edited(project, tmp_path, "move = 8", "move = 8")
    (folder / "plates").unlink()
    shutil.copytree(project / "plates", folder / "plates")
    picture = np.asarray(Image.open(folder / "plates" / "cap.png")).copy()
    picture[..., 0] //= 2
    Image.fromarray(picture).save(folder / "plates" / "cap.png")
    one, two = scene(project, shutter=0.0), scene(folder, shutter=0.0)
    assert all(a != b for a, b in zip(keys(one), keys(two), strict=True))


def test_what_the_picture_is_of_goes_into_the_key(project):
    view = scene(project)
    base = keys(view)
    assert base != keys(scene(project, shutter=90.0))
    assert base != keys(scene(project, size="half"))
    assert FrameKeys(view, "a").key(view.tracks.shots[0], 0) != FrameKeys(view, "b").key(view.tracks.shots[0], 0)
    assert base == keys(scene(project))


def test_code_in_a_folder_of_a_folder_is_in_the_key(tmp_path, monkeypatch):
    monkeypatch.setattr(frame_keys, "__file__", str(tmp_path / "frames" / "keys.py"))

    def written(path, text="AREA = 1"):
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_text(text)
        frame_keys._code.cache_clear()
        return frame_keys.drawing_version()

    try:
        written("geometry/plane/unions.py")
        states = [written("geometry/plane/unions.py", "AREA = 2"), written("geometry/solids/unions.py")]
        assert written("passes/layout.py") == states[-1]  # decides, draws nothing
        assert len({*states, written("geometry/plane/unions.py")}) == 3
        (tmp_path / "geometry/solids/unions.py").rename(tmp_path / "geometry/plane/unions.py")
        assert written("passes/layout.py") not in states
    finally:
        frame_keys._code.cache_clear()


def test_frames_are_drawn_once_and_again_when_they_are_not_as_they_were(project, tmp_path):
    view = scene(project, shutter=0.0)
    all_jobs = jobs(view)
    forecasts = []
    made = make(view, all_jobs, DRAW, tmp_path, hearing=Hearing(forecasts.append), processes=1)
    assert (made.drawn, made.kept) == (len(all_jobs), 0)
    files = [tmp_path / job.files[0] for job in all_jobs]
    size = sum(file.stat().st_size for file in files)
    assert forecasts[0].bytes == pytest.approx(size, rel=0.3)
    before = {file: file.read_bytes() for file in files}

    files[3].write_bytes(before[files[3]][:-1])  # cut short
    changed = bytearray(before[files[5]])
    changed[-20] ^= 1
    files[5].write_bytes(changed)  # as long as before
    files[7].unlink()
    made = make(view, all_jobs, DRAW, tmp_path, processes=1)
    assert (made.drawn, made.kept) == (3, len(all_jobs) - 3)
    assert {file: file.read_bytes() for file in files} == before
    assert make(view, all_jobs, DRAW, tmp_path, processes=1).drawn == 0
    assert sorted(path.name for path in (tmp_path / "frames").iterdir()) == sorted(file.name for file in files)

    # A film that has become shorter takes its last frames away; what somebody else has changed or added stays.
    (tmp_path / "frames" / "f.9999.png").write_bytes(b"not ours")
    files[-1].write_bytes(b"changed by hand")
    names = {job.files[0] for job in all_jobs[:-2]}
    made = make(view, all_jobs[:-2], DRAW, tmp_path, film=names, processes=1)
    assert made.removed == (all_jobs[-2].files[0],)
    assert files[-1].read_bytes() == b"changed by hand"
    assert (tmp_path / "frames" / "f.9999.png").exists()


def test_what_a_killed_run_left_half_written_is_cleared_away(project, tmp_path):
    view = scene(project, shutter=0.0)
    frames = tmp_path / "frames"
    frames.mkdir()
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    half = frames / f".choreo-{gone.pid}-f.0000.png"
    others = [frames / f".choreo-{os.getpid()}-f.0001.png", frames / ".choreo-notes", frames / "mine.txt"]
    for path in (half, *others):
        path.write_bytes(b"half")
    make(view, jobs(view)[:1], DRAW, tmp_path, processes=1)
    assert not half.exists()
    assert all(path.exists() for path in others)


def test_two_processes_give_the_same_files(project, tmp_path, monkeypatch):
    monkeypatch.setattr(frame_jobs, "_WORTH_S", 0.0)
    monkeypatch.setattr(frame_jobs, "_TASK_S", 0.05)
    view = scene(project, shutter=90.0)
    one, two = tmp_path / "one", tmp_path / "two"
    make(view, jobs(view), DRAW, one, processes=1)
    heard = []
    made = make(view, jobs(view), DRAW, two, hearing=Hearing(moves=lambda *a: heard.append(a)), processes=2)
    assert made.drawn == len(jobs(view))
    assert heard[-1][:2] == (made.drawn, made.drawn)
    for job in jobs(view):
        assert (one / job.files[0]).read_bytes() == (two / job.files[0]).read_bytes()
    assert (one / INDEX_FILE).read_bytes() == (two / INDEX_FILE).read_bytes()


def test_a_frame_over_a_colour_is_the_frame_with_alpha_over_it(project):
    # sRGB decoded and encoded as IEC 61966-2-1 says, in float64; at most one code of 8 bits.
    view = scene(project)
    shot = view.tracks.shots[0]
    light = view.renderer(shot.name).frame(shot, 6, 32).astype(np.float64)
    back = np.array([0xE9, 0xE6, 0xDF]) / 255
    over = light[..., :3] + (1 - light[..., 3:]) * ((back + 0.055) / 1.055) ** 2.4
    expected = np.where(over <= 0.0031308, 12.92 * over, 1.055 * np.maximum(over, 0) ** (1 / 2.4) - 0.055) * 255
    found = view.renderer(shot.name).on_colour(shot, 6, "#e9e6df")
    assert np.abs(found - expected).max() <= 0.51 + 1e-6
    assert light[..., 3].max() > 0.99
    assert light[..., 3].min() == 0


def test_no_room_on_the_disk_is_said_before_anything_is_written(project, tmp_path, monkeypatch):
    view = scene(project, shutter=0.0)
    monkeypatch.setattr(frame_jobs.shutil, "disk_usage", lambda _: type("Usage", (), {"free": 70_000_000})())
    make(view, jobs(view), DRAW, tmp_path / "fits", processes=1)
    monkeypatch.setattr(frame_jobs.shutil, "disk_usage", lambda _: type("Usage", (), {"free": 64_100_000})())
    with pytest.raises(ChoreoError) as error:
        make(view, jobs(view), DRAW, tmp_path / "full", processes=1)
    assert error.value.exit_code == 1
    assert error.value.findings[0].code == "disk-full"
    assert "on this disk, which has 64 MB left." in error.value.findings[0].what
    assert "67 MB are to stay free" in error.value.findings[0].why
    assert not [path for path in (tmp_path / "full").rglob("*") if path.is_file()]
    assert not hasattr(error.value, "__notes__")


def test_each_frame_is_written_before_the_next_is_drawn(project, tmp_path):
    view = scene(project, shutter=0.0)
    there = []

    def draw(renderer, shot, frame):
        there.append(len(list((tmp_path / "frames").iterdir())))
        return DRAW(renderer, shot, frame)

    make(view, jobs(view), draw, tmp_path, processes=1)
    assert there == list(range(len(jobs(view))))


def test_a_disk_that_fills_up_is_found_out_by_the_first_frames(project, tmp_path, monkeypatch):
    view = scene(project, shutter=0.0)
    free = iter([70_000_000, 60_000_000])
    monkeypatch.setattr(frame_jobs.shutil, "disk_usage", lambda _: type("Usage", (), {"free": next(free)})())
    with pytest.raises(ChoreoError) as error:
        make(view, jobs(view), DRAW, tmp_path, processes=1)
    assert error.value.__notes__ == ["1 of 20 frames are there, whole; the next run goes on from them"]
    assert [path.name for path in (tmp_path / "frames").iterdir()] == ["f.0000.png"]
    assert make(view, jobs(view)[:1], DRAW, tmp_path, processes=1).kept == 1


@dataclass(frozen=True)
class Killed:
    """Draws, but its process is killed on one frame, as by a system that is short of memory."""

    parent: int

    def __call__(self, renderer, shot, frame):
        if frame == 11 and os.getpid() != self.parent:
            os.kill(os.getpid(), signal.SIGKILL)
        return DRAW(renderer, shot, frame)


def test_a_process_that_is_killed_costs_no_frame_that_is_there(project, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(frame_jobs, "_WORTH_S", 0.0)
    monkeypatch.setattr(frame_jobs, "_TASK_S", 0.05)
    view = scene(project, shutter=0.0)
    with pytest.raises(ChoreoError) as error:
        make(view, jobs(view), Killed(os.getpid()), tmp_path, processes=2)
    assert [finding.code for finding in error.value.findings] == ["process-ended"]
    [left] = error.value.__notes__
    done = int(re.fullmatch(r"(\d+) of 20 frames are there, whole; the next run goes on from them", left)[1])
    files = list((tmp_path / "frames").iterdir())
    assert 3 <= done <= len(files) < 20
    for file in files:
        Image.open(file).load()
    _say_findings(error.value, as_json=False)
    last = capsys.readouterr().err.splitlines()[-1]
    assert last == f"choreo: {left}"
    assert make(view, jobs(view), DRAW, tmp_path, processes=1).kept == done


SLOW = """
import sys, time
from pathlib import Path
sys.path.insert(0, {tests!r})
from test_frames_kept import DRAW, jobs, scene
from choreo.frames import jobs as frame_jobs
from choreo.frames.interrupts import Interrupted
from choreo.frames.jobs import Hearing, make
if __name__ == "__main__":
    frame_jobs._WORTH_S = 0.0
    frame_jobs._TASK_S = 0.001
    view = scene(Path({project!r}))
    try:
        make(view, jobs(view), DRAW, Path({out!r}), processes={processes},
             hearing=Hearing(moves=lambda done, *_: print(done, flush=True)))
    except Interrupted as stop:
        print("stopped:", stop)
        sys.exit(130)
"""


@pytest.mark.parametrize(("processes", "number"), [(1, signal.SIGINT), (2, signal.SIGINT), (2, signal.SIGTERM)])
def test_an_interrupted_run_leaves_whole_frames_and_goes_on(project, tmp_path, processes, number):
    out = tmp_path / "out"
    script = tmp_path / "slow.py"
    here = str(Path(__file__).parent)
    script.write_text(SLOW.format(tests=here, project=str(project), out=str(out), processes=processes))
    path = os.pathsep.join([str(Path(here).parents[1]), str(Path(here).parent)])
    with subprocess.Popen(
        [sys.executable, script], env={**os.environ, "PYTHONPATH": path}, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True,
    ) as run:  # fmt: skip
        for line in run.stdout:
            if line.strip() == "5":
                break
        os.killpg(run.pid, number) if number == signal.SIGINT else run.send_signal(number)
        said, complaints = run.communicate(timeout=60)
    assert run.returncode == 130, (said, complaints)
    assert complaints == ""
    total = len(jobs(scene(project)))
    done = int(re.search(rf"stopped; (\d+) of {total} frames are there, whole", said)[1])
    files = list((out / "frames").iterdir())
    assert 5 <= done < total
    assert len(files) - done in (0, 1)  # Ctrl-C may come between the last move and its note
    for file in files:
        Image.open(file).load()
    view = scene(project)
    made = make(view, jobs(view), DRAW, out, processes=1)
    assert (made.drawn, made.kept) == (total - done, done)
