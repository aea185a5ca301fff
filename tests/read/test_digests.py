"""What the digest of an assembly covers: every file that tracks hang on, as sha256sum lists them."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
from photographed import WRONG
from photographed_project import write_project
from PIL import Image

from choreo.frames.film import film_of
from choreo.read.project import read_project

SETTLE = "settle_into_register = true"


def sha(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def repainted(path):
    """One px of it, a step brighter or darker."""
    pixels = np.array(Image.open(path))
    pixels[80, 90, 0] ^= 1
    Image.fromarray(pixels).save(path)


def test_where_plates_settle_their_pixels_count(tmp_path):
    folder = write_project(tmp_path / "p", WRONG, SETTLE)
    names = ["plates/cap.png", "plates/dial.png", "plates/hero.png", "plates/shell.png"]
    lines = "".join(f"{sha(folder / name)}  {name}\n" for name in ["assembly.json", *names])
    before = read_project(folder).assembly_digest
    assert before == "sha256:" + hashlib.sha256(lines.encode()).hexdigest()
    for name in names:
        repainted(folder / name)
        after = read_project(folder).assembly_digest
        assert after != before, name
        before = after
    (folder / "plates" / "cap.png").unlink()
    assert read_project(folder).assembly_digest != before


def test_elsewhere_they_do_not(tmp_path):
    folder = write_project(tmp_path / "p", WRONG)
    before = read_project(folder).assembly_digest
    assert before == "sha256:" + sha(folder / "assembly.json")
    repainted(folder / "plates" / "dial.png")
    assert read_project(folder).assembly_digest == before


def test_pictures_of_changed_plates_are_not_made_from_old_tracks(tmp_path, capsys):
    from choreo.cli import main

    folder = write_project(tmp_path / "p", WRONG, SETTLE)
    assert main(["compile", str(folder)]) == 0
    capsys.readouterr()
    assert not film_of(read_project(folder), lambda *_: None).compiled
    repainted(folder / "plates" / "dial.png")
    assert film_of(read_project(folder), lambda *_: None).compiled


@pytest.mark.parametrize("name", ["plates/hero.png", "plates/shell.png"])
def test_a_picture_that_cannot_be_read_is_no_traceback(tmp_path, name):
    folder = write_project(tmp_path / "p", WRONG, SETTLE)
    (folder / name).unlink()
    (folder / name).mkdir()
    assert read_project(folder).assembly_digest.startswith("sha256:")
