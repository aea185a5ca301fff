"""``choreo check``: whether a project is sound, and how the product comes apart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from choreo.commands import Arguments, Command, Said
from choreo.commands.shared import Progress, add_project, assembly_name, read

if TYPE_CHECKING:
    from choreo.compile import Apart
    from choreo.model.plan import RemovalStep
    from choreo.read.project import Project


def _run(arguments: Arguments) -> Said:
    from choreo.compile import take_apart  # noqa: PLC0415 - geometry is imported only where it is used

    project = read(arguments.project)
    with Progress(arguments.json) as progress:
        apart = take_apart(project.assembly, file=assembly_name(project), on_stage=progress)
    return Said(_words(project, apart), _data(project, apart))


def _words(project: Project, apart: Apart) -> list[str]:
    labels = {part.id: part.label for part in project.assembly.parts}
    from choreo.passes.removal_words import say_direction  # noqa: PLC0415

    count = len(project.assembly.parts)
    contacts = len(apart.contacts.contacts)
    lines = [
        (
            f"{project.assembly.name}: {count} part{'s' * (count != 1)}, {contacts} contact{'s' * (contacts != 1)}. "
            "It comes apart:"
        )
    ]
    for number, step in enumerate(apart.removal.steps, start=1):
        note = "" if step.joint_axis is None else f" (its joint asked for {say_direction(step.joint_axis)})"
        lines.append(f"  {number:2d}  {labels[step.part]} [{step.part}] leaves {_way_words(step)}{note}")
    lines.append(f"      {labels[apart.removal.body]} [{apart.removal.body}] stays")
    lines += [warning.as_text() for warning in (*project.warnings, *apart.warnings)]
    return lines


def _way_words(step: RemovalStep) -> str:
    from choreo.passes.removal_words import say_direction  # noqa: PLC0415

    if not step.via:
        return f"along {say_direction(step.direction)}"
    stops = "".join("(" + ", ".join(f"{c:.4g}" for c in corner) + "), then " for corner in step.via)
    return f"by {len(step.via) + 1} moves: to {stops}along {say_direction(step.direction)}"


def _data(project: Project, apart: Apart) -> dict[str, Any]:
    return {
        "ok": True,
        "assembly": project.assembly.name,
        "body": apart.removal.body,
        "removal": [
            {
                "part": step.part,
                "direction": list(step.direction),
                "joint_axis": list(step.joint_axis) if step.joint_axis else None,
                "via": [list(corner) for corner in step.via],
            }
            for step in apart.removal.steps
        ],
        "warnings": [warning.as_json() for warning in (*project.warnings, *apart.warnings)],
    }


CHECK = Command("check", "validate a project and prove that the product comes apart", add_project, _run)
