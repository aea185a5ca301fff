"""Outlines that stand in other files: traced from a matte, or taken from an SVG drawing."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.errors import ChoreoError
from choreo.geometry.plane.trace import SPECK_PX2, Traced, full_scale, trace_alpha
from choreo.model.plan import Floats
from choreo.read.file_bytes import read_bytes
from choreo.read.images import Image, read_image
from choreo.read.notes import Notes, clipped, spoken
from choreo.read.paths import check_path
from choreo.read.place import Place
from choreo.read.refused import Refused
from choreo.read.svg_file import MOST_BYTES, Drawing, parse_svg
from choreo.read.svg_outlines import FARTHEST_MM, svg_polygons

MOST_PIECES = 200
"""As many as a part may have slabs."""
MOST_HOLES = 1000
MOST_CORNERS = 20_000
"""Of one ring; both as for rings that are written out."""

Point = tuple[float, float]
Pieces = tuple[BaseGeometry, ...]


@dataclass(frozen=True, eq=False)
class Drawn:
    """What the slabs of one assembly take from other files."""

    pieces: Mapping[int, Pieces]
    """Valid polygons, mm, of each slab (by its place in the list) whose outline stands in another file and could
    be read; one for each island."""
    digests: Mapping[str, str]
    """Of each file that was read, by its name in the assembly."""


@dataclass
class _Files:
    """The files of one assembly, each read once."""

    folder: Path
    images: dict[str, Image | ChoreoError] = field(default_factory=dict)
    drawings: dict[str, Drawing | Refused] = field(default_factory=dict)
    traced: dict[tuple[str, float, float], Traced | ChoreoError] = field(default_factory=dict)
    digests: dict[str, str] = field(default_factory=dict)

    def image(self, name: str) -> Image:
        """Return a picture; raises what its first reading raised."""
        if name not in self.images:
            try:
                self.images[name] = read_image(self.folder / name, name)
            except ChoreoError as error:
                self.images[name] = error
        found = self.images[name]
        if isinstance(found, ChoreoError):
            raise found
        self.digests[name] = found.digest
        return found

    def drawing(self, name: str) -> Drawing:
        """Return a drawing; raises what its first reading raised."""
        if name not in self.drawings:
            try:
                data = read_bytes(self.folder / name, MOST_BYTES)
                self.drawings[name] = parse_svg(data)
                self.digests[name] = "sha256:" + hashlib.sha256(data).hexdigest()
            except Refused as refused:
                self.drawings[name] = refused
        found = self.drawings[name]
        if isinstance(found, Refused):
            raise found
        return found

    def trace(self, name: str, threshold: float, simplify_px: float) -> Traced:
        """Return what a matte shows; a matte that two slabs share is traced once."""
        image = self.image(name)
        key = (name, threshold, simplify_px)
        if key not in self.traced:
            try:
                self.traced[key] = trace_alpha(image.alpha, threshold, simplify_px)
            except ChoreoError as error:
                self.traced[key] = error
        found = self.traced[key]
        if isinstance(found, ChoreoError):
            raise found
        return found


def read_drawn(notes: Notes, slabs: Sequence[tuple[Place, dict[str, Any]]], folder: Path) -> Drawn:
    """Return the polygons of all slabs whose outlines stand in other files, or note why there are none.

    Parameters
    ----------
    notes : Notes
        Of the assembly.
    slabs : sequence of (place, slab)
        Slabs that passed their schema; those with rings of points are passed over.
    folder : Path
        The folder of the assembly; files must lie inside it.

    """
    files = _Files(folder)
    pieces: dict[int, Pieces] = {}
    for index, (place, slab) in enumerate(slabs):
        outline = slab["outline"]
        if isinstance(outline, list):
            continue
        if slab.get("holes"):
            what = "This slab has `holes`, but its outline stands in another file."
            why = "Holes come from there too."
            remedy = "Take `holes` out, and leave the holes transparent in the picture or open in the drawing."
            notes.add("holes-beside-drawing", (*place, "holes"), what, why, remedy)
        take = _svg if "svg" in outline else _matte
        found = take(notes, (*place, "outline"), outline, files)
        if found and _usable(notes, (*place, "outline"), found):
            pieces[index] = found
    return Drawn(pieces, files.digests)


def _svg(notes: Notes, place: Place, outline: Mapping[str, Any], files: _Files) -> Pieces:
    """Return the islands of a shape of a drawing, or note why there are none."""
    name, where = outline["svg"], (*place, "svg")
    if check_path(notes, where, name, files.folder) is None:
        return ()
    scale = float(outline["mm_per_unit"]) if "mm_per_unit" in outline else None
    try:
        drawing = files.drawing(name)
    except Refused as refused:
        _note(notes, where, name, refused)
        return ()
    try:
        return tuple(svg_polygons(drawing, outline["id"], scale))
    except Refused as refused:
        _note(notes, (*place, "id"), f"{clipped(name)}, {clipped(outline['id'])}", refused)
        return ()


def _note(notes: Notes, place: Place, called: str, refused: Refused) -> None:
    notes.add(refused.code, place, f"{clipped(called)}: {refused.what}", refused.why, refused.remedy)


def _matte(notes: Notes, place: Place, outline: Mapping[str, Any], files: _Files) -> Pieces:
    """Return the islands of a matte in the part's own plane, or note why there are none."""
    name, where = outline["matte"], (*place, "matte")
    if check_path(notes, where, name, files.folder) is None:
        return ()
    threshold = float(outline.get("threshold", 0.5))
    try:
        traced = files.trace(name, threshold, float(outline.get("simplify_px", 0.5)))
    except ChoreoError as error:
        for finding in error.findings:
            notes.add(finding.code, where, f"{clipped(name)}: {finding.what}", finding.why, finding.remedy)
        return ()
    if not traced.polygons:
        _note_empty(notes, where, name, threshold, traced, files.image(name))
        return ()
    _warn(notes, where, name, threshold, traced, files.image(name))
    x, y = (float(number) for number in outline["pivot_px"])
    scale, turn = float(outline["px_per_mm"]), float(outline.get("turn", 0))
    return tuple(shapely.transform(polygon, lambda px: to_mm(px, scale, (x, y), turn)) for polygon in traced.polygons)


