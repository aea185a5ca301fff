"""``choreo page``: one file that the art director opens, marks and answers with."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments, Command, Said
from choreo.commands.shared import Progress, add_project, add_search, read

if TYPE_CHECKING:
    from choreo.commands.paging import Paged


def _add(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Write one HTML file with the moving picture, the storyboard, the timing, the layers and the numbers, in which "
        "each section can be marked. It loads nothing and sends nothing, and can go out by mail; the marks come back "
        "as a small file that the page saves."
    )
    add_project(parser)
    parser.add_argument("--out", type=Path, metavar="DIR", help="where to write page.html (default: PROJECT/out)")
    add_search(parser)


def _run(arguments: Arguments) -> Said:
    from choreo.commands.paging import page_of  # noqa: PLC0415
    from choreo.write.files import write_all  # noqa: PLC0415

    project = read(arguments.project)
    out = arguments.out or project.folder / "out"
    with Progress(arguments.json) as progress:
        page = page_of(project, progress, search=arguments.search)
    write_all(out, {"page.html": page.html})
    return Said(_words(page, out), _data(page, out))


def _words(page: Paged, out: Path) -> list[str]:
    size = len(page.html.encode()) / 1e6
    sections = page.sections
    many = f"{len(sections)} section{'s' * (len(sections) != 1)} to mark: {', '.join(sections)}."
    warnings = [warning.as_text() for warning in page.warnings]
    return [many, *warnings, "Written:", f"  {out / 'page.html'} ({size:.1f} MB)"]


def _data(page: Paged, out: Path) -> dict[str, object]:
    return {
        "ok": True,
        "files": [str(out / "page.html")],
        "sections": list(page.sections),
        "warnings": [warning.as_json() for warning in page.warnings],
    }


PAGE = Command("page", "write the review page: one file to look at, mark and answer with", _add, _run)
