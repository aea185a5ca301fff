"""What a page is told, save by save: what a fresh compile says, first things first, mistakes with their place."""

import json
import threading

import pytest
import small_project
from small_project import BACK, BURST, HEAD, TOML

from choreo.commands import watch
from choreo.compile import compile_film
from choreo.errors import Finding
from choreo.live.follow import files_of
from choreo.live.message import Message, joined
from choreo.live.rounds import Desk
from choreo.live.watching import Watch
from choreo.picture.page.document import PageFilm, page_pieces
from choreo.picture.page.film_data import film_data
from choreo.read.project import read_project


@pytest.fixture
def folder(tmp_path):
    return small_project.write(tmp_path / "tray")


@pytest.fixture
def desk(folder):
    told = []
    made = Desk(folder, told.append)
    made.told, made.follows = told, made.follower()
    return made


def save(desk, toml=TOML, made=None):
    """Save, compute, and return what was told of it."""
    small_project.write(desk.path, toml, made)
    desk.told.clear()
    desk.round(desk.follows)
    return list(desk.told)


def states(messages):
    return [message.state for message in messages]


def fresh(folder):
    project = read_project(folder)
    film = compile_film(project.assembly, project.choreography)
    page = PageFilm(project.assembly, film.apart.solids, film.tracks, film.report, {}, film.frame.margins)
    return film_data(project.assembly, film.apart.solids, film.tracks, {}, None), page_pieces(page)


EDITS = {
    "stagger": TOML.replace("stagger = 2", "stagger = 4"),
    "easing of the second shot": HEAD + BURST + BACK.replace("move = 10", 'move = 10\neasing = "linear"'),
    "length": TOML.replace("frames = 4", "frames = 6"),
    "view": TOML.replace("azimuth = 35", "azimuth = 20"),
    "easing": TOML.replace("move = 10", 'move = 10\neasing = "linear"', 1),
    "only one shot": HEAD + BURST,
    "shots the other way about": HEAD + BACK + BURST,
    "resolution": TOML.replace("[640, 360]", "[800, 450]"),
    "section": TOML + '[[section]]\nname = "opening"\nto = 9\n',
}


def test_after_any_edits_a_page_knows_what_a_fresh_compile_says(desk):
    known = None
    for toml in (TOML, *EDITS.values(), TOML):
        for message in save(desk, toml):
            known = joined(known, message)
        data, pieces = fresh(desk.path)
        assert known.head == {key: value for key, value in data.items() if key != "shots"}
        assert [known.shots[name] for name in known.order] == data["shots"]
        assert known.pieces == pieces


def test_new_paths_come_first_then_the_picture_then_the_rest(desk):
    assert states(save(desk)) == ["drawn", "whole"]
    messages = save(desk, EDITS["stagger"])
    assert states(messages) == ["moving", "drawn", "whole"]
    moving, drawn, whole = messages
    assert list(moving.shots) == list(drawn.shots) == ["burst"]  # the other shot is not told again
    one, two = moving.shots["burst"], drawn.shots["burst"]
    assert one["parts"] == two["parts"]
    assert one["cameras"] == two["cameras"]
    assert not whole.shots
    assert whole.pieces


def test_what_an_edit_does_not_touch_is_not_computed_again(desk):
    save(desk)
    desk.memory.asked.clear()
    save(desk, EDITS["easing of the second shot"])
    assert desk.memory.asked == {"timed": 1, "tracks": 1, "shot": 1, "masking": 1}
    desk.memory.asked.clear()
    assert states(save(desk, TOML)) == ["drawn", "whole"]  # as it was before: all of it is known
    assert desk.memory.asked == {}


@pytest.mark.parametrize("hold", ["frames = 6", "frames = 2"])
def test_frames_that_shift_are_told_together_and_before_any_mask(desk, hold):
    save(desk)
    messages = save(desk, TOML.replace("frames = 4", hold))
    assert states(messages) == ["moving", "drawn", "whole"]
    moving, drawn, _ = messages
    assert moving.head is None
    assert moving.length == {key: drawn.head[key] for key in ("frames", "sections")}
    assert list(moving.shots) == list(drawn.shots) == ["burst", "back"]
    for name, one in moving.shots.items():
        assert {key: one[key] for key in ("start", "frames", "cameras", "parts")} == {
            key: drawn.shots[name][key] for key in ("start", "frames", "cameras", "parts")
        }
        spans = [span for first, last, _ in one["orders"] for span in (first, last + 1)]
        assert spans[0] == 0
        assert spans[-1] == one["frames"]
        assert spans[1:-1:2] == spans[2::2]


