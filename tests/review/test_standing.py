"""How sections stand by a ledger; all by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from choreo.errors import ChoreoError
from choreo.model.sign_off import DirectorsFile, Makings, Mark, SectionNow, SectionSaid, runs
from choreo.review.signing import take
from choreo.review.standing import Change, standings
from choreo.review.standing_words import standing_json, standing_words

A, B, C = (f"sha256:{letter * 64}" for letter in "abc")
COMMON = {"film": "f", "camera": "c", "time": "t", "order": "o", "masks": "m", "hero": "h"}
PARTS = {part: {"path": "p", "look": "l", "plate": "q"} for part in ("lens", "cap")}
MADE = tuple(f"{number:012x}" for number in range(60))
NOW = SectionNow("burst", 0, 59, A, Makings(COMMON, PARTS), MADE)
OTHER = SectionNow("return", 60, 99, B, Makings(COMMON, PARTS), MADE[:40])


def mark(content=A, verdict="approved", on="2026-03-01", section="burst", by="Ada", **changes):
    return Mark(
        section, verdict, by, on, content, 60, makings=Makings(COMMON, PARTS), frame_contents=runs(MADE), **changes
    )


def state(*ledger, now=NOW, others=(OTHER,)):
    return standings((now, *others), ledger)[0]


def test_the_last_word_on_the_present_picture_counts():
    assert state().state == "unmarked"
    assert state(mark()).state == "approved"
    assert state(mark(), mark(verdict="not-yet", on="2026-03-02")).state == "not-yet"
    assert state(mark(verdict="not-yet"), mark(on="2026-03-02")).state == "approved"
    assert state(mark(B)).state == "stale"
    assert state(mark(section="return")).state == "unmarked"


def test_a_day_counts_before_the_place_in_the_file():
    # As after a merge that put the older side last.
    assert state(mark(verdict="not-yet", on="2026-03-02"), mark(on="2026-03-01")).state == "not-yet"


def test_what_comes_back_to_an_approved_picture_is_approved_and_says_that_another_came_between():
    found = state(mark(A), mark(B, on="2026-04-01", by="Ben"))
    assert (found.state, found.mark.content, found.later.by) == ("approved", A, "Ben")
    assert "another picture of it was approved later, by Ben on 2026-04-01" in "\n".join(standing_words([found]))


def test_a_new_name_changes_no_picture():
    found = state(mark(section="opening"))
    assert (found.state, standing_json(found)["marked_as"]) == ("approved", "opening")
    # But two sections that look alike are not approved by one word.
    assert state(mark(section="return"), now=NOW, others=(replace(OTHER, content=A),)).state == "unmarked"


def test_a_note_is_no_verdict():
    found = state(mark(), mark(verdict="none", on="2026-03-02", note="Lovely.\nReally."))
    assert (found.state, found.note.note) == ("approved", "Lovely.\nReally.")
    assert "Ada: Lovely. / Really." in standing_words([found])[1]
    assert state(mark(verdict="none")).state == "unmarked"


@pytest.mark.parametrize(
    ("common", "parts", "changed", "words"),
    [
        ({"camera": "x", "time": "x"}, {}, [Change("camera")], "the camera"),
        ({"time": "x"}, {}, [Change("time")], "when in its shot it moves"),
        (
            {"order": "x", "masks": "x"},
            {"lens": {"path": "x"}},
            [Change("order"), Change("masks"), Change("path", ("lens",))],
            "the layer order, the masks, the path of lens",
        ),
        (
            {"film": "x", "hero": "x"},
            {"lens": {"look": "x", "plate": "x"}, "cap": {"look": "x"}},
            [Change("film"), Change("hero"), Change("look", ("lens", "cap")), Change("plate", ("lens",))],
            "resolution or frame rate, the hero still, the look of lens, cap, the plate of lens",
        ),
        ({}, {}, [Change("unknown")], "what it is made of (the ledger does not say what of it)"),
    ],
)
def test_what_has_changed(common, parts, changed, words):
    now = Makings(COMMON | common, {part: PARTS[part] | parts.get(part, {}) for part in PARTS})
    found = state(mark(B), now=replace(NOW, makings=now))
    assert list(found.changed) == changed
    blind = "" if "film" in common else "; no pictures of it were noted"
    assert standing_words([found])[0].endswith(f"stale: approved by Ada on 2026-03-01, changed since: {words}{blind}")


def test_parts_that_came_and_went_and_another_length():
    now = replace(NOW, makings=Makings(COMMON, {"lens": PARTS["lens"], "seal": PARTS["cap"]}))
    found = state(mark(B), now=now)
    assert found.changed == (Change("gone", ("cap",)), Change("new", ("seal",)))
    assert "changed since: cap is gone, seal is new" in standing_words([found])[0]
    found = state(mark(B), now=replace(NOW, last=71))
    assert found.changed == (Change("length", before=60, after=72),)
    assert "its length (60 frames are now 72)" in standing_words([found])[0]


def test_a_ledger_written_by_hand_without_pieces_says_that_it_cannot_tell():
    assert state(replace(mark(B), makings=Makings())).changed == (Change("unknown"),)


def said(*sections, project="Tin"):
    return DirectorsFile(project, "Ada", "2026-03-01", tuple(SectionSaid(*one) for one in sections))


def test_a_directors_file_is_taken_section_by_section():
    file = said(
        ("burst", 0, 59, A, "approved", ""),
        ("return", 60, 99, C, "not-yet", "Too fast."),
        ("gone", 100, 120, A, "approved", ""),
        ("silent", 121, 130, C, "none", ""),
    )
    taken = take(file, "2026-03-05", "Tin", (NOW, OTHER), ())
    assert taken.marks == (replace(mark(on="2026-03-05"), makings=NOW.makings),)
    assert [finding.code for finding in taken.refused] == ["another-version", "section-gone"]
    assert '"return"' in taken.refused[0].what
    assert "Seen: sha256:cccccccccccc (40 frames). Now: sha256:bbbbbbbbbbbb (40 frames)." in taken.refused[0].why
    assert "not yet. Note: Too fast." in taken.refused[0].why
    assert take(file, "2026-03-05", "Tin", (NOW, OTHER), taken.marks) == taken


def test_a_file_about_another_product_is_refused():
    with pytest.raises(ChoreoError, match="another-project"):
        take(said(("burst", 0, 59, A, "approved", "")), "2026-03-05", "Another", (NOW,), ())
