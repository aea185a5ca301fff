"""Approved moves go back into the schedule as they are, or are named."""

from dataclasses import replace

import pytest

from choreo.errors import ChoreoError
from choreo.model.plan import Move
from choreo.passes.schedule_kept import kept_moves

LID = Move("lid", 1, 12, 8, "linear", "explode", 12)
CELL = Move("cell", 1, 15, 8, "linear", "explode", 15)


def test_an_approved_move_is_put_back_as_it_was_approved():
    kept = kept_moves([replace(LID, reason="as approved")], 1, 12)
    assert kept.checked([CELL, LID]) == [CELL, replace(LID, reason="as approved")]


@pytest.mark.parametrize("change", [{"span": (0.0, 0.5)}, {"start": 13}, {"frames": 9}, {"easing": "ease"}])
def test_a_move_that_the_product_no_longer_allows_is_named(change):
    with pytest.raises(ChoreoError) as caught:
        kept_moves([LID], 1, 12).checked([CELL, replace(LID, **change)])
    (finding,) = caught.value.findings
    assert (caught.value.exit_code, finding.code) == (1, "lock-does-not-fit")
    assert '"lid"' in finding.what
