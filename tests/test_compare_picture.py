"""The picture of a comparison: the frames that differ most, what is marked on them, and when there can be none."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from small_assemblies import FRONT, film, phase, shot, stack
from test_sign_off import with_part, write

from choreo.cli import main
from choreo.compile import compile_film
from choreo.model.choreography import PartMotion
from choreo.review.compare import compare
from choreo.review.most_changed import Made, most_changed


def made(easing="ease-in-out", assembly=None, **parts):
    assembly = stack() if assembly is None else assembly
    motions = {part: PartMotion(easing, 10, delay) for part, delay in parts.items()}
    done = compile_film(assembly, film(shot(phase("explode", 40, parts=motions), view=FRONT)))
    return Made(done.tracks, assembly, done.apart.solids)


def test_the_frame_on_which_parts_are_farthest_away_comes_first():
    old, new = made(), made(knob=4)
    found = most_changed(old, new, compare(old.tracks, new.tracks))
    # Seen from the front, before a parallel camera, corners move as origins do: the tracks say how far.
    away = [
        np.linalg.norm(one.screen - two.screen, axis=1)
        for one, two in zip(old.tracks.shots[0].parts, new.tracks.shots[0].parts, strict=True)
    ]
    most = np.max(away, axis=0)
    best = next(one for one in found if one.frame == int(most.argmax()))
    assert best.moved[0][1] == pytest.approx(most.max())
    assert all(px >= 0.5 for one in found for _, px in one.moved)
    frames = [one.frame for one in found]
    assert frames == sorted(frames)
    assert np.diff(frames).min(initial=99) >= 8


def test_a_camera_that_turns_moves_what_stands_at_its_target():
    old = made()
    cameras = old.tracks.shots[0].cameras.copy()
    angle = np.radians(10)
    turn = np.array([[np.cos(angle), 0, np.sin(angle)], [0, 1, 0], [-np.sin(angle), 0, np.cos(angle)]])
    cameras[20, :, :3] = cameras[20, :, :3] @ turn
    new = replace(old, tracks=replace(old.tracks, shots=(replace(old.tracks.shots[0], cameras=cameras),)))
    [found] = most_changed(old, new, compare(old.tracks, new.tracks))
    assert found.frame == 20
    assert dict(found.moved).keys() == {"base", "lid", "knob"}


def test_what_moves_nothing_still_gets_a_frame():
    old = made()
    masking = old.tracks.shots[0].masking
    order = masking.orders[0].back_to_front
    orders = (replace(masking.orders[0], back_to_front=order[::-1]), *masking.orders[1:])
    changed = replace(old.tracks.shots[0], masking=replace(masking, orders=orders))
    new = replace(old, tracks=replace(old.tracks, shots=(changed,)))
    found = most_changed(old, new, compare(old.tracks, new.tracks))
    assert found
    assert all(one.frame <= masking.orders[0].last and not one.moved for one in found)
    assert most_changed(old, old, compare(old.tracks, old.tracks)) == ()


def run(capsys, *arguments):
    code = main([str(one) for one in arguments])
    said = capsys.readouterr()
    return code, said.out, said.err


def texts(path):
    return ["".join(one.itertext()) for one in ET.parse(path).iter("{http://www.w3.org/2000/svg}text")]


def test_old_and_new_of_two_projects(tmp_path, capsys):
    old, new = write(tmp_path / "old"), write(tmp_path / "new", back_stagger=1)
    code, out, _ = run(capsys, "compare", old, new, "--out", tmp_path / "out")
    assert code == 0
    assert "Section opening" not in out
    assert "Section return: " in out
    said = texts(tmp_path / "out" / "compare.svg")
    assert said[0] == "What has changed: Boxes (invented)"
    assert said[2:5] == ["Old", "New", "Both: dashed before, filled now"]
    assert all(one.startswith("return, frame ") for one in said if ", frame " in one)
    # Names stand where something is away, and nowhere else: the base never moves.
    assert "Base" not in said
    assert "Knob" in said or "Lid" in said
    svg = (tmp_path / "out" / "compare.svg").read_text()
    assert 'stroke-dasharray="60 45"' in svg
    run(capsys, "compare", old, new, "--picture", tmp_path / "again.svg")
    assert (tmp_path / "again.svg").read_text() == svg


def test_another_colour_is_marked_as_a_look(tmp_path, capsys):
    old, new = write(tmp_path / "old"), write(tmp_path / "new", assembly=with_part("knob", colour="#aa2244"))
    out = run(capsys, "compare", old, new, "--picture", tmp_path / "c.svg")[1]
    assert "Section return: its tracks are the same; changed: the look of knob." in out
    assert texts(tmp_path / "c.svg")[-2:] == ["Knob", "look"]


def test_two_compiles_of_the_same_differ_in_nothing_and_draw_nothing(tmp_path, capsys):
    boxes = write(tmp_path / "boxes")
    run(capsys, "compile", boxes)
    run(capsys, "compile", boxes, "--out", tmp_path / "twice")
    for old, new in ((boxes, boxes / "out"), (boxes / "out" / "tracks.json", tmp_path / "twice")):
        code, out, _ = run(capsys, "compare", old, new, "--out", tmp_path / "picture")
        assert (code, out.splitlines()[0]) == (0, "Nothing differs.")
        assert "No picture was written" in out
    assert not (tmp_path / "picture").exists()
    assert json.loads(run(capsys, "compare", boxes, tmp_path / "twice", "--json")[1])["nothing"]


def test_tracks_without_their_assembly_are_compared_in_words_alone(tmp_path, capsys):
    old, new = write(tmp_path / "old"), write(tmp_path / "new", back_stagger=1)
    for one in (old, new):
        run(capsys, "compile", one)
    # Away from their projects; the assemblies are the same, so one lends it to the other.
    alone = tmp_path / "alone.json"
    alone.write_text((old / "out" / "tracks.json").read_text())
    assert run(capsys, "compare", alone, new / "out", "--picture", tmp_path / "a.svg")[0] == 0
    other = tmp_path / "other.json"
    other.write_text((new / "out" / "tracks.json").read_text())
    assert "Section return" in run(capsys, "compare", alone, other)[1]
    code, _, err = run(capsys, "compare", alone, other, "--picture", tmp_path / "b.svg")
    assert code == 2
    assert len(re.findall(r"error\[no-outlines\]", err)) == 2
    assert not (tmp_path / "b.svg").exists()


def test_tracks_that_do_not_hold_together_are_not_drawn(tmp_path, capsys):
    boxes = write(tmp_path / "boxes")
    run(capsys, "compile", boxes)
    value = json.loads((boxes / "out" / "tracks.json").read_text())
    path = boxes / "changed.json"
    for change in (
        lambda shot: shot["parts"][0].update(id="nobody"),
        lambda shot: shot["masking"]["orders"].pop(0),
        lambda shot: shot["camera"].update(matrix=[[0] * 12] * shot["frames"]),
    ):
        changed = json.loads(json.dumps(value))
        change(changed["shots"][0])
        path.write_text(json.dumps(changed))
        code, _, err = run(capsys, "compare", boxes, path, "--picture", tmp_path / "c.svg")
        assert (code, "error[no-outlines]" in err) == (2, True), err


def test_a_long_name_is_not_cut(tmp_path, capsys):
    named = with_part("knob", colour="#aa2244")
    named["name"] = " ".join(f"Boxes{number}" for number in range(24))
    old, new = write(tmp_path / "old"), write(tmp_path / "new", assembly=named)
    run(capsys, "compare", old, new, "--picture", tmp_path / "c.svg")
    said = texts(tmp_path / "c.svg")
    lines = said[: next(i for i, one in enumerate(said) if one.startswith("old:"))]
    assert len(lines) > 1
    assert " ".join(lines) == f"What has changed: {named['name']}"
    places = [float(y) for y in re.findall(r'<text x="[^"]*" y="([^"]*)"', (tmp_path / "c.svg").read_text())]
    assert places[: len(lines) + 2] == sorted(set(places[: len(lines) + 2]))  # one below the other, headings below all


def test_names_from_outside_stay_text(tmp_path, capsys):
    evil = with_part("knob", colour="#aa2244")
    evil["parts"][2]["label"] = '<script>alert("1")</script>'
    evil["name"] = "Boxes <b>&amp;"
    old, new = write(tmp_path / "old"), write(tmp_path / "new", assembly=evil)
    run(capsys, "compare", old, new, "--picture", tmp_path / "c.svg")
    tags = {one.tag.split("}")[1] for one in ET.parse(tmp_path / "c.svg").iter()}
    assert tags <= {"svg", "title", "rect", "g", "text", "path", "line", "circle"}
    assert texts(tmp_path / "c.svg")[0] == "What has changed: Boxes <b>&amp;"
