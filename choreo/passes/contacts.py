"""Find which parts touch, and where.

In:  solids as placed, joints      Out: ContactGraph

Joints say what the maker knows; geometry says what is so. Both go into one graph: a node a part, an edge where
two parts are joined, touch, or both. Overlap at rest that no press fit declares is reported with its depth,
the shortest way that would pull the two apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import shapely

from choreo.errors import Finding
from choreo.geometry.collision.encounter import Encounters
from choreo.geometry.solids.solid import Band, Solid
from choreo.model.assembly import Assembly, Joint, Vector
from choreo.model.plan import Floats

if TYPE_CHECKING:
    import networkx as nx


_LOOSE_MM = 2.0
"""A joint whose parts rest farther apart than this is likely a slip of the pen (common practice, no source)."""


@dataclass(frozen=True)
class Contact:
    """Two parts within `reach_mm` of each other; `normals` point from `a` to `b`, unit length, no repeats."""

    a: str
    b: str
    normals: tuple[Vector, ...]


@dataclass(frozen=True, eq=False)
class ContactGraph:
    """Which parts are joined, touch, or both; pairs and contacts in file order."""

    parts: tuple[str, ...]
    joints: Mapping[tuple[str, str], tuple[Joint, ...]]
    """Pairs that joints join."""
    contacts: tuple[Contact, ...]

    @cached_property
    def graph(self) -> nx.Graph:
        """The assembly graph; edges carry ``joints`` (tuple of Joint) and ``contact`` (Contact or None)."""
        import networkx as nx  # noqa: PLC0415 - 0.15 s that only those pay who look at the graph

        graph = nx.Graph()
        graph.add_nodes_from(self.parts)
        touching = {(contact.a, contact.b): contact for contact in self.contacts}
        for pair in combinations(self.parts, 2):
            if pair in touching or pair in self.joints:
                graph.add_edge(*pair, joints=self.joints.get(pair, ()), contact=touching.get(pair))
        return graph

    def normals_of(self, part: str) -> tuple[Vector, ...]:
        """Unit directions in which the part would slide straight off one of its contacts, no repeats."""
        out: dict[Vector, None] = {}
        for contact in self.contacts:
            sign = -1.0 if contact.a == part else 1.0 if contact.b == part else 0.0
            for x, y, z in contact.normals if sign else ():
                out[sign * x + 0.0, sign * y + 0.0, sign * z + 0.0] = None
        return tuple(out)


def find_contacts(assembly: Assembly, solids: Mapping[str, Solid], *, reach_mm: float) -> ContactGraph:
    """Join the declared joints with the pairs that geometry finds touching.

    Parameters
    ----------
    assembly : Assembly
        For ids and joints.
    solids : mapping of part id to Solid
        As placed at rest, full size, mm.
    reach_mm : float
        Faces no farther apart than this touch.

    Returns
    -------
    ContactGraph
        Deterministic: file order.

    """
    contacts, joined = [], {}
    for a, b in combinations(assembly.ids, 2):
        normals = _touching_normals(solids[a], solids[b], reach_mm)
        joints = tuple(j for j in assembly.joints if {j.part, j.into} == {a, b})
        if normals:
            contacts.append(Contact(a, b, normals))
        if joints:
            joined[a, b] = joints
    return ContactGraph(assembly.ids, joined, tuple(contacts))


def find_loose_joints(
    contacts: ContactGraph, solids: Mapping[str, Solid], file: str | None = None
) -> tuple[Finding, ...]:
    """Warn of joints whose two parts rest farther apart than a loose fit, with the distance between them."""
    loose = []
    touching = {(contact.a, contact.b) for contact in contacts.contacts}
    for a, b in contacts.joints:
        if (a, b) in touching:
            continue
        apart = min(_apart(one, two) for one in solids[a].bands for two in solids[b].bands)
        if apart > _LOOSE_MM:
            loose.append(
                Finding(
                    code="joint-apart",
                    severity="warning",
                    what=f'Parts "{a}" and "{b}" are joined but rest {apart:.2f} mm apart.',
                    file=file,
                    place="/joints",
                    why="Parts that are joined usually touch; an offset or a depth may be wrong.",
                    remedy="Check where the two lie, or take the joint out.",
                )
            )
    return tuple(loose)


def _apart(one: Band, two: Band) -> float:
    in_plan = float(shapely.distance(one.section, two.section))
    return float(np.hypot(in_plan, max(one.z0 - two.z1, two.z0 - one.z1, 0.0)))


def find_overlaps(assembly: Assembly, encounters: Encounters, file: str | None = None) -> tuple[Finding, ...]:
    """Name each pair that overlaps at rest and by how much.

    Parameters
    ----------
    assembly : Assembly
        For ids, labels and joints.
    encounters : Encounters
        Shapes shrunk by what may touch or is pressed together.
    file : str, optional
        Named in the findings.

    Returns
    -------
    tuple of Finding
        Wrong input, one a pair; empty where nothing overlaps.

    """
    findings = []
    for a, b in combinations(assembly.ids, 2):
        if not encounters.hits(a, np.zeros((2, 3)), b):
            continue
        fits = [j for j in assembly.joints if {j.part, j.into} == {a, b} and j.press_mm]
        pressed = max(fits, key=lambda joint: joint.press_mm, default=None)
        # The shapes are shrunk by what may touch and by what is pressed; the reader wants the depth of the real ones.
        allowed = assembly.touch_mm + (pressed.press_mm / 2 if pressed else 0.0)
        findings.append(_overlap_finding(assembly, a, b, encounters.overlap_depth(a, b) + allowed, pressed, file))
    return tuple(findings)


def _overlap_finding(
    assembly: Assembly, a: str, b: str, depth: float, pressed: Joint | None, file: str | None
) -> Finding:
    index = assembly.ids.index(b)
    why = f"Parts may touch within {assembly.touch_mm:g} mm, but real pieces cannot share space."
    if pressed:
        why = f"The press fit between them allows {pressed.press_mm:g} mm across the joint."
    return Finding(
        code="overlap-at-rest",
        what=f'Parts "{a}" and "{b}" overlap by {depth:.3f} mm where they rest.',
        file=file,
        place=f"/parts/{index}",
        why=why,
        remedy=f'Move or trim one of them, or, if they are pressed together, give their joint "fit": "press" '
        f'and "press_mm": {2 * depth:.2f} or more.',
    )


def _touching_normals(a: Solid, b: Solid, reach: float) -> tuple[Vector, ...]:
    """Directions from a to b across their contact, rounded so that equal facets count once."""
    if not (np.all(a.bounds[1] + reach >= b.bounds[0]) and np.all(b.bounds[1] + reach >= a.bounds[0])):
        return ()
    found: dict[Vector, None] = {}
    for one in a.bands:
        for two in b.bands:
            if min(one.z1, two.z1) - max(one.z0, two.z0) > reach:
                for x, y in _edge_normals(one.section, two.section, reach):
                    found[x, y, 0.0] = None
            elif min(abs(two.z0 - one.z1), abs(one.z0 - two.z1)) <= reach:
                shared = shapely.intersection(one.section, two.section)
                if shared.area > reach * reach:
                    found[0.0, 0.0, 1.0 if two.z0 + two.z1 > one.z0 + one.z1 else -1.0] = None
    return tuple(found)


def _edge_normals(a: shapely.Geometry, b: shapely.Geometry, reach: float) -> list[tuple[float, float]]:
    """Normals of a's edges that run along b's boundary within `reach`, pointing from a to b."""
    if not shapely.dwithin(a, b, reach):
        return []
    start, end = _edges(a)
    lines = shapely.linestrings(np.stack([start, end], axis=1))
    other = b.boundary
    shapely.prepare(other)
    close = shapely.dwithin(lines, other, reach)
    if not close.any():
        return []
    near = shapely.buffer(other, reach, cap_style="flat")
    along = np.zeros(len(lines), dtype=bool)
    along[close] = shapely.length(shapely.intersection(lines[close], near)) > 4 * reach
    out = []
    for (x0, y0), (x1, y1) in zip(start[along], end[along], strict=True):
        length = float(np.hypot(x1 - x0, y1 - y0))
        out.append((round((y1 - y0) / length, 9) + 0.0, round((x0 - x1) / length, 9) + 0.0))
    return out


def _edges(section: shapely.Geometry) -> tuple[Floats, Floats]:
    """Start and end of each edge, (n, 2) each, material on the left."""
    starts, ends = [], []
    for polygon in shapely.get_parts(section):
        oriented = shapely.orient_polygons(polygon)
        for ring in (oriented.exterior, *oriented.interiors):
            xy = shapely.get_coordinates(ring)
            starts.append(xy[:-1])
            ends.append(xy[1:])
    return np.concatenate(starts), np.concatenate(ends)
