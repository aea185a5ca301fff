"""Frames that are made of the same are drawn from the same, to the last bit: what the renderer reads is the referee."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_tracks import FRAMES, TRIANGLE, small_tracks

from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Assembly, Hero, Part, Plate, Slab, ViewAngle
from choreo.model.plan import Region
from choreo.model.tracks import Holdout, Key, Masking, OrderSpan, Spin
from choreo.motion.law import evaluate_keys
from choreo.motion.spin import turn_at
from choreo.picture.render.frame import Renderer
from choreo.picture.render.plates import PlateImage
from choreo.read.tracks_json import read_tracks
from choreo.review.frame_content import FrameContents, Shown, packed
from choreo.write.tracks_json import tracks_text

SQUARE = ((0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0))
IDS = ("box", "lid", "knob")


def order_of(shot, f):
    (order,) = [span.back_to_front for span in shot.masking.orders if span.first <= f <= span.last]
    return order


def two_holdouts():
    """The small tracks with one more holdout, so that two stand on the same frames."""
    tracks = small_tracks()
    more = Holdout("knob", 1, 3, (Region(TRIANGLE),), ("lid", "box"))
    masking = replace(tracks.shots[0].masking, holdouts=(*tracks.shots[0].masking.holdouts, more))
    return replace(tracks, shots=(replace(tracks.shots[0], masking=masking), tracks.shots[1]))


TRACKS = read_tracks(tracks_text(two_holdouts()))
ASSEMBLY = Assembly(
    "Tin (invented)",
    0.05,
    tuple(Part(one, one.title(), "#336699", (0.0, 0.0, 1.0), (Slab(SQUARE, (), (0.0, 2.0)),)) for one in IDS),
    plates=(
        Plate("box", "box.png", 10.0, (5.0, 5.0), ViewAngle()),
        Plate("knob", "knob/###.png", 10.0, (5.0, 5.0), ViewAngle(), frames=(0, 8)),
    ),
    hero=Hero("hero.png", 10.0, (5.0, 5.0), ViewAngle()),
)
PICTURES = {name: f"sha256:{name}" for name in ("box.png", "hero.png", *(f"knob/{n:03}.png" for n in range(9)))}
HERO = PlateImage(np.ones((9, 9, 4), dtype=np.float32), 10.0, (5.0, 5.0))
FILM = (TRACKS, ASSEMBLY, PICTURES)


def in_shot(film, number, **changes):
    tracks, *rest = film
    shots = list(tracks.shots)
    shots[number] = replace(shots[number], **changes)
    return (replace(tracks, shots=tuple(shots)), *rest)


def in_track(film, number, part, change):
    parts = tuple(change(one) if one.id == part else one for one in film[0].shots[number].parts)
    return in_shot(film, number, parts=parts)


def nudged(array, at, by=1e-9):
    out = np.array(array, dtype=float)
    out[at] += by
    return out


def sampled(field):
    def edit(film, shot, part, f):
        return in_track(film, shot, part, lambda one: replace(one, **{field: nudged(getattr(one, field), f)}))

    return edit


def plate_frame(film, shot, part, f):
    def change(one):
        return replace(one, plate_frame=tuple(3.0 if n == f else old for n, old in enumerate(one.plate_frame)))

    return in_track(film, shot, part, change)


def registered(film, shot, part, f):
    return in_track(
        film, shot, part, lambda one: replace(one, register=nudged(np.tile([0.0, 0, 1, 0], (FRAMES, 1)), f))
    )


def rekeyed(film, shot, part, f):
    """Another easing from a key on; at f = 0 the same one again."""
    easing = "linear" if f else None
    return in_track(
        film, shot, part, lambda one: replace(one, keys=tuple(replace(key, easing=easing) for key in one.keys))
    )


def camera(film, shot, _part, f):
    return in_shot(film, shot, cameras=nudged(film[0].shots[shot].cameras, (f, 0, 3)))


def hero(film, shot, _part, f):
    return in_shot(film, shot, hero_opacity=nudged(film[0].shots[shot].hero_opacity, f, 0.01))


def taken(film, shot, part, f):
    """The still lies over a part by more than over the whole, on one frame."""
    was = film[0].shots[shot]
    row = np.array(was.hero_parts.get(part, was.hero_opacity))
    row[f] = (row[f] + 1) / 2
    return in_shot(film, shot, hero_parts={**was.hero_parts, part: row})


def masked(film, shot, orders, holdouts):
    return in_shot(film, shot, masking=Masking(tuple(orders), tuple(holdouts)))


def swapped(film, shot, _part, f):
    """Two layers change places on one frame."""
    was, spans = film[0].shots[shot], []
    for frame in range(FRAMES):
        order = order_of(was, frame)
        spans.append(OrderSpan(frame, frame, order[:1] + order[:0:-1] if frame == f else order))
    return masked(film, shot, spans, was.masking.holdouts)


def split(film, shot, _part, _f):
    """The same orders and holdouts, a span for every frame, holdouts the other way round."""
    was = film[0].shots[shot]
    spans = [OrderSpan(frame, frame, order_of(was, frame)) for frame in range(FRAMES)]
    holds = [replace(h, first=n, last=n) for h in was.masking.holdouts for n in range(h.first, h.last + 1)]
    return masked(film, shot, spans, reversed(holds))


def held(film, shot, part, f):
    was = film[0].shots[shot].masking
    more = Holdout(part, f, f, (Region(TRIANGLE),), tuple(one for one in IDS if one != part)[:1])
    return masked(film, shot, was.orders, (*was.holdouts, more))


def renamed(film, _shot, _part, _f):
    """Ids and names of shots change, and the order of parts in the file."""
    tracks, assembly, pictures = film
    if assembly.ids[0] != "box":
        return film
    new = {"box": "a", "lid": "z", "knob": "m"}
    shots = []
    for shot in tracks.shots:
        orders = tuple(replace(o, back_to_front=tuple(new[p] for p in o.back_to_front)) for o in shot.masking.orders)
        holds = tuple(
            replace(h, part=new[h.part], behind=tuple(new[b] for b in h.behind)) for h in shot.masking.holdouts
        )
        parts = tuple(replace(one, id=new[one.id]) for one in reversed(shot.parts))
        own = {new[part]: row for part, row in shot.hero_parts.items()}
        masking = Masking(orders, holds)
        shots.append(replace(shot, name=shot.name + "'", parts=parts, masking=masking, hero_parts=own))
    parts = tuple(replace(one, id=new[one.id]) for one in reversed(assembly.parts))
    plates = tuple(replace(one, part=new[one.part]) for one in assembly.plates)
    return replace(tracks, shots=tuple(shots)), replace(assembly, parts=parts, plates=plates), pictures


def in_part(**changes):
    def edit(film, _shot, part, _f):
        tracks, assembly, pictures = film
        parts = tuple(replace(one, **changes) if one.id == part else one for one in assembly.parts)
        return tracks, replace(assembly, parts=parts), pictures

    return edit


def picture(film, _shot, _part, f):
    tracks, assembly, pictures = film
    name = list(PICTURES)[f]
    return tracks, assembly, {**pictures, name: "sha256:another"}


def tilted(film, _shot, part, _f):
    """The plate of a part, or the hero still, lies otherwise."""
    tracks, assembly, pictures = film
    if part == "lid":
        return tracks, replace(assembly, hero=replace(assembly.hero, turn=1.0)), pictures
    plates = tuple(replace(one, turn=1.0) if one.part == part else one for one in assembly.plates)
    return tracks, replace(assembly, plates=plates), pictures


def nothing(film, _shot, _part, _f):
    return film


def no_photograph(film, shot, part, f):
    """No photograph is named on one frame."""

    def change(one):
        return replace(one, plate_frame=tuple(None if n == f else old for n, old in enumerate(one.plate_frame)))

    return in_track(film, shot, part, change)


def rerouted(film, shot, part, f):
    """The way of a part by a hair another one; at f = 0 the same one."""
    return in_track(film, shot, part, lambda one: replace(one, route=one.route * (1 + f * 1e-12)))


def turned(film, shot, part, f):
    """A part that has rested turns; more, the later the frame."""

    def change(one):
        spin = Spin(10.0 + f, 0.5)
        return replace(one, spin=spin, turn=turn_at(spin, evaluate_keys(one.keys, np.arange(FRAMES))))

    return in_track(film, shot, part, change)


unseen = in_part(label="Another"), in_part(stand_in="bought")
"""What is said of a part, and not drawn."""
SAMPLED = {field: sampled(field) for field in ("position", "screen", "scale", "opacity")}
EDITS = [
    *SAMPLED.values(),
    *(
        plate_frame,
        no_photograph,
        turned,
        registered,
        rekeyed,
        rerouted,
        camera,
        hero,
        taken,
        swapped,
        split,
        held,
        picture,
    ),
    *(nothing, tilted, *unseen),
    in_part(colour="#336698"),
    in_part(slabs=(Slab(SQUARE, (), (0.0, 2.5)),)),
    in_part(offset=(0.0, 0.0, 2.0)),
]
edits = st.lists(
    st.tuples(st.sampled_from(EDITS), st.integers(0, 1), st.sampled_from(IDS), st.integers(0, FRAMES - 1)), max_size=3
)


def edited(steps, *, rename=False):
    film = FILM
    for edit, *where in steps:
        film = edit(film, *where)
    return renamed(film, 0, "", 0) if rename else film


def contents_of(film, *, moving=True):
    tracks, assembly, pictures = film
    plates = {plate.part: plate for plate in assembly.plates}
    heroes = {shot.name: assembly.hero if shot.hero_opacity.any() or shot.hero_parts else None for shot in tracks.shots}
    shown = {name: Shown(plates, hero) for name, hero in heroes.items()}

    def of(plate, number):
        numbered = isinstance(plate, Plate) and plate.frames is not None
        return pictures[f"knob/{int(number + 0.5):03}.png" if numbered else plate.file]

    return FrameContents(assembly, tracks.resolution, shown, of, moving=moving)


def digests(film, *, moving=True):
    contents = contents_of(film, moving=moving)
    return [contents.digest(shot, frame) for shot in film[0].shots for frame in range(shot.frames)]


def read_by_renderer(film, shot, frame, shutter):
    """All that a frame is drawn from, at its instants, as the renderer reads it; parts go by their layers."""
    tracks, assembly, pictures = film
    solids = {part.id: build_solid(part.slabs, part.offset) for part in assembly.parts}
    renderer = Renderer(assembly, solids, tracks.resolution, hero=HERO, shutter=shutter)
    said = []
    moments = renderer._moments(shot, frame)
    for moment in moments + [renderer.moment(shot, end) for one in moments for end in one.ends.values()]:
        rank = {part: number for number, part in enumerate(moment.order)}
        said.append([moment.camera.matrix.tobytes(), moment.hero, tracks.resolution])
        for name in moment.order:
            at, part = moment.parts[name], assembly.part(name)
            said.append(
                [
                    at.camera.matrix.tobytes(),
                    at.shift.tobytes(),
                    at.screen,
                    at.scale,
                    at.opacity,
                    at.turn,
                    part.slabs,
                    part.offset,
                ]
            )
            said += [[hold.region.wkb, [rank[one] for one in hold.behind]] for hold in moment.holds.get(name, ())]
            plate = next((one for one in assembly.plates if one.part == name), None)
            if plate is None or (plate.frames and at.plate_frame is None):
                said.append(part.colour)
            else:
                file = f"knob/{int(at.plate_frame + 0.5):03}.png" if plate.frames else plate.file
                said.append([pictures[file], plate.px_per_mm, plate.pivot_px, plate.turn, at.register])
        said += sorted([rank[part], by, moment.ends[part] == 0] for part, by in moment.atop.items())
        if moment.hero > 0 or moment.atop:
            still = assembly.hero
            said.append([pictures[still.file], still.px_per_mm, still.pivot_px, still.turn])
    return repr(said)


@settings(max_examples=60)
@given(
    one=edits,
    other=edits,
    rename=st.booleans(),
    frame=st.integers(0, FRAMES - 1),
    shutter=st.sampled_from([0.0, 180.0, 180.0, 360.0]),
)
def test_frames_made_of_the_same_are_drawn_from_the_same(one, other, rename, frame, shutter):
    a, b = edited(one), edited([*one, *other], rename=rename)
    for number in (0, 1):
        made = [contents_of(film, moving=shutter > 0).digest(film[0].shots[number], frame) for film in (a, b)]
        read = [read_by_renderer(film, film[0].shots[number], frame, shutter) for film in (a, b)]
        assert made[0] != made[1] or read[0] == read[1]


def later(film, by):
    """The same shot after a longer start: everything happens `by` frames later."""
    shots = []
    for number, shot in enumerate(film[0].shots):

        def shifted(rows, shot=shot):
            return np.concatenate([np.repeat(rows[:1], by, axis=0), rows])

        parts = tuple(
            replace(
                track,
                keys=tuple(replace(key, frame=key.frame + by) for key in track.keys),
                plate_frame=(track.plate_frame[0],) * by + track.plate_frame,
                **{
                    name: shifted(getattr(track, name))
                    for name in ("position", "screen", "scale", "opacity", "turn", "register")
                    if getattr(track, name) is not None
                },
            )
            for track in shot.parts
        )
        orders = tuple(replace(o, first=o.first + by * (o.first > 0), last=o.last + by) for o in shot.masking.orders)
        holds = tuple(replace(h, first=h.first + by, last=h.last + by) for h in shot.masking.holdouts)
        shots.append(
            replace(
                shot,
                start_frame=number * (FRAMES + by),
                frames=shot.frames + by,
                cameras=shifted(shot.cameras),
                hero_opacity=shifted(shot.hero_opacity),
                hero_parts={part: shifted(row) for part, row in shot.hero_parts.items()},
                parts=parts,
                masking=Masking(orders, holds),
            )
        )
    return (replace(film[0], shots=tuple(shots), sections=()), *film[1:])


@settings(max_examples=40)
@given(steps=edits, starts=st.tuples(st.integers(2, 300), st.integers(2, 300)), frame=st.integers(2, FRAMES - 1))
def test_a_frame_that_comes_later_is_the_same_only_where_times_are_rounded_alike(steps, starts, frame):
    films = [later(edited(steps), start) for start in starts]
    shots = [film[0].shots[0] for film in films]
    made, read = [], []
    for film, shot, start in zip(films, shots, starts, strict=True):
        made.append(contents_of(film).digest(shot, frame + start))
        read.append(read_by_renderer(film, shot, frame + start, 180.0))
    assert made[0] != made[1] or read[0] == read[1]
    # Between two powers of two all times are rounded alike.
    if len({(frame + start + step).bit_length() for start in starts for step in range(-3, 4)}) == 1:
        assert made[0] == made[1]


LOCAL = [one for one in EDITS if "in_part" not in one.__qualname__ and one not in (tilted, rerouted, picture)]


@pytest.mark.parametrize("edit", LOCAL, ids=lambda one: one.__qualname__)
def test_an_edit_far_from_a_frame_leaves_it_alone(edit):
    before, after = digests(FILM), digests(edit(FILM, 0, "lid", 4))
    assert before[FRAMES:] == after[FRAMES:]
    if edit not in (turned, rekeyed):
        assert before[:2] == after[:2]
        assert before[7:FRAMES] == after[7:FRAMES]


def test_every_kind_of_edit_is_seen_where_it_is_made():
    # Each on the lid on frame 5, where no mask is; but what is written otherwise and shows the same, or is not read.
    for edit in EDITS:
        part = {plate_frame: "knob", no_photograph: "knob", registered: "box", tilted: "box"}.get(edit, "lid")
        after = edit(FILM, 0, part, 5)
        same = digests(after)[5] == digests(FILM)[5]
        assert same == (edit in (split, nothing, picture, *unseen, SAMPLED["screen"], SAMPLED["scale"])), edit
    assert digests(picture(FILM, 0, "", list(PICTURES).index("knob/005.png")))[5] != digests(FILM)[5]


def test_what_carries_a_mask_counts_with_it():
    # The lid's holdout on frame 3 goes along with the box, but only between frames.
    for field in ("screen", "scale"):
        after = sampled(field)(FILM, 0, "box", 3)
        assert digests(after)[3] != digests(FILM)[3]
        assert digests(after, moving=False) == digests(FILM, moving=False)


def test_the_colour_of_a_part_with_a_plate_is_not_drawn():
    for part, drawn in (("lid", True), ("box", False), ("knob", False)):
        after = in_part(colour="#000000")(FILM, 0, part, 0)
        assert (digests(after)[3] != digests(FILM)[3]) == drawn
    # But where no photograph of a sequence is named, it is a solid.
    bare = no_photograph(FILM, 0, "knob", 3)
    assert digests(in_part(colour="#000000")(bare, 0, "knob", 0))[3] != digests(bare)[3]


def differing(one, other, **look):
    return [n for n, (a, b) in enumerate(zip(digests(one, **look), digests(other, **look), strict=True)) if a != b]


def test_a_shutter_that_reaches_beyond_a_frame_counts():
    # By hand: the lid's keys stand on 1 and 7. On frame 7 the shutter is open until 7.25.
    def keyed(*last):
        return in_track(FILM, 0, "lid", lambda one: replace(one, keys=(Key(1, 0.0, "linear"), Key(7, 1.0), *last)))

    assert differing(keyed(Key(8, 1.5)), keyed()) == [7, 8]
    assert differing(keyed(Key(8, 1.5)), keyed(), moving=False) == []


def test_where_a_part_rests_counts_and_not_how_it_came_there():
    # The knob stands from frame 7 on, the lid goes on to 8: until then the shutter is open for the knob as well.
    def later(one):
        return replace(one, keys=(Key(1, 0.0, "linear"), Key(8, 1.0)))

    base = in_track(FILM, 0, "lid", later)
    bent = in_track(base, 0, "knob", lambda one: replace(one, route=np.insert(one.route, 1, [-5.0, 1.0, 0.0], axis=0)))
    assert differing(bent, base) == [1, 2, 3, 4, 5, 6, 7]
    ends = in_track(base, 0, "knob", lambda one: replace(one, route=nudged(one.route, (-1, 0))))
    assert differing(ends, base) == [1, 2, 3, 4, 5, 6, 7, 8]
    assert differing(ends, base, moving=False) == []


def test_a_part_that_rests_turned_is_not_one_that_rests_straight():
    def spun(degrees):
        return in_track(FILM, 0, "knob", lambda one: replace(one, spin=Spin(degrees, 0.5), turn=np.zeros(FRAMES)))

    for moving in (True, False):
        assert differing(spun(90.0), spun(80.0), moving=moving)[-1] == FRAMES - 1
        assert 0 not in differing(spun(90.0), spun(80.0), moving=moving)


def test_what_fades_reaches_a_frame_to_both_sides():
    def fading(frames):
        return [differing(edit(FILM, 0, "box", f), FILM) for edit in (hero, registered) for f in frames]

    assert fading([4]) == [[3, 4, 5], [3, 4, 5]]
    assert fading([8]) == [[7, 8], [7, 8]]
    assert fading([0]) == [[0, 1], [0, 1]]
    assert differing(hero(FILM, 0, "", 4), FILM, moving=False) == [4]


def test_who_shows_at_the_end_counts_where_parts_are_taken_over():
    # By hand: on frames 3 to 5 the still lies over the lid, as far as it shows on the shot's last frame, 8.
    rows = np.r_[np.zeros(3), 0.5, 0.75, np.ones(4)]
    film = in_shot(FILM, 0, hero_opacity=np.zeros(FRAMES), hero_parts={"lid": rows})
    for edit in (SAMPLED["position"], SAMPLED["opacity"], registered, swapped, held, plate_frame):
        assert differing(edit(film, 0, "knob", 8), film)[:6] == [2, 3, 4, 5, 6, 7], edit  # frame 2 is beside it
    assert differing(camera(film, 0, "", 8), film, moving=False) == [3, 4, 5, 6, 7, 8]
    # One that is there from the first frame on belongs to that, while it stays; then to the last.
    early = in_shot(FILM, 0, hero_opacity=np.zeros(FRAMES), hero_parts={"lid": np.r_[np.ones(4), np.zeros(3), 1, 1]})
    assert differing(SAMPLED["opacity"](early, 0, "knob", 0), early, moving=False) == [0, 1, 2, 3]
    assert differing(SAMPLED["opacity"](early, 0, "knob", 8), early, moving=False) == [7, 8]


def test_a_new_name_and_another_order_in_the_file_count_for_nothing():
    assert differing(renamed(FILM, 0, "", 0), FILM) == []


def test_a_hold_that_grows_at_the_end_changes_no_frame():
    tracks = later(FILM, 0)[0]
    longer = later(FILM, 0)[0].shots[1]
    rows = {
        name: np.concatenate([getattr(longer, name), np.repeat(getattr(longer, name)[-1:], 5, axis=0)])
        for name in ("cameras", "hero_opacity")
    }
    parts = tuple(
        replace(
            track,
            plate_frame=track.plate_frame + track.plate_frame[-1:] * 5,
            **{
                name: np.concatenate([getattr(track, name), np.repeat(getattr(track, name)[-1:], 5, axis=0)])
                for name in ("position", "screen", "scale", "opacity")
            },
        )
        for track in longer.parts
    )
    orders = (*longer.masking.orders[:-1], replace(longer.masking.orders[-1], last=FRAMES + 4))
    longer = replace(longer, frames=FRAMES + 5, parts=parts, masking=replace(longer.masking, orders=orders), **rows)
    film = (replace(tracks, shots=(tracks.shots[0], longer)), *FILM[1:])
    # The last frame of the short one is that which follows on the arrival.
    assert digests(film)[: 2 * FRAMES] == digests(FILM)
    assert len(set(digests(film)[2 * FRAMES - 1 :])) == 1


def test_a_last_frame_without_blur_is_reached_from_the_one_before():
    # In floats 1e20 + (960 - 1e20) is not 960.
    far = in_shot(FILM, 0, cameras=nudged(TRACKS.shots[0].cameras, (FRAMES - 2, 0, 3), 1e20))
    assert differing(far, FILM, moving=False) == [FRAMES - 2, FRAMES - 1]
    assert differing(camera(FILM, 0, "", FRAMES - 3), FILM, moving=False) == [FRAMES - 3]


@given(st.recursive(st.one_of(st.integers(-9, 9), st.text(max_size=3), st.binary(max_size=3)), st.tuples))
def test_no_two_values_are_packed_alike(value):
    assert packed(value) != packed((value,)) != packed(value, value) != packed((value, value))
    assert packed(value) == packed(value)
