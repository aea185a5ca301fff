"""Puzzles with a known answer: six-piece burrs on the grid of unit cubes.

Levels and moves are counted as Cutler does, "A Computer Analysis of All 6-Piece Burrs" (1994). That a burr without
holes whose key is a whole stick lets the key out in one move is common knowledge (from memory: Hoffmann, Puzzles Old
and New, 1893, the nut puzzle); the pieces are our own, drawn by lot, and each level is found by brute force here.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from burr_referee import PLACES, full, level
from random_assemblies import cell_assembly

from choreo.compile import take_apart
from choreo.errors import ChoreoError
from choreo.model.interlock import Interlocked

sys.path.insert(0, str(Path(__file__).parent / "passes"))
from grid_referee import comes_apart, groups_of, leaves
from test_removal import check_on_grid

SOLID = "02024400410021554300110011550303"
"""Who has each cube that lies in two sticks, in the order of their places; 0 is the key, a whole stick."""
HOLEY = "02.24..01100.555.4444105..5.3303"
"""The same with holes; nobody can leave until another has been shifted."""


def burr(code):
    places = sorted(full())
    owners = [[k for k in range(6) if place in PLACES[k]] for place in places]
    letters = iter(code)
    cells = {f"p{k}": set() for k in range(6)}
    for place, own in zip(places, owners, strict=True):
        who = str(own[0]) if len(own) == 1 else next(letters)
        if who != ".":
            assert int(who) in own
            cells[f"p{who}"].add(place)
    return {name: frozenset(own) for name, own in cells.items()}


def test_the_key_of_a_burr_without_holes_comes_out_in_one_move_and_the_rest_follows():
    cells = burr(SOLID)
    assert sum(map(len, cells.values())) == len(full()) == 104  # by counting
    assert cells["p0"] == PLACES[0]
    moves, _ = level(cells)
    assert moves == 1
    removal = take_apart(cell_assembly(cells), still=("p1",)).removal
    key = removal.steps[0]
    assert (key.members, key.via) == (("p0",), ())
    assert sorted(map(abs, key.direction)) == [0, 0, 1]
    check_on_grid(cells, cell_assembly(cells), "p1")


def test_where_one_must_be_shifted_to_let_another_go_the_claim_keeps_its_bounds():
    # By brute force nobody leaves while all the others stay, alone or with others; with one shifted first, one does.
    cells = burr(HOLEY)
    assert not any(leaves(cells, group, frozenset(cells)) for group in groups_of(cells))
    assert not comes_apart(cells)
    moves, freed = level(cells, 3)
    assert (moves, freed) == (2, {"p2"})
    with pytest.raises(ChoreoError) as error:
        take_apart(cell_assembly(cells))
    assert isinstance(error.value, Interlocked)
    assert "no part was shifted first to make room for another" in error.value.findings[0].why
