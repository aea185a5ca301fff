"""Pictures beside those that were signed: what is told without drawing, what has to be drawn; all by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from choreo.model.sign_off import Makings, Mark, SectionNow, from_runs, runs
from choreo.review.sight import BLIND, Sight, seen, sight_of
from choreo.review.signing import with_pictures
from choreo.review.standing import Change, standings, to_be_drawn
from choreo.review.standing_words import standing_json, state_words

HERE, ELSEWHERE = "d" * 12, "e" * 12
"""Two states of the code that draws."""
PARTS = {"cap": {"path": "p", "look": "l", "plate": "q"}}


def digests(letters):
    return tuple(letter * 12 for letter in letters)


def section(made, look="l", name="burst", first=100, **common):
    makings = Makings({"film": "f", "camera": "c", **common}, {"cap": {**PARTS["cap"], "look": look}})
    return SectionNow(name, first, first + len(made) - 1, f"sha256:{made}", makings, digests(made), (24, 1))


def mark(made, pictures="", on="2026-03-01", drawn_with=HERE, verdict="approved", look="l", by="Ada", name="burst"):
    was = section(made, look)
    return Mark(
        name, verdict, by, on, was.content, len(made), "", was.makings, runs(digests(made)),
        runs(digests(pictures)), drawn_with if pictures else "",
    )  # fmt: skip


def known(**pictures):
    return Sight(HERE, {made * 12: picture * 12 for made, picture in pictures.items()})


NOW = section("abxyc", look="other")
"""Its third and fourth frame are made otherwise than those of `abcdc`."""


def test_made_of_the_same_is_the_same_picture_while_the_same_code_draws():
    found = seen(mark("abxyc", "12345", look="other"), NOW, Sight(HERE))
    assert (found.same, found.looked, found.unknown) == (True, False, ())
    found = seen(mark("abxyc", "12345", drawn_with=ELSEWHERE), NOW, Sight(HERE))
    assert (found.same, found.redrawn, found.unknown) == (None, True, (0, 1, 2, 3, 4))
    # Whoever does not look goes by what it is made of; so does an entry that has no pictures.
    assert seen(mark("abxyc", "12345", drawn_with=ELSEWHERE), NOW, BLIND).same is True
    assert seen(mark("abxyc"), NOW, Sight(HERE)).same is True


def test_only_frames_that_are_made_otherwise_are_looked_at():
    was = mark("abcdc", "12345")
    assert seen(was, NOW, Sight(HERE)).unknown == (2, 3)
    assert seen(was, NOW, Sight(HERE)).same is None
    found = seen(was, NOW, known(x="3", y="4"))
    assert (found.same, found.looked, found.differing) == (True, True, ())
    found = seen(was, NOW, known(x="3", y="9"))
    assert (found.same, found.first, found.differing) == (False, 3, (3,))
    assert seen(was, NOW, BLIND).same is False


def test_the_first_frame_is_only_named_where_all_before_it_are_known():
    found = seen(mark("abcdc", "12345"), NOW, known(y="9"))
    assert (found.same, found.first, found.before_first, found.unknown) == (False, None, (2,), (2,))
    found = seen(mark("abcdc", "12345"), NOW, known(x="9"))
    assert (found.first, found.before_first, found.unknown) == (2, (), (3,))


def test_another_length_resolution_or_rate_needs_no_look():
    for now in (section("abxy"), section("abxyc", film="another")):
        found = seen(mark("abcdc", "12345"), now, Sight(HERE))
        assert (found.same, found.looked, found.unknown) == (False, False, ())


def test_the_ledger_knows_pictures_of_the_present_code_only():
    ledger = (mark("abcdc", "12345"), mark("xyz", "789", drawn_with=ELSEWHERE), mark("uvw"))
    # Two frames that are made of the same look the same; the last word counts where a file says otherwise.
    assert sight_of(ledger, HERE).known == dict(zip(digests("abcd"), digests("1254"), strict=True))
    assert sight_of(ledger, ELSEWHERE).known == dict(zip(digests("xyz"), digests("789"), strict=True))


def drawn(sections, ledger, pictures, *, count=False):
    """Draw what is asked for until all is known, as a command does; return what was drawn, and how all stand."""
    sight, log = sight_of(ledger, HERE), []
    while (asked := to_be_drawn(sections, ledger, sight, count=count)) is not None:
        one, was, frames = asked
        for frame in frames:
            made = one.frame_contents[frame]
            assert made not in sight.known
            log.append(made[0])
            sight = sight.also({made: pictures[made[0]] * 12})
            if not count and sight.known[made] != from_runs(was.frame_pictures)[frame]:
                break
    return "".join(log), standings(sections, ledger, sight)


def test_drawing_ends_with_the_first_frame_that_looks_otherwise():
    log, (found,) = drawn((NOW,), (mark("abcdc", "12345"),), {"x": "9", "y": "9"})
    assert (log, found.state, found.seen.first) == ("x", "stale", 2)
    assert state_words(found) == (
        "stale: approved by Ada on 2026-03-01, changed since: the look of cap; first seen at 00:00:04:06, frame 102"
    )
    log, (found,) = drawn((NOW,), (mark("abcdc", "12345"),), {"x": "3", "y": "9"}, count=True)
    assert (log, found.state, found.seen.differing) == ("xy", "stale", (3,))
    assert state_words(found).endswith("; seen on 1 of its 5 frames, first at 00:00:04:07")
    data = standing_json(found)
    assert (data["picture"], data["first_frame"], data["differing_frames"]) == ("another", 103, 1)
    assert data["first_timecode"] == "00:00:04:07"


def test_what_is_made_otherwise_and_looks_the_same_is_approved_and_says_so():
    log, (found,) = drawn((NOW,), (mark("abcdc", "12345"),), {"x": "3", "y": "4"})
    assert (log, found.state) == ("xy", "approved")
    assert state_words(found) == (
        "approved by Ada on 2026-03-01; changed since: the look of cap; every frame looks the same"
    )
    assert standing_json(found)["picture"] == "same"


def test_other_code_that_draws_otherwise_has_changed_the_picture():
    was = mark("abxyc", "12345", drawn_with=ELSEWHERE, look="other")
    log, (found,) = drawn((NOW,), (was,), {"a": "1", "b": "2", "x": "3", "y": "4", "c": "8"})
    assert (log, found.state, found.changed) == ("abxyc", "stale", (Change("drawing"),))
    assert state_words(found) == (
        "stale: approved by Ada on 2026-03-01, changed since: how choreo draws; "
        "seen on 1 of its 5 frames, first at 00:00:04:08"
    )
    _, (found,) = drawn((NOW,), (was,), {"a": "1", "b": "2", "x": "3", "y": "4", "c": "5"})
    assert state_words(found).endswith("; changed since: how choreo draws; every frame looks the same")
    # Once that is signed again, the ledger knows the pictures, and nothing is drawn.
    again = replace(mark("abxyc", "12345", on="2026-04-01"), by="Ben")
    log, (found,) = drawn((NOW,), (was, again), {})
    assert (log, found.mark.by) == ("", "Ben")


def test_the_last_verdict_on_the_present_picture_counts_though_it_is_made_otherwise():
    ledger = (mark("abxyc", "12345"), mark("abcdc", "12345", on="2026-03-02", verdict="not-yet", by="Ben"))
    log, (found,) = drawn((NOW,), ledger, {})
    assert (log, found.state, found.mark.by) == ("", "not-yet", "Ben")
    # One on another picture does not, and is named.
    ledger = (mark("abxyc", "12345"), mark("abcdc", "12745", on="2026-03-02", verdict="not-yet", by="Ben"))
    log, (found,) = drawn((NOW,), ledger, {})
    assert (log, found.state, found.mark.by, found.later.by) == ("", "approved", "Ada", "Ben")


def test_an_older_verdict_is_looked_at_where_the_last_one_is_on_another_picture():
    ledger = (mark("abcdc", "12345"), mark("abcde", "12345", on="2026-03-02", by="Ben"))
    log, (found,) = drawn((section("abcdz", look="other"),), ledger, {"z": "5"})
    assert (log, found.state, found.mark.by) == ("z", "approved", "Ben")
    ledger = (mark("abcdc", "12345"), mark("abcde", "12346", on="2026-03-02", by="Ben"))
    log, (found,) = drawn((section("abcdz", look="other"),), ledger, {"z": "5"})
    assert (log, found.state, found.mark.by, found.later.by) == ("z", "approved", "Ada", "Ben")


def test_a_section_that_has_another_name_since_is_looked_at_as_well():
    log, (found,) = drawn((NOW,), (mark("abcdc", "12345", name="opening"),), {"x": "3", "y": "4"})
    assert (log, found.state, standing_json(found)["marked_as"]) == ("xy", "approved", "opening")
    log, (found,) = drawn((NOW,), (mark("abcdc", "12345", name="opening"),), {"x": "9", "y": "4"})
    assert (log, found.state) == ("x", "unmarked")


@pytest.mark.parametrize(
    ("was", "state", "words", "data"),
    [
        (mark("abcdc", "12345"), "perhaps stale", "; whether it shows was not looked at", "not-looked-at"),
        (mark("abcdc"), "stale", "; no pictures of it were noted", "not-looked-at"),
        (mark("abcd", "1234"), "stale", "its length (4 frames are now 5)", "another"),
    ],
)
def test_whoever_does_not_look_says_so(was, state, words, data):
    (found,) = standings((NOW,), (was,))
    assert found.state == "stale"
    assert state_words(found).startswith(f"{state}: approved")
    assert state_words(found).endswith(words)
    assert standing_json(found)["picture"] == data


def test_an_entry_gets_the_pictures_of_all_frames():
    made = with_pictures(mark("abca"), section("abca"), known(a="1", b="2", c="2"))
    assert (made.frame_pictures, made.drawn_with) == (f"{'1' * 12} {'2' * 12}*2 {'1' * 12}", HERE)
    with pytest.raises(KeyError):
        with_pictures(mark("abca"), section("abca"), known(a="1"))
