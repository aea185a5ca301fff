"""Ctrl-C, once and impatiently: a run ends soon, says what is there, and leaves whole files and no process behind.

`timeout` and some terminals send the signal to a process and then to its group, so that it comes twice within a
millisecond; people press the keys again while nothing seems to happen.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from photographed_project import write_project
from PIL import Image

HERE = Path(__file__).parent
SOON_S = 20.0
"""Far more than an end takes, far less than for ever; other work may hold the machine up."""

RUN = """
import signal, sys, time
from dataclasses import dataclass
from pathlib import Path
sys.path.insert(0, {tests!r})
from test_frames_kept import DRAW, jobs, scene
from choreo.frames import jobs as frame_jobs
from choreo.frames.interrupts import Interrupted
from choreo.frames.jobs import Hearing, make

@dataclass(frozen=True)
class Slow:
    def __call__(self, renderer, shot, frame):
        time.sleep(0.03)
        return DRAW(renderer, shot, frame)

def moved(done, *_):
    print(done, flush=True)

if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background job would not hear it
    frame_jobs._WORTH_S = 0.0
    frame_jobs._TASK_S = 0.1
    view = scene(Path({project!r}), size="quarter", shutter=0.0)
    try:
        make(view, jobs(view), Slow(), Path({out!r}), processes=2,
             hearing=Hearing(lambda _: print("begins", flush=True), moved))
    except Interrupted as stop:
        print("stopped:", stop, flush=True)
        sys.exit(130)
"""


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    return write_project(tmp_path_factory.mktemp("project"), resolution=(320, 200), px_per_mm=5)


def gone(group):
    for _ in range(100):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.05)
    return False


@pytest.mark.parametrize(
    ("line", "after", "gaps"),
    [
        ("1", 0.0, (0.001,)),
        ("begins", 0.0, (0.0, 0.01)),
        ("begins", 0.4, (0.003,)),
        ("4", 0.0, (0.0,)),
        ("5", 0.02, (0.002, 0.05, 0.2)),
        ("9", 0.0, (0.02, 0.02, 0.02)),
    ],
)
def test_a_run_that_is_stopped_twice_ends_once(project, tmp_path, line, after, gaps):
    out, script = tmp_path / "out", tmp_path / "run.py"
    script.write_text(RUN.format(tests=str(HERE), project=str(project), out=str(out)))
    path = os.pathsep.join([str(HERE.parents[1]), str(HERE.parent)])
    run = subprocess.Popen(
        [sys.executable, script], env={**os.environ, "PYTHONPATH": path}, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True,
    )  # fmt: skip
    try:
        for heard in run.stdout:
            if heard.strip() == line:
                break
        time.sleep(after)
        run.send_signal(signal.SIGINT)
        for gap in gaps:
            time.sleep(gap)
            if run.poll() is None:
                os.killpg(run.pid, signal.SIGINT)
        said, complaints = run.communicate(timeout=SOON_S)
    finally:
        if run.poll() is None:
            os.killpg(run.pid, signal.SIGKILL)
            run.communicate()
    assert (run.returncode, complaints) == (130, ""), said
    done = int(re.search(r"stopped; (\d+) of 20 frames are there, whole", said)[1])
    files = list((out / "frames").iterdir())
    assert 0 <= len(files) - done <= 1  # one may be written and not yet noted
    assert (done >= int(line)) if line.isdecimal() else True
    for file in files:
        assert not file.name.startswith(".")
        Image.open(file).load()
    assert gone(run.pid), "a process of its group is left"
