"""What `check` says about plates and the hero still, in words, as data and as pictures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from choreo.compile import Apart
    from choreo.errors import Finding
    from choreo.model.registration import Registration
    from choreo.read.project import Project

_DEFAULT_PX = 0.5


@dataclass(frozen=True, eq=False)
class Met:
    """How the plates of a project meet its hero still."""

    found: Registration | None = None
    """None where the assembly has no plates or no hero still, or their files are not there."""
    warnings: tuple[Finding, ...] = ()


def meet(project: Project, apart: Apart) -> Met:
    """Return how the plates of a project meet its hero still, by the strictest hand-off of its shots."""
    if project.assembly.hero is None or not project.assembly.plates:
        return Met()
    from choreo.passes.registration import register  # noqa: PLC0415
    from choreo.read.photographs import read_photographs  # noqa: PLC0415

    pictures, warnings = read_photographs(project.assembly, project.folder)
    if pictures is None:
        return Met(None, warnings)
    asked = [shot.handoff.handoff_px for shot in project.choreography.shots if shot.handoff is not None]
    limit = min(asked, default=_DEFAULT_PX)
    return Met(register(project.assembly, pictures.plates, pictures.hero, limit, apart.solids), warnings)


def met_words(met: Met) -> list[str]:
    """Return lines for a terminal."""
    from choreo.passes.registration_words import registration_words  # noqa: PLC0415

    said = list(registration_words(met.found)) if met.found is not None else []
    return [*said, *(warning.as_text() for warning in met.warnings)]


def met_data(met: Met) -> dict[str, Any] | None:
    """Return all of it for a program."""
    from choreo.write.registration_json import registration_data  # noqa: PLC0415

    return None if met.found is None else registration_data(met.found)


def met_files(met: Met, project: Project) -> dict[str, str | bytes]:
    """Return `registration.svg` and `registration.png`."""
    if met.found is None:
        return {}
    from choreo.picture.registration_overlap import overlap_png  # noqa: PLC0415
    from choreo.picture.registration_picture import registration_svg  # noqa: PLC0415

    labels = {part.id: part.label for part in project.assembly.parts}
    return {
        "registration.svg": registration_svg(met.found, labels, project.assembly.name),
        "registration.png": overlap_png(met.found),
    }
