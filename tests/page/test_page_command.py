"""`choreo page` on a project: plates, sequences and the still go into the file, small; digests are of what shows."""

from __future__ import annotations

import base64
import json
import re

import cv2
import numpy as np
import pytest
from photographed_project import write_project

from choreo.cli import main
from choreo.picture.page.plates import SmallPlate


def block(html, name):
    return json.loads(re.search(rf'<script type="application/json" id="{name}">(.*?)</script>', html)[1])


def decoded(address):
    kind, data = address.split(",")
    assert kind == "data:image/webp;base64"
    return cv2.imdecode(np.frombuffer(base64.b64decode(data), np.uint8), cv2.IMREAD_UNCHANGED)


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    """The photographed meter; its cap is a film of twenty photographs."""
    folder = write_project(tmp_path_factory.mktemp("page") / "p")
    assembly = json.loads((folder / "assembly.json").read_text())
    plate = next(one for one in assembly["plates"] if one["part"] == "cap")
    picture = (folder / plate["file"]).read_bytes()
    plate.update({"file": "plates/cap.##.png", "frames": [1, 20]})
    for number in range(1, 21):
        (folder / "plates" / f"cap.{number:02}.png").write_bytes(picture)
    (folder / "assembly.json").write_text(json.dumps(assembly))
    return folder


def test_plates_and_still_are_carried_small(project, capsys):
    assert main(["page", str(project), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["files"] == [str(project / "out" / "page.html")]
    assert said["sections"] == ["return"]
    html = (project / "out" / "page.html").read_text(encoding="utf-8")
    film = block(html, "film-data")
    tracks = {film["parts"][track["part"]]["label"]: track for track in film["shots"][0]["parts"]}
    assert sorted(tracks) == ["Cap", "Dial", "Shell"]
    assert tracks["Cap"]["picture"] == list(range(1, 21)), "twenty frames show twenty photographs"
    assert tracks["Dial"]["picture"] == [0]
    cap = film["plates"][tracks["Cap"]["plate"]]
    assert cap["sequence"]
    assert sorted(map(int, cap["pictures"])) == list(range(1, 21))
    for plate in [*film["plates"], film["hero"]]:
        for one in plate["pictures"].values():
            picture = decoded(one["address"])
            assert picture.shape[2] == 4
            assert 0 < (picture[..., 3] > 128).mean() < 1
    assert all(part["bands"] == [] for part in film["parts"]), "no solids where all have plates"
    assert "<img" not in html


def test_the_digest_is_that_of_the_tracks_and_the_pictures(project, tmp_path, capsys):
    assert main(["compile", str(project)]) == 0
    assert main(["page", str(project), "--out", str(tmp_path)]) == 0
    review = block((tmp_path / "page.html").read_text(encoding="utf-8"), "review-data")
    (section,) = review["sections"]
    before = section["content"]
    capsys.readouterr()
    assert main(["status", str(project), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["sections"][0]["content"] == before
    # One pixel of one photograph by one code: the section is another one.
    file = project / "plates" / "cap.07.png"
    kept = file.read_bytes()
    picture = cv2.imdecode(np.frombuffer(kept, np.uint8), cv2.IMREAD_UNCHANGED)
    picture[picture.shape[0] // 2, picture.shape[1] // 2, 0] ^= 1
    file.write_bytes(cv2.imencode(".png", picture)[1].tobytes())
    assert main(["page", str(project), "--out", str(tmp_path)]) == 0
    file.write_bytes(kept)
    assert (
        block((tmp_path / "page.html").read_text(encoding="utf-8"), "review-data")["sections"][0]["content"] != before
    )


def test_a_page_that_cannot_be_made_leaves_the_old_one(project, tmp_path, capsys):
    (tmp_path / "page.html").write_text("old")
    file = project / "plates" / "cap.07.png"
    kept = file.read_bytes()
    file.write_bytes(kept[:200])
    assert main(["page", str(project), "--out", str(tmp_path)]) == 2
    file.write_bytes(kept)
    assert "cap.07.png" in capsys.readouterr().err
    assert (tmp_path / "page.html").read_text() == "old"


def test_which_photograph_shows_a_plate_frame():
    # Nearest, halves up; past the end of a closed circle the first again; a single picture has no number.
    whole = SmallPlate({}, frames=(3, 12))
    assert [whole.number(n) for n in (None, 3.0, 3.49, 3.5, 12.4, 12.5, 1.0)] == [3, 3, 3, 4, 12, 3, 3]
    assert SmallPlate({}).number(7.0) == 0
