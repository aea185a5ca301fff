"""The camera of a shot, from the file to the model."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from choreo.model.choreography import Orbit, View
from choreo.read.easings import easing_text
from choreo.read.notes import Notes
from choreo.read.place import Place
from choreo.read.values import vector

FOCAL_MM = 85.0
SENSOR_MM = (36.0, 20.25)
"""The width of a full-frame still camera's sensor, cropped to 16:9; turned upright for an upright frame."""
_ONLY = {"perspective": ("focal_mm", "sensor_mm", "distance_mm"), "orthographic": ("px_per_mm",)}


def check_view(notes: Notes, place: Place, shot: Mapping[str, Any]) -> None:
    """Note keys that do not belong to the projection, and an orbit that climbs over the pole.

    Parameters
    ----------
    notes : Notes
        Of the choreography.
    place : tuple
        Of the shot.
    shot : mapping
        Its ``view`` and ``orbit`` are looked at where the schema accepts them.

    """
    view, orbit = shot.get("view"), shot.get("orbit", {})
    if not isinstance(view, dict) or not notes.sound(*place, "view"):
        return
    for projection, keys in _ONLY.items():
        for key in keys:
            if key in view and view["projection"] != projection:
                what = f"`{key}` belongs to {projection} views, but this one is {view['projection']}."
                remedy = f'Drop `{key}`, or set projection = "{projection}".'
                notes.add("misplaced-key", (*place, "view", key), what, remedy=remedy)
    if notes.sound(*place, "orbit") and "elevation" in orbit:
        end = view.get("elevation", 0) + orbit["elevation"]
        if not -90 <= end <= 90:
            what = f"The orbit ends at an elevation of {end:g} degrees; it must stay within -90 to 90."
            why = "Beyond straight up or down the picture would turn over."
            notes.add("over-the-pole", (*place, "orbit", "elevation"), what, why, "Make the lift smaller.")


def build_view(view: Mapping[str, Any], resolution: tuple[int, int]) -> View:
    """Return the model of a view without errors; `resolution` turns the sensor upright where the frame is."""
    azimuth, elevation = float(view.get("azimuth", 0)), float(view.get("elevation", 0))
    target = vector(view["target"]) if "target" in view else None
    if view["projection"] == "orthographic":
        return View("orthographic", azimuth, elevation, px_per_mm=_or_fit(view, "px_per_mm"), target=target)
    upright = resolution[1] > resolution[0]
    sensor = view.get("sensor_mm", SENSOR_MM[::-1] if upright else SENSOR_MM)
    return View(
        projection="perspective",
        azimuth=azimuth,
        elevation=elevation,
        focal_mm=float(view.get("focal_mm", FOCAL_MM)),
        sensor_mm=(float(sensor[0]), float(sensor[1])),
        distance_mm=_or_fit(view, "distance_mm"),
        target=target,
    )


def build_orbit(orbit: Mapping[str, Any]) -> Orbit:
    """Return the model of an orbit without errors."""
    azimuth, elevation = float(orbit.get("azimuth", 0)), float(orbit.get("elevation", 0))
    return Orbit(azimuth, elevation, easing_text(orbit.get("easing", "linear")))


def _or_fit(view: Mapping[str, Any], key: str) -> float | None:
    value = view.get(key, "fit")
    return None if isinstance(value, str) else float(value)
