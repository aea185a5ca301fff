"""Comparisons of tracks whose differences are made by hand, one at a time."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from small_tracks import FRAMES, small_tracks

from choreo.cli import main
from choreo.model.plan import Region
from choreo.model.sign_off import Makings, SectionNow
from choreo.model.tracks import FilmSection, Holdout, Key, OrderSpan
from choreo.read.tracks_json import read_tracks
from choreo.review.compare import compare
from choreo.review.compare_words import comparison_json, comparison_words
from choreo.review.unseen import _camera_room, without_unseen
from choreo.write.tracks_json import tracks_text


def with_part(tracks, part, **changes):
    shot = tracks.shots[0]
    parts = tuple(replace(one, **changes) if one.id == part else one for one in shot.parts)
    return replace(tracks, shots=(replace(shot, parts=parts), *tracks.shots[1:]))


def with_shot(tracks, **changes):
    return replace(tracks, shots=(replace(tracks.shots[0], **changes), *tracks.shots[1:]))


OLD = small_tracks()


def test_the_same_differs_in_nothing():
    found = compare(OLD, small_tracks())
    assert found.nothing
    assert comparison_words(found) == ["Nothing differs."]


def test_what_was_written_and_read_again_differs_in_nothing():
    text = tracks_text(OLD)
    assert compare(read_tracks(text), read_tracks(text)).nothing


def test_one_part_on_one_frame():
    # By hand: 3 px right and 4 px down is 5 px away.
    lid = OLD.shots[0].parts[1]
    screen = lid.screen.copy()
    screen[4] += (3, 4)
    (shot,) = compare(OLD, with_part(OLD, "lid", screen=screen)).shots
    (part,) = shot.parts
    assert (part.part, part.first, part.last, part.frames) == ("lid", 4, 4, 1)
    assert part.most_px == pytest.approx(5)
    assert (shot.changed, shot.order_frames, shot.mask_frames, shot.camera_frames) == ((4,), 0, 0, 0)


@pytest.mark.parametrize(("away", "differs"), [(9e-7, False), (2e-6, True)])
def test_what_nobody_can_see_is_no_difference(away, differs):
    lid = OLD.shots[0].parts[1]
    for changes in ({"screen": lid.screen + away}, {"position": lid.position + away}, {"turn": np.full(FRAMES, away)}):
        old = with_part(OLD, "lid", turn=np.zeros(FRAMES)) if "turn" in changes else OLD
        assert compare(old, with_part(old, "lid", **changes)).nothing != differs
    hero = OLD.shots[0].hero_opacity + away
    assert compare(OLD, with_shot(OLD, hero_opacity=hero)).nothing != differs


@pytest.mark.parametrize(("share", "differs"), [(9e-11, False), (2e-10, True)])
def test_cameras_and_sizes_are_told_apart_by_share(share, differs):
    cameras = OLD.shots[0].cameras * (1 + share)
    assert compare(OLD, with_shot(OLD, cameras=cameras)).nothing != differs
    lid = OLD.shots[0].parts[1]
    assert compare(OLD, with_part(OLD, "lid", scale=lid.scale * (1 + 10 * share))).nothing != differs


def test_a_camera_that_turns_a_hair_leaves_all_within_a_millionth_of_a_pixel():
    # The tolerance of a camera, at its worst, on points of a product of 200 mm at 500 mm, through a lens of 4000 px.
    matrix = np.array([[4000.0, 0, 960, 960 * 500], [0, -4000, 540, 540 * 500], [0, 0, 1, 500]])
    points = np.array(np.meshgrid(*[[-100.0, 100.0]] * 3)).reshape(3, -1)
    worst = 0.0
    for signs in np.random.default_rng(0).choice([-1.0, 1.0], (200, 3, 4)):
        rows = matrix + signs * _camera_room(matrix[None])[0]
        one, two = (m[:, :3] @ points + m[:, 3:] for m in (matrix, rows))
        worst = max(worst, float(np.abs(one[:2] / one[2] - two[:2] / two[2]).max()))
    assert worst <= 1e-6


def test_holdouts_that_are_rounded_otherwise_are_the_same():
    masking = OLD.shots[0].masking
    first = masking.holdouts[0]

    def moved(away):
        outline = tuple((x + away, y) for x, y in first.region[0].outline)
        region = (replace(first.region[0], outline=outline),)
        held = replace(masking, holdouts=(replace(first, region=region), *masking.holdouts[1:]))
        return compare(OLD, with_shot(OLD, masking=held))

    assert moved(1e-4).nothing
    assert not moved(2e-4).nothing


def test_what_is_seen_keeps_its_digits_beside_what_is_not():
    lid = OLD.shots[0].parts[1]
    screen = lid.screen + 1e-8
    screen[4] += (3, 4)
    new = without_unseen(OLD, with_part(OLD, "lid", screen=screen, opacity=lid.opacity[:]))
    found = new.shots[0].parts[1].screen
    np.testing.assert_array_equal(np.delete(found, 4, axis=0), np.delete(lid.screen, 4, axis=0))
    np.testing.assert_array_equal(found[4], screen[4])
    (shot,) = compare(OLD, new).shots
    assert shot.changed == (4,)


def test_shots_of_other_lengths_are_held_against_each_other_as_far_as_both_go():
    shot = OLD.shots[0]
    lid = shot.parts[1]
    short = replace(lid, **{name: getattr(lid, name)[:5] + 1e-8 for name in ("position", "screen")})
    longer = without_unseen(with_part(OLD, "lid", **vars(short)), OLD).shots[0].parts[1]
    assert len(longer.screen) == FRAMES
    np.testing.assert_array_equal(longer.screen[:5], short.screen)
    np.testing.assert_array_equal(longer.screen[5:], lid.screen[5:])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"scale": np.full(FRAMES, 11.0)}, "10 % in size"),
        ({"opacity": np.full(FRAMES, 0.25)}, "75 % in opacity"),
        ({"turn": np.full(FRAMES, 30.0)}, "turned by 30 degrees"),
        ({"plate_frame": (7.0,) * FRAMES}, "another photograph on 9 frames"),
        ({"position": OLD.shots[0].parts[1].position + 1}, "in depth alone"),
    ],
)
def test_each_kind_of_difference_has_its_words(change, said):
    found = compare(OLD, with_part(OLD, "lid", **change))
    assert any(said in line for line in comparison_words(found))


def test_a_move_that_starts_later_is_said_in_frames():
    keys = (Key(3, 0.0, "linear"), Key(8, 1.0))
    lid = OLD.shots[0].parts[1]
    found = compare(OLD, with_part(OLD, "lid", keys=keys, position=lid.position * 0.5))
    assert "    its move over frames 1 to 7 is now frames 3 to 8." in comparison_words(found)


def test_orders_count_frame_by_frame():
    orders = (OrderSpan(0, 4, ("box", "lid", "knob")), OrderSpan(5, 8, ("box", "knob", "lid")))
    (shot,) = compare(OLD, with_shot(OLD, masking=replace(OLD.shots[0].masking, orders=orders))).shots
    assert (shot.order_frames, shot.changed) == (1, (4,))


def test_spans_that_say_the_same_in_other_pieces_do_not_count():
    orders = (
        OrderSpan(0, 1, ("box", "lid", "knob")),
        OrderSpan(2, 3, ("box", "lid", "knob")),
        *OLD.shots[0].masking.orders[1:],
    )
    assert compare(OLD, with_shot(OLD, masking=replace(OLD.shots[0].masking, orders=orders))).nothing


def test_masks_are_compared_by_area():
    # By hand: a square of 10 px that moves by 2 px leaves 20 on one side and takes 20 on the other.
    def square(x):
        return Holdout("lid", 2, 3, (Region(((x, 0.0), (x + 10, 0.0), (x + 10, 10.0), (x, 10.0))),), ("box",))

    masking = OLD.shots[0].masking
    one = with_shot(OLD, masking=replace(masking, holdouts=(square(0.0),)))
    two = with_shot(OLD, masking=replace(masking, holdouts=(square(2.0),)))
    (shot,) = compare(one, two).shots
    assert (shot.mask_frames, shot.mask_px) == (2, pytest.approx(40))
    assert shot.changed == (2, 3)


def test_camera_and_hero():
    shot = OLD.shots[0]
    cameras, hero = shot.cameras.copy(), shot.hero_opacity.copy()
    cameras[0, 0, 3] += 1
    hero[8] = 0.5
    (found,) = compare(OLD, with_shot(OLD, cameras=cameras, hero_opacity=hero)).shots
    assert (found.camera_frames, found.hero_frames, found.changed) == (1, 1, (0, 8))


def test_a_still_that_takes_over_one_part_by_itself():
    shot = OLD.shots[0]
    row = np.maximum(shot.hero_opacity, [0, 0, 0, 0.9, 1, 1, 1, 1, 1])
    own = with_shot(OLD, hero_parts={"lid": row})
    for one, two in ((OLD, own), (own, OLD)):
        (found,) = compare(one, two).shots
        assert (found.hero_frames, found.changed) == (5, (3, 4, 5, 6, 7))
    assert compare(own, with_shot(OLD, hero_parts={"lid": row + 9e-7 * (row < 1)})).nothing
    # That of the whole, written out, is that of the whole.
    assert compare(OLD, with_shot(OLD, hero_parts={"lid": shot.hero_opacity + 9e-7 * (shot.hero_opacity < 1)})).nothing


def test_parts_and_shots_that_come_and_go():
    shot = OLD.shots[0]
    fewer = with_shot(OLD, parts=shot.parts[:2])
    (found,) = compare(OLD, fewer).shots
    assert (found.parts_gone, found.parts_added, len(found.changed)) == (("knob",), (), FRAMES)
    (found,) = compare(fewer, OLD).shots
    assert found.parts_added == ("knob",)
    renamed = replace(OLD, shots=(OLD.shots[0], replace(OLD.shots[1], name="home")))
    found = compare(OLD, renamed)
    assert (found.shots_gone, found.shots_added, found.shots) == (("return",), ("home",), ())


def test_rate_and_resolution():
    found = compare(OLD, replace(OLD, frame_rate=(25, 1), resolution=(1280, 720)))
    assert comparison_words(found)[:2] == [
        "Film: frame rate 24000/1001 is now 25.",
        "Film: resolution 1920 x 1080 is now 1280 x 720.",
    ]


def test_data_for_machines_is_json():
    shorter = with_shot(OLD, hero_opacity=np.zeros(FRAMES))
    data = json.loads(json.dumps(comparison_json(compare(OLD, shorter))))
    assert data["nothing"] is False
    assert data["shots"][0]["hero_frames"] == 8


def test_the_command_reads_folders_and_files(tmp_path, capsys):
    (tmp_path / "tracks.json").write_text(tracks_text(OLD))
    other = tmp_path / "new.json"
    other.write_text(tracks_text(replace(OLD, frame_rate=(25, 1))))
    assert main(["compare", str(tmp_path), str(tmp_path)]) == 0
    assert capsys.readouterr().out == "Nothing differs.\n"
    assert main(["compare", str(tmp_path), str(other), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["film"] == ["frame rate 24000/1001 is now 25"]
    assert main(["compare", str(tmp_path), str(tmp_path / "gone")]) == 2
    other.write_text("{}")
    assert main(["compare", str(tmp_path), str(other)]) == 2


def sections(old, new, contents=None):
    return [
        (one.section, one.state, one.frames_old, one.frames_new, one.changed_frames)
        for one in compare(old, new, contents).sections
    ]


def test_sections_that_differ():
    # By hand: sections are frames 0 to 3 and 4 to 17 of two shots of nine frames.
    lid = OLD.shots[0].parts[1]
    screen = lid.screen.copy()
    screen[3:6] += 1
    assert sections(OLD, with_part(OLD, "lid", screen=screen)) == [
        ("opening", "differs", 4, 4, 1),
        ("rest", "differs", 14, 14, 2),
    ]
    screen[3] -= 1
    found = compare(OLD, with_part(OLD, "lid", screen=screen))
    assert [one.section for one in found.sections] == ["rest"]
    assert comparison_words(found)[-1] == "Section rest: 2 of 14 frames differ."


def test_sections_that_are_cut_otherwise_came_or_went():
    cut = replace(OLD, sections=(FilmSection("opening", 0, 4), FilmSection("end", 5, 17)))
    assert sections(OLD, cut) == [
        ("opening", "differs", 4, 5, 0),
        ("end", "new", 0, 13, 0),
        ("rest", "gone", 14, 0, 0),
    ]
    assert comparison_words(compare(OLD, cut)) == [
        "Section opening: 4 frames are now 5.",
        "Section end is new.",
        "Section rest is gone.",
    ]


def test_a_section_that_only_lies_elsewhere_does_not_differ():
    whole = (FilmSection("one", 0, 8), FilmSection("two", 9, 17))
    swapped = replace(
        OLD,
        shots=(replace(OLD.shots[1], start_frame=0), replace(OLD.shots[0], start_frame=9)),
        sections=(FilmSection("two", 0, 8), FilmSection("one", 9, 17)),
    )
    assert compare(replace(OLD, sections=whole), swapped).nothing


def test_another_rate_is_another_section():
    assert sections(OLD, replace(OLD, frame_rate=(25, 1)))[0] == ("opening", "differs", 4, 4, 4)


def test_what_sections_show_counts_where_it_is_known():
    def shows(look, **content):
        makings = Makings({}, {"lid": {"look": look}})
        return [
            SectionNow(name, a, b, content.get(name, "same"), makings, ("0" * 12,) * (b + 1 - a))
            for name, a, b in (("opening", 0, 3), ("rest", 4, 17))
        ]

    found = compare(OLD, OLD, (shows("a"), shows("b", rest="other")))
    assert not found.nothing
    assert comparison_words(found) == ["Section rest: its tracks are the same; changed: the look of lid."]
    assert compare(OLD, OLD, (shows("a"), shows("b"))).nothing