def test_a_length_that_came_to_nothing_is_made_good(desk):
    """A shot that got longer but cannot be read, say, must not leave the page with lengths that nothing draws."""
    known = None
    for toml in (TOML, EDITS["length"], TOML.replace("frames = 30", "frames = 10", 1), TOML):
        for message in save(desk, toml):
            known = joined(known, message)
    data, _ = fresh(desk.path)
    length = known.length or {}
    assert {**known.head, **length} == {key: value for key, value in data.items() if key != "shots"}
    assert [known.shots[name] for name in known.order] == data["shots"]


def test_every_path_is_known_before_the_first_mask(folder):
    project, heard = read_project(folder), []
    compile_film(project.assembly, project.choreography, on_stage=lambda name, _: heard.append(name))
    late = heard[heard.index("tracks of burst") :]
    late = [name for name in late if not name.startswith(("layout", "schedule"))]
    assert late == ["tracks of burst", "tracks of back", "paths", "masking of burst", "masking of back", "report"]


def test_a_mistake_is_told_with_its_place_and_the_picture_stays(desk):
    save(desk)
    (wrong,) = save(desk, TOML.replace('kind = "explode"', 'kind = "explod"'))
    assert (wrong.state, wrong.shots, wrong.head) == ("failed", {}, None)
    (finding,) = wrong.findings
    line = TOML.splitlines().index('kind = "explode"') + 1
    assert (finding.line, finding.place) == (line, "shot[0].phase[0].kind")
    assert "last good picture" in wrong.said
    assert states(save(desk)) == ["drawn", "whole"]


def test_no_solution_is_told_as_well(desk):
    save(desk)
    messages = save(desk, TOML.replace("frames = 30", "frames = 10", 1))
    assert messages[-1].state == "failed"
    assert messages[-1].findings
    assert states(save(desk))[-1] == "whole"


def test_a_project_that_cannot_be_read_at_first_is_waited_for(tmp_path):
    told = []
    desk = Desk(tmp_path, told.append)
    follower = desk.follower()
    desk.round(follower)
    assert [message.state for message in told] == ["failed"]
    small_project.write(tmp_path)
    assert set(follower.changed()) == {tmp_path / "choreography.toml", tmp_path / "assembly.json"}
    desk.round(follower)
    assert told[-1].state == "whole"
    assert set(follower.files) == set(files_of(tmp_path, read_project(tmp_path)))


def test_a_message_is_one_line_whatever_stands_in_it():
    text = Message(1, "failed", "line\nbreak </script>\u2028").text()
    assert b"\n" not in text
    assert json.loads(text)["said"] == "line\nbreak </script>\u2028"


def test_a_watch_sees_a_save_and_ends_when_told(folder):
    heard, ready = [], threading.Condition()

    def hear(message):
        with ready:
            heard.append(message)
            ready.notify_all()

    watch = Watch(folder, folder / "out", heard=hear)
    thread = threading.Thread(target=watch.run)
    thread.start()
    try:
        with ready:
            assert ready.wait_for(lambda: any(m.state == "whole" for m in heard), 60)
            heard.clear()
        (folder / "choreography.toml").write_text(EDITS["stagger"])
        with ready:
            assert ready.wait_for(lambda: any(m.state == "whole" for m in heard), 60)
        assert heard[-1].round == 2
        whole, said = watch.bulletin.now()
        assert said == 5
        assert set(json.loads(whole)["shots"]) == {"burst", "back"}
    finally:
        watch.stopped.set()
        thread.join(10)
    assert not thread.is_alive()


def test_the_terminal_names_what_is_worth_a_second_look(capsys):
    found = [Finding("slow", f"Thing {number} is worth a look.", severity="warning") for number in range(5)]
    watch._as_words(Message(2, "whole", "All checked; 5 worth a second look, under the numbers.", warnings=found))
    said = capsys.readouterr().err.splitlines()
    assert said[0].startswith("2: All checked; 5")
    assert said[1:] == [*(f"  Thing {number} is worth a look." for number in range(3)), "  and 2 more"]
    watch._as_words(Message(3, "whole", "All checked; 1 worth a second look, under the numbers.", warnings=found[:1]))
    assert capsys.readouterr().err.splitlines()[1:] == ["  Thing 0 is worth a look."]


def test_warnings_of_the_report_reach_the_terminal_and_stand_once_on_the_page(desk):
    whole = save(desk)[-1]
    project = read_project(desk.path)
    report = compile_film(project.assembly, project.choreography).report
    assert "faster than reads well" in report.warnings[0].what
    assert tuple(whole.warnings) == report.warnings
    assert not whole.findings
    assert b'"warnings"' not in whole.text()
