"""The digest of a section is equal exactly where its content is, whatever is edited."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_tracks import FRAMES, TRIANGLE, small_tracks

from choreo.model.assembly import Assembly, Hero, Part, Plate, Slab, ViewAngle
from choreo.model.plan import Region
from choreo.model.tracks import Holdout, Key, Masking, OrderSpan, Spin
from choreo.motion.law import evaluate_keys
from choreo.motion.path import position
from choreo.read.tracks_json import read_tracks
from choreo.review.section_content import pictures_of, section_digest
from choreo.write.tracks_json import tracks_text

SQUARE = ((0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0))
IDS = ("box", "lid", "knob")


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
FILM = (TRACKS, ASSEMBLY, PICTURES)


def plainly(film, first, last):
    """What a section shows, frame by frame, written out; parts go by their layer on its first frame."""
    tracks, assembly, pictures = film
    frames = [(shot, f - shot.start_frame) for f in range(first, last + 1) for shot in tracks.shots if has(shot, f)]
    names = list(order_of(*frames[0]))
    said = [tracks.frame_rate, tracks.resolution, [look(assembly, pictures, frames, name) for name in names]]
    near = [shot.hero_opacity[clip(shot, f + step)] for shot, f in frames for step in (-1, 0, 1)]
    if any(near):
        said.append([near, pictures.get("hero.png"), assembly.hero])
    said.extend(frame_of(names, shot, f) for shot, f in frames)
    said.append([taken_over(names, shot, [f for other, f in frames if other is shot]) for shot in whom(frames)])
    said.append([shot is other for (shot, _), (other, _) in pairwise(frames)])
    return repr(plain(said))


def whom(frames):
    return [shot for n, (shot, _) in enumerate(frames) if n == 0 or frames[n - 1][0] is not shot]


def taken_over(names, shot, frames):
    """Rows of the parts that the still has taken over; who stands where at the ends that these belong to."""
    near = [[clip(shot, f + s) for s in (-1, 0, 1)] for f in frames]
    rows = {part: row for part, row in shot.hero_parts.items()
            if any(row[n] > shot.hero_opacity[n] for three in near for n in three)}  # fmt: skip
    said = [[names.index(part), [[row[n] for n in three] for three in near]] for part, row in rows.items()]
    return [sorted(said), [at_end(names, shot, end) for end in ends_of(shot, rows.values(), near)]]


def ends_of(shot, rows, near):
    early = [all(value > 0 for value in row[: n + 1]) for row in rows for three in near for n in three]
    return [0] * (True in early) + [FRAMES - 1] * (False in early)


def at_end(names, shot, end):
    rows = [end, shot.cameras[end].tolist(), [names.index(part) for part in order_of(shot, end)]]
    for name in names:
        track = next(track for track in shot.parts if track.id == name)
        register = [0.0, 0, 1, 0] if track.register is None else track.register[end].tolist()
        turn = 0.0 if track.turn is None else track.turn[end]
        rows.append([track.position[end].tolist(), track.screen[end].tolist(), track.scale[end], track.opacity[end],
                     track.plate_frame[end], turn, register])  # fmt: skip
    held = [h for h in shot.masking.holdouts if h.first <= end <= h.last and h.region]
    rows.append(sorted([names.index(h.part), [names.index(b) for b in h.behind], repr(h.region)] for h in held))
    return rows


def plain(value):
    """Lists, words, and floats without a minus before 0."""
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    return float(value) + 0.0 if isinstance(value, int | float | np.floating) else repr(value)


def has(shot, f):
    return shot.start_frame <= f < shot.start_frame + shot.frames


def clip(shot, f):
    return min(max(f, 0), shot.frames - 1)


def order_of(shot, f):
    (order,) = [span.back_to_front for span in shot.masking.orders if span.first <= f <= span.last]
    return order


def look(assembly, pictures, frames, name):
    part = assembly.part(name)
    shown = []
    for plate in assembly.plates:
        if plate.part == name:
            seen = [*frames]
            for shot in whom(frames):
                near = [[clip(shot, f + s) for s in (-1, 0, 1)] for other, f in frames if other is shot]
                taken = [row for row in shot.hero_parts.values()
                         if any(row[n] > shot.hero_opacity[n] for three in near for n in three)]  # fmt: skip
                seen += [(shot, end) for end in ends_of(shot, taken, near)]
            tracks = [next(t for t in shot.parts if t.id == name).plate_frame[f] for shot, f in seen]
            numbers = {math.floor(n + 0.5) for n in tracks if n is not None}
            files = [plate.file] if plate.frames is None else [f"knob/{n:03}.png" for n in sorted(numbers)]
            shown.append([plate.px_per_mm, plate.pivot_px, plate.turn, [(file, pictures.get(file)) for file in files]])
    return [part.colour, part.offset, part.slabs, shown]


def frame_of(names, shot, f):
    rows = [[names.index(part) for part in order_of(shot, f)], [shot.cameras[clip(shot, f + s)].tolist() for s in
            (-2, -1, 0, 1, 2)]]  # fmt: skip
    for name in names:
        track = next(track for track in shot.parts if track.id == name)
        way = evaluate_keys(track.keys, [f - 0.25, f + 0.25])
        u = np.clip((way - track.spin.since) / (1 - track.spin.since), 0, 1) if track.spin else np.zeros(2)
        register = np.tile([0, 0, 1, 0], (FRAMES, 1)) if track.register is None else track.register
        rows.append(
            [
                track.position[f].tolist(),
                position(track.route, way).tolist(),
                track.screen[f].tolist(),
                [track.scale[f], track.opacity[f], track.plate_frame[f], 0.0 if track.turn is None else track.turn[f]],
                (track.spin.degrees if track.spin else 0) * u * u * (3 - 2 * u),
                [register[clip(shot, f + s)].tolist() for s in (-1, 0, 1)],
            ]
        )
    held = [h for h in shot.masking.holdouts if h.first <= f <= h.last and h.region]
    rows.append(sorted([names.index(h.part), [names.index(b) for b in h.behind], repr(h.region)] for h in held))
    return rows


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


def turned(film, shot, part, f):
    return in_track(
        film, shot, part, lambda one: replace(one, spin=Spin(90.0, 0.5), turn=nudged(np.zeros(FRAMES), f, 1.0))
    )


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


unseen = in_part(label="Another"), in_part(stand_in="bought")
"""What is said of a part, and not drawn."""
EDITS = [
    *map(sampled, ("position", "screen", "scale", "opacity")),
    *(plate_frame, turned, registered, rekeyed, camera, hero, swapped, split, held, picture, nothing),
    taken,
    tilted,
    in_part(colour="#336698"),
    *unseen,
    in_part(slabs=(Slab(SQUARE, (), (0.0, 2.5)),)),
]
edits = st.lists(
    st.tuples(st.sampled_from(EDITS), st.integers(0, 1), st.sampled_from(IDS), st.integers(0, FRAMES - 1)), max_size=3
)


def edited(steps, *, rename=False):
    film = FILM
    for edit, *where in steps:
        film = edit(film, *where)
    return renamed(film, 0, "", 0) if rename else film


@settings(max_examples=250)
@given(
    one=edits,
    other=edits,
    rename=st.booleans(),
    ends=st.tuples(st.integers(0, 2 * FRAMES - 1), st.integers(0, 2 * FRAMES - 1)).map(sorted),
)
def test_digests_are_equal_exactly_where_contents_are(one, other, rename, ends):
    a, b = edited(one), edited([*one, *other], rename=rename)
    digests = [section_digest(*film[:2], *ends, film[2]) for film in (a, b)]
    assert (digests[0] == digests[1]) == (plainly(a, *ends) == plainly(b, *ends))


@pytest.mark.parametrize("edit", EDITS[:13], ids=lambda one: one.__name__)
def test_an_edit_far_from_a_section_leaves_it_alone(edit):
    before = section_digest(TRACKS, ASSEMBLY, 9, 17, PICTURES)
    after = edit(FILM, 0, "lid", 4)
    assert section_digest(*after[:2], 9, 17, after[2]) == before


def test_every_kind_of_edit_is_seen_where_it_is_made():
    # Each on the lid on frame 3; but what is written otherwise and shows the same.
    for edit in EDITS:
        after = edit(FILM, 0, "box" if edit in (plate_frame, tilted) else "lid", 3)
        same = section_digest(*after[:2], 2, 5, after[2]) == section_digest(TRACKS, ASSEMBLY, 2, 5, PICTURES)
        assert same == (edit in (split, nothing, *unseen) or (edit is picture and list(PICTURES)[3] == "knob/001.png"))


def test_who_shows_at_the_end_counts_where_parts_are_taken_over():
    # By hand: on frames 3 to 5 the still lies over the lid, as far as it shows on the shot's last frame, 8.
    rows = np.r_[np.zeros(3), 0.5, 0.75, np.ones(4)]
    film = in_shot(FILM, 0, hero_opacity=np.zeros(FRAMES), hero_parts={"lid": rows})

    def digest(film, last):
        return section_digest(*film[:2], 0, last, film[2])

    for edit in (sampled("screen"), sampled("opacity"), registered, camera, swapped, held):
        after = edit(film, 0, "knob", 8)
        assert digest(after, 1) == digest(film, 1), edit  # frame 2 is beside it, and 3 beside that
        assert digest(after, 2) != digest(film, 2), edit
        assert digest(after, 5) != digest(film, 5), edit
    assert "knob/008.png" in pictures_of(film[0], ASSEMBLY, 2, 4)
    assert "knob/008.png" not in pictures_of(film[0], ASSEMBLY, 0, 1)


def test_only_pictures_that_are_shown_count():
    assert pictures_of(TRACKS, ASSEMBLY, 9, 11) == ("box.png", "knob/000.png", "knob/001.png", "knob/002.png")
    assert pictures_of(TRACKS, ASSEMBLY, 7, 8)[-1] == "hero.png"


def test_a_shutter_that_reaches_into_the_next_section_counts():
    # By hand: the lid's keys stand on 1 and 7. A section that ends on frame 7 is open until 7.25, one on 0 until 0.25.
    def later(one):
        return replace(one, keys=(Key(1, 0.0, "linear"), Key(7, 1.0), Key(8, 1.5)))

    longer = in_track(FILM, 0, "lid", later)
    linear = in_track(FILM, 0, "lid", lambda one: replace(one, keys=(Key(1, 0.0, "linear"), Key(7, 1.0))))

    def ends_on(film, last):
        return section_digest(*film[:2], 0, last, film[2])

    assert ends_on(longer, 6) == ends_on(linear, 6)
    assert ends_on(longer, 7) != ends_on(linear, 7)


@pytest.mark.parametrize("ends", [(-1, 3), (5, 18), (4, 3)])
def test_frames_that_are_not_in_the_film_are_refused(ends):
    with pytest.raises(ValueError, match="not all in the film"):
        section_digest(TRACKS, ASSEMBLY, *ends)
