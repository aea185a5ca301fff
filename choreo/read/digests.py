"""One digest for a file and the other files that count with it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path

from choreo.geometry.registration.similarity import from_hero_view
from choreo.model.assembly import Assembly


def digest_with(name: str, own: str, others: Mapping[str, str]) -> str:
    """Return the digest of a file with all others that count.

    Parameters
    ----------
    name, own : str
        Of the file, without folder; ``sha256:`` and its digest.
    others : mapping of name to digest
        As `own`.

    Returns
    -------
    str
        `own` where there are no others. Else ``sha256:`` and the digest of the lines that ``sha256sum`` prints for
        the file and then for each other one once, sorted by name.

    """
    if not others:
        return own
    listed = [(name, own), *sorted(others.items())]
    lines = "".join(f"{digest.removeprefix('sha256:')}  {file}\n" for file, digest in listed)
    return "sha256:" + hashlib.sha256(lines.encode("utf-8")).hexdigest()


def picture_digests(assembly: Assembly, folder: Path) -> dict[str, str]:
    """Return the digests of the hero still and of the plates that are laid on it, those whose files can be read."""
    if assembly.hero is None:
        return {}
    plates = [plate.file for plate in assembly.plates if from_hero_view(plate, assembly.hero)]
    found = {}
    for name in _once([assembly.hero.file, *plates]):
        try:
            with (folder / name).open("rb") as stream:
                found[name] = "sha256:" + hashlib.file_digest(stream, "sha256").hexdigest()
        except (OSError, ValueError):
            continue
    return found


def _once(names: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(names))
