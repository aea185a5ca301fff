"""Which files a project hangs on, and whether they were saved: by their stamps, looked at often.

Looking is cheap (a project names a few dozen files), needs nothing of the system and works on any disk. A file that
is saved in two steps is waited for: its stamps have to stand still for one more look.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from choreo.model.assembly import Assembly
from choreo.read.choreography import ASSEMBLY_FILE
from choreo.read.paths import is_folder, numbered
from choreo.read.project import CHOREOGRAPHY_FILE, Project
from choreo.read.stamp import Stamp, stamp_of

LOOK_SECONDS = 0.02
"""Between two looks; half of it is lost on average before a save is seen."""
_MOST_FOLLOWED = 20_000


@dataclass
class Follower:
    """Files and the stamps they had when they were looked at last."""

    files: tuple[Path, ...]
    _stamps: dict[Path, Stamp] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Take stamps of what is there now."""
        self._stamps = {file: stamp_of(file) for file in self.files}

    def follow(self, files: Iterable[Path]) -> None:
        """Follow these files from now on; what is known of them already is kept."""
        self.files = tuple(dict.fromkeys(files))[:_MOST_FOLLOWED]
        self._stamps = {file: self._stamps.get(file, stamp_of(file)) for file in self.files}

    def changed(self) -> tuple[Path, ...]:
        """Return the files that changed, came or went since the last look."""
        out = []
        for file in self.files:
            now = stamp_of(file)
            if now != self._stamps[file]:
                self._stamps[file] = now
                out.append(file)
        return tuple(out)

    def wait(self, stopped: Callable[[], bool], seconds: float = LOOK_SECONDS) -> tuple[Path, ...]:
        """Return what was saved, once something was and has come to rest; nothing if stopped before."""
        while not stopped():
            found = self.changed()
            while found:
                time.sleep(seconds / 4)
                more = self.changed()
                if not more:
                    return found
                found = tuple(dict.fromkeys((*found, *more)))
            time.sleep(seconds)
        return ()


def files_at(path: Path) -> tuple[Path, ...]:
    """Return the files to follow where a project cannot be read: its own two, as far as they are known."""
    file = path / CHOREOGRAPHY_FILE if is_folder(path) else path
    return file, file.parent / ASSEMBLY_FILE


def files_of(path: Path, project: Project) -> tuple[Path, ...]:
    """Return every file that a compile of the project reads."""
    own = files_at(path)[0]
    lock = project.choreography.lock
    locked = () if lock is None else (own.parent / lock.tracks_file,)
    drawn = (*project.outline_files, *_pictures(project.assembly))
    assembly = own.parent / project.choreography.assembly_file
    return tuple(dict.fromkeys((own, assembly, *locked, *(project.folder / name for name in drawn))))


def _pictures(assembly: Assembly) -> list[str]:
    """Plates, the frames of sequences, the still."""
    out = [] if assembly.hero is None else [assembly.hero.file]
    for plate in assembly.plates:
        if plate.frames is None:
            out.append(plate.file)
        else:
            first, last = plate.frames
            out.extend(numbered(plate.file, number) for number in range(first, last + 1))
    return out
