"""Compiled loops: they do plain arithmetic, and need no folder to be kept in."""

from __future__ import annotations

import importlib.util
import platform
from types import ModuleType

import numba
import numpy as np
import pytest
from llvmlite.binding import get_host_cpu_features
from numba.core import caching

from choreo.picture.render import blend, compiled, overlap, paint, scan

TEXT = """
from choreo.picture.render.compiled import compiled

@compiled
def total(values):
    out = 0.0
    for value in values:
        out += {} * value
    return out
"""


def loaded(path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def run(loop, arrays):
    """What a loop returns and leaves in its arrays, all as bytes."""
    own = [each.copy() if isinstance(each, np.ndarray) else each for each in arrays]
    out = loop(*own)
    told = out if isinstance(out, tuple) else (out,)
    return [np.asarray(each).tobytes() for each in (*told, *own) if each is not None]


def cases():
    """Loops of each file with numbers to work on."""
    random = np.random.default_rng(7)
    rows, tiles = (random.random((9, 48), dtype=np.float32) for _ in range(2))
    alpha, share = (random.random((9, 12), dtype=np.float32) for _ in range(2))
    sums = np.zeros((8, 11))
    yield scan._add_edge, (sums, 1.3, 0.2, 9.7, 6.9, 1.0)
    yield blend.hide, (alpha, random.random((12, 15), dtype=np.float32), 2, 1, share)
    areas = np.sort(random.random((3, 40)), axis=0)[[1, 2, 0]]
    yield blend.mend, (np.arange(40), 10, areas, 1e-7, alpha, share, (0, 0), 1 - alpha, (0, 0))
    yield blend.add_share, (rows, (1, 2), tiles, alpha, share, (0, 1), (7, 9), 1 / 7)
    table = np.arange(65536).astype(np.uint8)
    codes = np.zeros((9, 36), dtype=np.uint8)
    yield blend.coded, (rows, (1, 1), (7, 10), np.array([0.3, 0.5, 0.7]), table, codes)
    near = np.array([[2.2, 4.1, 3.4, 4.8, 1, 0], [2.9, 4.0, 2.1, 5.0, -1, 1], [1.2, 4.0, 2.8, 5.0, 1, 1.0]])
    yield overlap._heights, (near, 3, 2.0, 4.0, np.zeros(40))
    light, filled, total, whole = random.random((4, 8, 10))
    yield paint.walls_over, (random.random((8, 11)) - 0.4, random.random((8, 11)), light, filled)
    yield paint.face_over, (whole, 0.8, 0.45, light, filled)
    yield paint.band_over, (light[:5, :7].copy(), filled[:5, :7].copy(), total, whole, 2, 3)
    yield paint.tinted, (random.random((9, 13)) - 0.4, alpha, np.array([0.2, 0.4, 0.6]))


@pytest.mark.parametrize("case", list(cases()), ids=lambda case: case[0].py_func.__name__)
def test_compiled_loops_round_as_plain_python_does(case):
    """Fused products and sums, or reordered ones, would round otherwise, on some processors and not on others."""
    loop, arrays = case
    assert run(loop, arrays) == run(loop.py_func, arrays)


@pytest.mark.skipif(
    platform.machine() == "x86_64" and not get_host_cpu_features().get("fma"), reason="this processor fuses nothing"
)
def test_that_comparison_finds_fused_products():
    loop, arrays = next(case for case in cases() if case[0] is blend.add_share)
    fast = numba.njit(loop.py_func, error_model="numpy", fastmath=True)
    assert run(fast, arrays) != run(loop, arrays)


def test_without_a_folder_for_what_was_compiled_it_is_compiled_all_the_same(tmp_path, monkeypatch):
    (tmp_path / "loose.py").write_text(TEXT.format("2.0"), encoding="utf-8")
    monkeypatch.setattr(caching.CacheImpl, "_locator_classes", [])
    with pytest.raises(RuntimeError, match="locator"):
        numba.njit(lambda x: x, cache=True)
    module = loaded(tmp_path / "loose.py")
    assert module.total(np.array([1.0, 2.5])) == 7.0
    assert not list(tmp_path.rglob("*.nb*"))


def test_what_was_compiled_is_known_by_the_content_of_its_file(tmp_path, monkeypatch):
    # Wheels give all files one time: two versions of a file may have that and their size in common.
    file = tmp_path / "twice.py"
    found = []
    for factor in ("2.0", "3.0"):
        file.write_text(TEXT.format(factor), encoding="utf-8")
        compiled._digest.cache_clear()
        found.append(loaded(file).total.py_func.__qualname__)
    assert len(set(found)) == 2
