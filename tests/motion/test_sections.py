"""Sections partition the film, whatever was named; what cannot stand is said."""

from hypothesis import given
from hypothesis import strategies as st

from choreo.model.choreography import FrameRate, Section
from choreo.model.tracks import FilmSection
from choreo.motion.sections import lay_out_sections, sections_within, spans_of

FILM = FrameRate(24000, 1001)


def spread(*lengths):
    return spans_of([(f"shot{index}", length) for index, length in enumerate(lengths)])


def test_without_names_each_shot_is_one_section_up_to_five_seconds():
    found, faults = lay_out_sections((), spread(120, 24), FILM)
    assert faults == ()
    assert found == (FilmSection("shot0", 0, 119), FilmSection("shot1", 120, 143))


def test_a_longer_shot_is_cut_at_five_seconds_and_a_short_rest_stays_with_its_neighbour():
    # 5 s are 120 frames by the count of timecode (SMPTE ST 12-1 counts 24 frames to a second at 24000/1001).
    found, _ = lay_out_sections((), spread(263), FILM)
    assert found == (FilmSection("shot0-1", 0, 119), FilmSection("shot0-2", 120, 262))
    found, _ = lay_out_sections((), spread(264), FILM)
    assert [(s.first, s.last) for s in found] == [(0, 119), (120, 239), (240, 263)]


def test_named_sections_count_in_their_shot_or_in_the_film():
    wishes = (Section("landing", 10, 19, "shot1"), Section("bridge", 90, 104))
    found, faults = lay_out_sections(wishes, spread(100, 50), FILM)
    assert faults == ()
    assert found == (
        FilmSection("shot0-1", 0, 89),
        FilmSection("bridge", 90, 104),
        FilmSection("shot1-1", 105, 109),
        FilmSection("landing", 110, 119),
        FilmSection("shot1-2", 120, 149),
    )


def test_names_that_are_taken_are_not_given_twice():
    found, _ = lay_out_sections((Section("SHOT0-1", 0, 9),), spread(100), FILM)
    assert [s.name for s in found] == ["SHOT0-1", "shot0-2"]
    found, _ = lay_out_sections((Section("burst-1", 0, 9),), spans_of([("Burst", 100)]), FILM)
    assert [s.name for s in found] == ["burst-1", "Burst-2"]
    found, _ = lay_out_sections((Section("shot1", 0, 9),), spread(100, 50), FILM)
    assert [s.name for s in found] == ["shot1", "shot0-1", "shot1-1"]


def test_what_cannot_stand_is_said_for_each():
    wishes = (Section("late", 90, 120), Section("turned", 50, 40), Section("one", 0, 9), Section("two", 9, 12))
    found, faults = lay_out_sections(wishes, spread(100), FILM)
    assert found == ()
    assert [(fault.index, fault.key) for fault in faults] == [(0, "to"), (1, "to"), (3, "from")]
    assert "0 to 99" in faults[0].what
    assert "`one` and `two` share frames 9 to 9" in faults[2].what


def test_of_one_shot_only_what_lies_in_it():
    shots = spread(100, 50)
    found, _ = lay_out_sections((Section("bridge", 90, 104),), shots, FILM)
    assert sections_within(found, shots[1]) == (FilmSection("bridge", 100, 104), FilmSection("shot1-1", 105, 149))


@given(
    st.lists(st.integers(1, 700), min_size=1, max_size=4),
    st.sampled_from([FILM, FrameRate(25), FrameRate(60000, 1001)]),
    st.data(),
)
def test_each_frame_lies_in_exactly_one_section(lengths, rate, data):
    shots, total = spread(*lengths), sum(lengths)
    marks = sorted(data.draw(st.sets(st.integers(0, total), max_size=8)))
    wishes = tuple(Section(f"s{i}", a, b - 1) for i, (a, b) in enumerate(zip(marks[::2], marks[1::2], strict=False)))
    found, faults = lay_out_sections(wishes, shots, rate)
    assert faults == ()
    frames = [frame for section in found for frame in range(section.first, section.last + 1)]
    assert frames == list(range(total))
    assert len({section.name.casefold() for section in found}) == len(found)
    longest = 6 * -(-rate.numerator // rate.denominator)
    assert all(s.last - s.first + 1 < longest for s in found if not s.name.startswith("s") or s.name.startswith("shot"))
