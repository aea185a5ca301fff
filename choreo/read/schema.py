"""The published schemas, and what a value must be to pass them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

from choreo.read.notes import Notes
from choreo.read.quick import Check, compile_check

NAMES = ("assembly", "choreography", "tracks", "director", "sign-off")


def schema_folder() -> Path:
    """Return the folder of the ``*.schema.json`` files: inside the installed package, or beside it.

    Raises
    ------
    FileNotFoundError
        If the installation is broken: the folder is in neither place.

    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "schemas", package.parent / "schemas"):
        if (folder / "assembly.schema.json").is_file():
            return folder
    raise FileNotFoundError(f"The schemas of choreo are missing beside {package}; install it again.")


def schema_text(name: str) -> str:
    """Return the text of a schema; `name` is one of `NAMES`."""
    if name not in NAMES:
        raise ValueError(f"no schema {name!r}; there are {', '.join(NAMES)}")
    return (schema_folder() / f"{name}.schema.json").read_text(encoding="utf-8")


@cache
def schema(name: str) -> dict[str, Any]:
    """Return a schema as a value; treat it as read-only."""
    loaded: dict[str, Any] = json.loads(schema_text(name))
    return loaded


@cache
def _check(name: str) -> Check:
    return compile_check(schema(name))


def check_schema(name: str, value: Any, notes: Notes) -> None:
    """Note everything that the schema finds wrong with `value`.

    Notes
    -----
    A good value is passed by a check of our own, which takes a fraction of the time of a full validator and
    spares its import. Whatever that check does not pass goes to `jsonschema`, whose word is final.

    """
    if _check(name)(value):
        return
    from choreo.read.wording import note_schema_error  # noqa: PLC0415

    errors = _errors(name, value)
    if _is_of_another_kind(name, value):  # what else it lacks or has too much says nothing
        alone = _errors(name, {"format": value["format"]})
        errors = (error for error in alone if list(error.absolute_path) == ["format"])
    for error in _bounded_count(errors):
        note_schema_error(notes, schema(name), error)


def _is_of_another_kind(name: str, value: Any) -> bool:
    """Whether this says that it is another of choreo's own files, e.g. a report where tracks are asked for."""
    said = value.get("format") if isinstance(value, dict) else None
    return isinstance(said, str) and said.startswith("choreo/") and said != f"choreo/{name}"


def _errors(name: str, value: Any) -> Iterator[Any]:
    from jsonschema import Draft202012Validator  # noqa: PLC0415

    return iter(Draft202012Validator(schema(name)).iter_errors(value))


def _bounded_count(errors: Iterable[Any], most: int = 2000) -> Iterator[Any]:
    # A file with more errors than this is of another kind; looking at all of them would only take long.
    for _, error in zip(range(most), errors, strict=False):
        yield error
