"""assembly.json to an `Assembly`: what the schema cannot say is checked here, then the model is built."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from choreo.errors import ChoreoError, Finding
from choreo.model.assembly import Assembly, Joint, Part, Slab
from choreo.read.depths import Placed, note_contradictions, placed, read_depth
from choreo.read.digests import digest_with
from choreo.read.drawn import Drawn, read_drawn
from choreo.read.names import entries, note_repeats, note_unknown
from choreo.read.notes import Notes, clipped
from choreo.read.outlines import read_sections
from choreo.read.parse import parse
from choreo.read.place import Place
from choreo.read.plates import build_hero, build_plate, check_hero, check_plates
from choreo.read.schema import check_schema
from choreo.read.source import read_source
from choreo.read.values import note_zero, unit, vector

COLOURS = ("#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00", "#cc79a7", "#999999")
"""Told apart by all common kinds of colour vision: Okabe and Ito, "Color Universal Design" (2008); their black
is a grey here, for outlines are black."""


@dataclass(frozen=True)
class AssemblyRead:
    """What came of reading an assembly, good or not."""

    digest: str = ""
    """Of the file, and of those that its outlines come from."""
    assembly: Assembly | None = None
    """None where there are errors."""
    ids: tuple[str, ...] | None = None
    """Part ids where all of them could be read, for checks of other files."""
    findings: tuple[Finding, ...] = ()
    outline_files: tuple[str, ...] = ()
    """Files that its outlines come from, named from its folder."""
    digests: tuple[str, Mapping[str, str]] = ("", {})
    """Of the file itself, and of those that its outlines come from, by name."""


@dataclass
class _Reader:
    """One file while it is read: its value, its notes, and what was made of its parts so far."""

    value: dict[str, Any]
    notes: Notes
    folder: Path
    slabs: dict[tuple[int, int], tuple[Slab, ...]] = field(default_factory=dict)
    deep: list[Placed] = field(default_factory=list)

    def number(self, key: str, otherwise: float) -> float:
        """Return a number from the top of the file, or `otherwise` where it is not given or not usable."""
        return float(self.value[key]) if key in self.value and self.notes.sound(key) else otherwise


def inspect_assembly(path: Path) -> AssemblyRead:
    """Read an assembly without raising; `path` is the JSON file."""
    try:
        source = read_source(path, "json")
        value, notes = parse(source)
    except ChoreoError as error:
        return AssemblyRead(findings=error.findings)
    check_schema("assembly", value, notes)
    ids: tuple[str, ...] | None = None
    assembly = None
    others: Mapping[str, str] = {}
    if isinstance(value, dict):
        reader = _Reader(value, notes, path.parent)
        ids = _check_ids(reader)
        drawn = _check_slabs(reader)
        others = drawn.digests
        _check_order(reader, ids)
        _check_joints(reader, ids)
        check_plates(notes, entries(value, "plates"), ids, path.parent)
        check_hero(notes, value, path.parent)
        assembly = None if notes.failed else _build(reader)
    digest, own = digest_with(path.name, source.digest, others), (source.digest, others)
    return AssemblyRead(digest, assembly, ids, notes.findings(), tuple(sorted(others)), own)


def _check_ids(reader: _Reader) -> tuple[str, ...] | None:
    """Note repeated ids; return all of them, or None where some cannot be read."""
    parts = entries(reader.value, "parts")
    named = [
        (("parts", index, "id"), part["id"])
        for index, part in enumerate(parts)
        if isinstance(part, dict) and "id" in part and reader.notes.sound("parts", index, "id")
    ]
    note_repeats(reader.notes, "repeated-part", "part", named)
    return tuple(name for _, name in named) if parts and len(named) == len(parts) else None


def _check_slabs(reader: _Reader) -> Drawn:
    """Note what is wrong with sections and depths, keep the good slabs, and return what came from other files."""
    touch_mm, layer_mm = reader.number("touch_mm", 0.05), reader.number("layer_mm", 4.0)
    slabs = [
        (("parts", index, "slabs", row), slab)
        for index, part in enumerate(entries(reader.value, "parts"))
        for row, slab in enumerate(entries(part, "slabs"))
        if isinstance(slab, dict) and reader.notes.sound("parts", index, "slabs", row)
    ]
    ranks = {name: rank for rank, name in enumerate(entries(reader.value, "occlusion_order")) if isinstance(name, str)}
    drawn = read_drawn(reader.notes, slabs, reader.folder)
    for (place, slab), sections in zip(slabs, read_sections(reader.notes, slabs, touch_mm, drawn.pieces), strict=True):
        part = reader.value["parts"][place[1]]
        name = part.get("id")
        rank = ranks.get(name) if isinstance(name, str) else None
        depth = read_depth(reader.notes, place, slab, rank, layer_mm, touch_mm)
        if not sections or depth is None:
            continue
        # Islands of one drawing become slabs of one depth: the solid is the union of all slabs anyway.
        reader.slabs[place[1], place[3]] = tuple(Slab(own.outline, own.holes, depth) for own in sections)
        has_depth = "z" in slab or "layer" in slab
        if ranks and has_depth and isinstance(name, str) and reader.notes.sound("parts", place[1], "offset"):
            offset = vector(part.get("offset", [0, 0, 0]))
            reader.deep += [placed(name, offset, own.shrunk, depth) for own in sections]
    return drawn


def _check_order(reader: _Reader, ids: tuple[str, ...] | None) -> None:
    notes = reader.notes
    if "occlusion_order" not in reader.value or not notes.sound("occlusion_order"):
        return
    order = reader.value["occlusion_order"]
    for index, name in enumerate(order):
        if ids is not None:
            note_unknown(notes, ("occlusion_order", index), name, ids)
        if name in order[:index]:
            what = f"`{clipped(name)}` stands in occlusion_order twice."
            notes.add("repeated-in-order", ("occlusion_order", index), what, remedy="Keep the place that is meant.")
    if reader.deep and notes.sound("occlusion_order"):
        note_contradictions(notes, order, reader.deep)


def _check_joints(reader: _Reader, ids: tuple[str, ...] | None) -> None:
    notes = reader.notes
    for index, joint in enumerate(entries(reader.value, "joints")):
        place: Place = ("joints", index)
        if not notes.sound(*place):
            continue
        for key in ("part", "into"):
            if ids is not None:
                note_unknown(notes, (*place, key), joint[key], ids)
        if joint["part"] == joint["into"]:
            what = f"This joint joins `{clipped(joint['part'])}` to itself."
            notes.add("joint-with-itself", (*place, "into"), what, remedy="Name the part that it comes out of.")
        note_zero(notes, (*place, "axis"), joint["axis"])
        _check_fit(notes, place, joint)


def _check_fit(notes: Notes, place: Place, joint: dict[str, Any]) -> None:
    if "fit" in joint and "press_mm" not in joint:
        why = "Without it nobody knows how much overlap is meant."
        notes.add("press-without-size", place, "A press fit needs `press_mm`.", why, 'Add e.g. "press_mm": 0.2.')
    if "press_mm" in joint and "fit" not in joint:
        what = "`press_mm` is given, but the joint is not a press fit."
        notes.add("size-without-press", (*place, "press_mm"), what, remedy='Add "fit": "press", or drop `press_mm`.')


def _build(reader: _Reader) -> Assembly:
    """Return the model of a file without errors."""
    value = reader.value
    return Assembly(
        name=value["name"],
        touch_mm=reader.number("touch_mm", 0.05),
        parts=tuple(_part(reader, index, part) for index, part in enumerate(value["parts"])),
        joints=tuple(_joint(joint) for joint in value.get("joints", ())),
        plates=tuple(build_plate(plate, reader.folder) for plate in value.get("plates", ())),
        hero=build_hero(value["hero"]) if "hero" in value else None,
    )


def _part(reader: _Reader, index: int, part: dict[str, Any]) -> Part:
    return Part(
        id=part["id"],
        label=part.get("label", part["id"]),
        colour=part.get("colour", COLOURS[index % len(COLOURS)]).lower(),
        offset=vector(part.get("offset", [0, 0, 0])),
        slabs=tuple(slab for row in range(len(part["slabs"])) for slab in reader.slabs[index, row]),
        stand_in=part.get("stand_in"),
    )


def _joint(joint: Mapping[str, Any]) -> Joint:
    press_mm = float(joint.get("press_mm", 0.0))
    return Joint(joint["kind"], joint["part"], joint["into"], unit(joint["axis"]), press_mm)
