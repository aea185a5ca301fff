"""Small assemblies of boxes and how they move; all invented, so that results can be worked out by hand."""

from __future__ import annotations

from types import MappingProxyType, SimpleNamespace

import numpy as np

from choreo.compile import _frame, compile_film, take_apart
from choreo.geometry.cameras.silhouette import hull_points
from choreo.geometry.layout.placement import hulls_through
from choreo.geometry.layout.subject import Subject
from choreo.model.assembly import Assembly, Joint, Part, Slab
from choreo.model.choreography import Choreography, FrameRate, PartMotion, Phase, Pin, Shot, View
from choreo.passes.layout import plan_layout
from choreo.passes.ways import plan_ways

FRONT = View("orthographic")
TURNED = View("perspective", 35, 20, focal_mm=85, sensor_mm=(36, 20.25))


def rect(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def box(name, x0, y0, x1, y1, z0, z1, *holes):
    """A plate with rectangular holes."""
    slab = Slab(rect(x0, y0, x1, y1), tuple(rect(*hole)[::-1] for hole in holes), (float(z0), float(z1)))
    return Part(name, name.capitalize(), "#888888", (0.0, 0.0, 0.0), (slab,))


def insert(part, into, axis):
    x, y, z = np.array(axis) / np.linalg.norm(axis)
    return Joint("insert", part, into, (float(x), float(y), float(z)))


def make(*parts, joints=(), touch_mm=0.05):
    return Assembly("Boxes (invented)", touch_mm, parts, tuple(joints))


def stack():
    """A base, a lid on it and a knob on the lid; each leaves upward (z), the knob first."""
    parts = (
        box("base", -30, -20, 30, 20, 0, 10),
        box("lid", -25, -15, 25, 15, 10, 14),
        box("knob", -5, -5, 5, 5, 14, 20),
    )
    return make(*parts, joints=[insert("lid", "base", (0, 0, 1)), insert("knob", "lid", (0, 0, 1))])


def cross():
    """A core with a part on each side of it: four directions, nobody in anybody's way."""
    parts = [
        box("core", -10, -10, 10, 10, 0, 20),
        box("east", 10, -6, 22, 6, 4, 16),
        box("west", -22, -6, -10, 6, 4, 16),
        box("north", -6, 10, 6, 22, 4, 16),
        box("south", -6, -22, 6, -10, 4, 16),
    ]
    axes = {"east": (1, 0, 0), "west": (-1, 0, 0), "north": (0, 1, 0), "south": (0, -1, 0)}
    return make(*parts, joints=[insert(name, "core", axis) for name, axis in axes.items()])


def drawer():
    """A case with a drawer to the front (x), a key in the drawer's face, and a hat on top (y)."""
    parts = [
        box("case", 0, 0, 40, 30, 0, 20, (8, 5, 39.99, 25)),
        box("hat", 5, 30, 35, 36, 2, 18),
        box("drawer", 40, 5, 52, 25, 0, 20),
        box("key", 52, 12, 60, 18, 8, 12),
    ]
    joints = [insert("hat", "case", (0, 1, 0)), insert("drawer", "case", (1, 0, 0)), insert("key", "drawer", (1, 0, 0))]
    return make(*parts, joints=joints)


def phase(kind, frames, *, stagger=3, easing="ease-in-out", move=10, beats=(), parts=None):
    motions = MappingProxyType(parts or {})
    return Phase(kind, frames, stagger, PartMotion(easing, move), motions, tuple(beats))


def shot(*phases, view=FRONT, orbit=None, handoff=None, pins=None, name="test"):
    return Shot(name, view, phases, orbit, handoff, MappingProxyType({k: Pin(*pin) for k, pin in (pins or {}).items()}))


def there_and_back(frames=40, **kw):
    return (
        phase("hold", 3),
        phase("explode", frames, **kw),
        phase("hold", 5),
        phase("assemble", frames, **kw),
        phase("hold", 3),
    )


def film(*shots, resolution=(1920, 1080), safe=(0.05, 0.05, 0.05, 0.05), gap_px=24.0, clearance_mm=0.5):
    rate = FrameRate(24)
    return Choreography("assembly.json", rate, resolution, safe, gap_px, clearance_mm, tuple(shots))


def hulls_on_screen(points, cameras):
    """The convex hulls, one a camera, of points in front of all of them."""
    return hulls_through(points, np.stack([camera.matrix for camera in cameras]))


def stage(assembly, choreography, index=0):
    """The passes up to the layout, and what they were given."""
    one = choreography.shots[index]
    apart = take_apart(assembly, choreography.clearance_mm)
    ways = plan_ways(one, apart.removal, apart.encounters)
    points = {part: hull_points(solid) for part, solid in apart.solids.items()}
    body = apart.removal.body
    subject = Subject(points, apart.removal, ways.directions, ways.travels, apart.encounters, ways.vias)
    frame = _frame(choreography)
    layout = plan_layout(subject, one, frame)
    return SimpleNamespace(
        assembly=assembly,
        shot=one,
        apart=apart,
        order=apart.removal.order,
        body=body,
        subject=subject,
        frame=frame,
        layout=layout,
    )


def compiled(assembly, choreography):
    return compile_film(assembly, choreography)
