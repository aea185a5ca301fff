"""Where the assembled product stands in the frame, against the camera's own matrix; and what the advice gives."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from small_project import BACK, HEAD, TOML, write

from choreo.cli import main


def compiled(folder, toml, capsys):
    assert main(["compile", str(write(folder, toml))]) == 0
    said = capsys.readouterr().out
    tracks, report = (json.loads((folder / "out" / f"{name}.json").read_text()) for name in ("tracks", "report"))
    return said, tracks, report


def image(tracks, shot, frame, point):
    rows = tracks["shots"][shot]["camera"]["matrix"]
    matrix = np.array(rows[frame if len(rows) > 1 else 0], dtype=np.float64).reshape(3, 4)
    u, v, w = matrix @ [*point, 1.0]
    return np.array([u / w, v / w])


def test_what_is_pasted_puts_the_product_in_the_middle(tmp_path, capsys):
    """The tray lies about x = y = 0, from z = 0 to 17 (small_project); the frame is 640 x 360."""
    said, tracks, report = compiled(tmp_path / "as", TOML, capsys)
    burst, back = (shot["middle"] for shot in report["shots"])
    assert (burst["frame"], back["frame"]) == (0, 29)
    for number, found in enumerate((burst, back)):
        assert found["point"] == [0, 0, 8.5]
        seen = image(tracks, number, found["frame"], found["point"]) - [320, 180]
        assert found["off_px"] == pytest.approx(seen.tolist(), abs=1e-4)
    assert np.hypot(*burst["off_px"]) > 0.03 * 640
    [advice] = re.findall(r"view\.target = (\[.*?\])", said.split("back:")[0])
    asked = TOML.replace("elevation = 20 }", f"elevation = 20, target = {advice} }}")
    said, _, report = compiled(tmp_path / "mid", asked, capsys)
    assert report["shots"][0]["middle"]["off_px"] == pytest.approx([0, 0], abs=1e-6)
    assert "view.target" not in said.split("back:")[0]


def test_a_shot_that_is_assembled_at_neither_end_says_nothing_of_it(tmp_path, capsys):
    again = '[[shot.phase]]\nkind = "explode"\nframes = 30\nstagger = 3\nmove = 10\n'
    said, _, report = compiled(tmp_path / "apart", HEAD + BACK + again, capsys)
    assert report["shots"][0]["middle"] is None
    assert "Assembled" not in said