def to_mm(px: Floats, px_per_mm: float, pivot_px: Point, turn: float = 0.0) -> Floats:
    """Return points of a picture, (k, 2) px, y down, in the plane of its part, mm, y up.

    The picture is turned clockwise by so many degrees about its pivot, to lie right.
    """
    away = np.asarray(px - np.array(pivot_px))
    if turn:
        cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        away = away @ np.array([[cos, sin], [-sin, cos]])
    return np.asarray(away * np.array([1.0, -1.0]) / px_per_mm)


def _note_empty(notes: Notes, place: Place, name: str, threshold: float, traced: Traced, image: Image) -> None:
    most = float(image.alpha.max()) / full_scale(image.alpha)
    what = f"{clipped(name)}: Nothing in this matte is as opaque as the threshold, {threshold:g}."
    why = f"Its largest alpha is {most:.3g}."
    if traced.dropped_specks:
        what = f"{clipped(name)}: This matte holds only specks, each smaller than {SPECK_PX2:g} px^2."
        why = f"There are {traced.dropped_specks} of them."
    notes.add("empty-matte", place, what, why, "Check the key, or set a lower `threshold`.")


def _warn(notes: Notes, place: Place, name: str, threshold: float, traced: Traced, image: Image) -> None:
    if float(image.alpha.min()) / full_scale(image.alpha) >= threshold:
        what = f"{clipped(name)}: This matte is opaque everywhere."
        why = "Its outline is the border of the picture, seldom that of a part."
        notes.warn("opaque-matte", place, what, why, "Was it keyed? Save it again with its alpha channel.")
    elif traced.touches_border:
        what = f"{clipped(name)}: What this matte shows runs into the border of the picture."
        why = "The outline follows the border there."
        notes.warn("matte-cut-off", place, what, why, "Leave a transparent margin, or check that no part is cut off.")
    if traced.dropped_specks or traced.dropped_pinholes:
        what = (
            f"{clipped(name)}: Left out of the outline: {traced.dropped_specks} specks and"
            f" {traced.dropped_pinholes} pinholes, each smaller than {SPECK_PX2:g} px^2."
        )
        notes.warn("matte-dust", place, what, remedy="Nothing, unless one of them matters; else mend the key.")


def _usable(notes: Notes, place: Place, pieces: Pieces) -> bool:
    """Note pieces that are too many, too large or too finely cut to go on with."""
    name = spoken(place)
    remedy = "Set a larger `simplify_px` and smooth the key, or simplify the drawing."
    holes = sum(shapely.get_num_interior_rings(piece) for piece in pieces)
    corners = max(int(shapely.get_num_coordinates(shapely.get_rings(piece)).max()) - 1 for piece in pieces)
    if len(pieces) > MOST_PIECES or holes > MOST_HOLES:
        what = f"{name} falls into {len(pieces)} pieces with {holes} holes."
        notes.add("too-ragged", place, what, f"At most {MOST_PIECES} and {MOST_HOLES} are read.", remedy)
    elif corners > MOST_CORNERS:
        what = f"A ring of {name} has {corners} corners."
        notes.add("too-ragged", place, what, f"At most {MOST_CORNERS} are read.", remedy)
    elif not float(np.abs(shapely.total_bounds(list(pieces))).max()) <= FARTHEST_MM:
        what = f"{name} reaches farther than {FARTHEST_MM:g} mm from the part's origin."
        notes.add("out-of-range", place, what, remedy="Check the scale: px a mm of a picture, mm a unit of a drawing.")
    elif not shapely.is_valid(list(pieces)).all():
        what = f"{name} is so small that its corners fall together."
        notes.add("no-area", place, what, remedy="Check the scale: px a mm of a picture, mm a unit of a drawing.")
    else:
        return True
    return False
