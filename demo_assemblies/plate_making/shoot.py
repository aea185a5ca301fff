"""One day in a studio that is not there: all plates of a product, its still, and what the assembly must say of them."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from choreo.geometry.cameras.camera import orthographic_camera
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.geometry.cameras.turning import table_rotation
from choreo.geometry.solids.solid import build_solid
from choreo.picture.render.coverage import Window
from choreo.read.project import read_assembly
from plate_making.finish import Coat
from plate_making.picture import Photo, Subject, cropped, photograph, png_bytes


@dataclass(frozen=True)
class Table:
    """A turntable: photograph n of a part shows it turned by ``start + n * per_frame`` degrees about the upright."""

    frames: tuple[int, int]
    start: float
    per_frame: float
    px_per_mm: float
    elevation: float


@dataclass(frozen=True, eq=False)
class Session:
    """What is to be shot, and how."""

    folder: Path
    coats: Mapping[str, Coat]
    view: tuple[float, float]
    px_per_mm: float
    tables: Mapping[str, Table] = field(default_factory=dict)

    @cached_property
    def _subjects(self) -> dict[str, Subject]:
        parts = read_assembly(self.folder / "assembly.json").parts
        return {p.id: Subject(build_solid(p.slabs, p.offset), np.array(p.offset), self.coats[p.id]) for p in parts}

    @cached_property
    def _middle(self) -> np.ndarray:
        boxes = np.stack([one.solid.bounds for one in self._subjects.values()])
        return (boxes[:, 0].min(axis=0) + boxes[:, 1].max(axis=0)) / 2

    @property
    def parts(self) -> tuple[str, ...]:
        return tuple(self._subjects)

    def plate(self, part: str) -> Photo:
        """The part alone, from the view of the still."""
        one = self._subjects[part]
        return photograph([one], one.origin, *self.view, self.px_per_mm, self._middle)

    def hero(self) -> Photo:
        """All parts, assembled: they shade each other."""
        return photograph(list(self._subjects.values()), np.zeros(3), *self.view, self.px_per_mm, self._middle)

    def turned(self, part: str, number: int) -> Photo:
        """One photograph of a turntable; all of a part have one size and one pivot, as a locked-off camera has."""
        table, one = self.tables[part], self._subjects[part]
        turn = _turn(table, number)
        window = self._table_window(part)
        # On the table the part stands in the middle itself.
        return photograph([one], one.origin, 0.0, table.elevation, table.px_per_mm, one.origin, turn, window)

    def entries(self) -> dict[str, Any]:
        """What assembly.json has to say: `plates` and `hero`."""
        plates = [
            {"part": part, "file": f"plates/{part}.png", **self._numbers([part], self.px_per_mm)} for part in self.parts
        ]
        for part, table in self.tables.items():
            window = self._table_window(part)
            plates.append(
                {
                    "part": part,
                    "file": f"plates/{part}_table/####.png",
                    "px_per_mm": _neat(table.px_per_mm),
                    "pivot_px": [-window.x, -window.y],
                    "view": {"azimuth": 0, "elevation": _neat(table.elevation)},
                    "frames": list(table.frames),
                    "turntable": {"axis": [0, 1, 0], "start": _neat(table.start), "per_frame": _neat(table.per_frame)},
                }
            )
        return {"plates": plates, "hero": {"file": "plates/hero.png", **self._numbers(self.parts, self.px_per_mm)}}

    def _numbers(self, parts: Sequence[str], px_per_mm: float) -> dict[str, Any]:
        origin = self._subjects[parts[0]].origin if len(parts) == 1 else np.zeros(3)
        camera = orthographic_camera(*self.view, origin, px_per_mm, (0, 0))
        areas = [silhouettes(self._subjects[part].solid, camera, np.zeros((1, 3)))[0] for part in parts]
        window = cropped(shapely.union_all(areas))
        return {
            "px_per_mm": _neat(px_per_mm),
            "pivot_px": [-window.x, -window.y],
            "view": {"azimuth": _neat(self.view[0]), "elevation": _neat(self.view[1])},
        }

    def _table_window(self, part: str) -> Window:
        table, one = self.tables[part], self._subjects[part]
        areas = []
        for number in range(table.frames[0], table.frames[1] + 1):
            angle = table.start + number * table.per_frame
            camera = orthographic_camera(-angle, table.elevation, one.origin, table.px_per_mm, (0, 0))
            areas.append(silhouettes(one.solid, camera, np.zeros((1, 3)))[0])
        return cropped(shapely.union_all(areas))


def _turn(table: Table, number: int) -> np.ndarray:
    angle = table.start + number * table.per_frame
    return table_rotation((0.0, 1.0, 0.0), np.array([angle]))[0]


def _neat(value: float) -> float | int:
    return int(value) if value == int(value) else value


def pictures(session: Session, parts: Sequence[str]) -> Iterator[tuple[str, bytes]]:
    """Yield file names, from the project's folder, and bytes; of some parts, or of all and the still."""
    for part in parts or session.parts:
        yield f"plates/{part}.png", png_bytes(session.plate(part).codes)
        if part in session.tables:
            first, last = session.tables[part].frames
            for number in range(first, last + 1):
                yield f"plates/{part}_table/{number:04d}.png", png_bytes(session.turned(part, number).codes)
    if not parts:
        yield "plates/hero.png", png_bytes(session.hero().codes)


def run(session: Session, parts: Sequence[str]) -> int:
    """Write the pictures, and say so where the assembly has other numbers for them."""
    unknown = [part for part in parts if part not in session.parts]
    if unknown:
        print(f"No such part: {', '.join(unknown)}.")
        return 2
    for name, content in pictures(session, parts):
        path = session.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        print(f"{len(content):9,d} bytes  {name}")
    data = json.loads((session.folder / "assembly.json").read_text(encoding="utf-8"))
    entries = session.entries()
    if {key: data.get(key) for key in entries} == entries:
        return 0
    print("assembly.json says otherwise of these pictures; it has to hold:")
    lines = ",\n".join(f"    {json.dumps(plate)}" for plate in entries["plates"])
    print(f'  "plates": [\n{lines}\n  ],\n  "hero": {json.dumps(entries["hero"])}')
    return 1
