"""Many random assemblies: what comes apart, and what collides, before brute force on a grid and a mesh library.

`CHOREO_MANY=10000 pytest -n auto tests/test_many.py` runs ten thousand of them; without it there are 2,000.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_assemblies import cell_assembly, random_cells
from test_collision_referee import check_film

sys.path.insert(0, str(Path(__file__).parent / "passes"))
from test_removal import check_on_grid

MANY = int(os.environ.get("CHOREO_MANY", "2000"))
FILMS = MANY // 25
CELLS = MANY - FILMS
SHARES = 8
"""Each share is a test of its own, so that they run side by side."""
DRAWN = 10**6
PARTS = (2, 2, 2, 3, 3, 3, 4, 5)


@pytest.mark.parametrize("share", range(SHARES))
def test_what_comes_apart_does_so_by_brute_force_and_what_does_not_is_stuck(share):
    """Unit cubes, two to five parts: no removal step and no interlock that the grid refutes."""

    @settings(max_examples=CELLS // SHARES, deadline=None, database=None)
    @given(st.integers(0, DRAWN - 1))
    def many(drawn):
        seed = share * DRAWN + drawn
        cells = random_cells(seed, parts=PARTS[seed % len(PARTS)])
        check_on_grid(cells, cell_assembly(cells), next(iter(cells)))

    many()


@pytest.mark.parametrize("share", range(4))
def test_what_is_called_free_of_collisions_is_so_for_meshes(share):
    """Whole films as far as their tracks: manifold3d at three instants a frame."""

    @settings(max_examples=max(FILMS // 4, 1), deadline=None, database=None)
    @given(st.integers(0, DRAWN - 1))
    def many(drawn):
        check_film(share * DRAWN + drawn, steps=3)

    many()
