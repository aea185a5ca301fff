"""What a frame's picture hangs on, as one short key: the frame is stale exactly where its key has changed.

Into the key goes what the frame is made of (`choreo.review.frame_content` says what that is), so a change of one part's
timing makes only those frames stale on which that part stands elsewhere. The names of its parts go into it, since files
are called by them; the code that draws, and the libraries that it draws with.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.frames.plates import Digests, ShotPlates, file_of
from choreo.model.assembly import Assembly, Hero, Plate
from choreo.model.tracks import ShotTracks, Tracks
from choreo.review.frame_content import FrameContents, Shown, order_on, packed

if TYPE_CHECKING:
    from choreo.frames.scene import Scene

_DRAWS = ("picture/render", "geometry", "motion", "model", "read", "frames")
"""Folders of code that a picture may hang on, with the folders in them."""
_FILES = (*_DRAWS, "write")
"""Folders of code that a file with a picture may hang on, with the folders in them."""
_LIBRARIES = ("numpy", "shapely", "opencv-python-headless", "numba", "imagecodecs", "tifffile", "OpenEXR")
_SHORT = 12


class FrameKeys:
    """Keys of frames of a scene.

    Parameters
    ----------
    scene : Scene
    purpose : str
        What is drawn and how, beyond the scene: whatever else the files hang on.

    """

    def __init__(self, scene: Scene, purpose: str) -> None:
        self._contents = contents_of(scene.assembly, scene.folder, scene.tracks, scene.plates, moving=scene.shutter > 0)
        self._film = packed(_code(_FILES), purpose, scene.size, scene.shutter)

    def key(self, shot: ShotTracks, frame: int) -> str:
        """Return the key of a frame of a shot, 64 hexadecimal digits."""
        named = order_on(shot.masking.orders, frame)
        said = packed(self._film, self._contents.digest(shot, frame), named)
        return hashlib.sha256(said).hexdigest()


def contents_of(
    assembly: Assembly, folder: Path, tracks: Tracks, plates: Mapping[str, ShotPlates], *, moving: bool = True
) -> FrameContents:
    """Return what the frames of a film are made of.

    Parameters
    ----------
    assembly, folder, tracks, plates
        As in `Scene`.
    moving : bool
        Whether the shutter is open for some time.

    """
    digests = Digests(folder)

    def picture(plate: Plate | Hero, number: float | None) -> str:
        return digests(plate.file if isinstance(plate, Hero) else file_of(plate, number))

    shown = {name: Shown(one.plates, one.hero) for name, one in plates.items()}
    return FrameContents(assembly, tracks.resolution, shown, picture, moving=moving)


def drawing_version() -> str:
    """Return twelve digits that tell apart the states of the code that draws pictures, and of what it draws with.

    Processors are not in it: numbers are rounded alike on most, but nobody vouches for all.
    """
    return hashlib.sha256(_code(_DRAWS).encode()).hexdigest()[:_SHORT]


@cache
def _code(folders: tuple[str, ...]) -> str:
    """The digest of the code in some folders, and the versions of what it draws with."""
    digest = hashlib.sha256()
    root = Path(__file__).resolve().parents[1]
    for folder in folders:
        for file in sorted((root / folder).rglob("*.py")):
            digest.update(packed(file.relative_to(root).as_posix(), file.read_bytes()))
    return f"{digest.hexdigest()} {','.join(map(_library, _LIBRARIES))}"


def _library(name: str) -> str:
    try:
        return f"{name} {version(name)}"
    except PackageNotFoundError:
        return f"{name} is not here"
