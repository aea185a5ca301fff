"""``choreo check``: whether a project is sound, and how the product comes apart."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from choreo.commands import Arguments, Command, Said
from choreo.commands.shared import Progress, add_project, add_search, assembly_name, read

if TYPE_CHECKING:
    from choreo.compile import Apart
    from choreo.model.plan import Removal, RemovalStep
    from choreo.read.project import Project


def _run(arguments: Arguments) -> Said:
    from choreo.commands.registering import meet, met_data, met_files, met_words  # noqa: PLC0415
    from choreo.compile import take_apart  # noqa: PLC0415 - geometry is imported only where it is used
    from choreo.write.files import write_all  # noqa: PLC0415

    project = read(arguments.project)
    with Progress(arguments.json) as progress:
        apart = take_apart(project.assembly, search=arguments.search, file=assembly_name(project), on_stage=progress)
        progress("plates on the hero still", None)
        met = meet(project, apart)
        files = met_files(met, project) if arguments.out else {}
    if files:
        write_all(arguments.out, files)
    made = [str(arguments.out / name) for name in files]
    words = [*_words(project, apart), *met_words(met), *(["Written:", *(f"  {one}" for one in made)] if made else [])]
    if arguments.out and not files:
        words.append("Nothing to draw: there are no plates that could be laid on a hero still.")
    data = _data(project, apart)
    data["warnings"] += [warning.as_json() for warning in met.warnings]
    return Said(words, {**data, "registration": met_data(met), "files": made})


def _words(project: Project, apart: Apart) -> list[str]:
    labels = {part.id: part.label for part in project.assembly.parts}
    count = len(project.assembly.parts)
    contacts = len(apart.contacts.contacts)
    lines = [
        (
            f"{project.assembly.name}: {count} part{'s' * (count != 1)}, {contacts} contact{'s' * (contacts != 1)}. "
            "It comes apart:"
        )
    ]
    lines += _step_words(apart.removal, labels, "  ")
    lines.append(f"      {labels[apart.removal.body]} [{apart.removal.body}] stays")
    lines += [warning.as_text() for warning in (*project.warnings, *apart.warnings)]
    return lines


def _step_words(removal: Removal, labels: Mapping[str, str], indent: str) -> list[str]:
    """One line a step; what a group comes apart into stands below it, further in."""
    from choreo.passes.removal_words import say_direction  # noqa: PLC0415

    lines = []
    for number, step in enumerate(removal.steps, start=1):
        note = "" if step.joint_axis is None else f" (its joint asked for {say_direction(step.joint_axis)})"
        if step.inner is None:
            lines.append(f"{indent}{number:2d}  {labels[step.part]} [{step.part}] leaves {_way_words(step)}{note}")
            continue
        group = " + ".join(step.members)
        lines.append(f"{indent}{number:2d}  {group} leave together {_way_words(step)}{note}, then come apart:")
        lines += _step_words(step.inner, labels, indent + "    ")
        lines.append(f"{indent}        {labels[step.part]} [{step.part}] is what they come away from")
    return lines


def _way_words(step: RemovalStep) -> str:
    from choreo.passes.removal_words import say_direction  # noqa: PLC0415

    if not step.via:
        return f"along {say_direction(step.direction)}"
    stops = "".join("(" + ", ".join(f"{c:.4g}" for c in corner) + "), then " for corner in step.via)
    return f"by {len(step.via) + 1} moves: to {stops}along {say_direction(step.direction)}"


def _data(project: Project, apart: Apart) -> dict[str, Any]:
    from choreo.write.report_json import steps_data  # noqa: PLC0415

    return {
        "ok": True,
        "assembly": project.assembly.name,
        "body": apart.removal.body,
        "removal": steps_data(apart.removal.steps),
        "warnings": [warning.as_json() for warning in (*project.warnings, *apart.warnings)],
    }


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Say whether the files are sound and how the product comes apart; where plates and the hero still are there, "
        "lay each on the still, and say how far off it is and which numbers would mend that."
    )
    add_project(parser)
    parser.add_argument(
        "--out", type=Path, metavar="DIR", help="where to write registration.svg and registration.png: plates on hero"
    )
    add_search(parser)


CHECK = Command("check", "validate a project and prove that the product comes apart", _add, _run)
