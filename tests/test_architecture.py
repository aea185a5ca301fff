"""The walls of the house: who may import whom, how large files and functions may grow, who may print."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
FILES = sorted((ROOT / "choreo").rglob("*.py"))

MAY_IMPORT = {
    "errors": set(),
    "model": {"errors"},
    "geometry": {"errors", "model"},
    "motion": {"errors", "model"},
    "passes": {"errors", "model", "geometry", "motion"},
    "checks": {"errors", "model", "geometry", "motion"},
    "read": {"errors", "model", "geometry", "motion"},
    "write": {"errors", "model", "geometry", "motion"},
    "review": {"errors", "model", "geometry", "motion"},
    "picture": {"errors", "model", "geometry", "motion"},
    "recall": {"errors"},
    "timed_shot": {"errors", "model", "geometry", "motion", "passes", "recall"},
    "labelled_shot": {"errors", "model", "geometry", "motion", "passes", "timed_shot"},
    "tracked_shot": {"errors", "model", "geometry", "passes", "checks", "timed_shot"},
    "frames": {
        "errors",
        "model",
        "geometry",
        "motion",
        "passes",
        "checks",
        "read",
        "write",
        "picture",
        "review",
        "compile",
        "recall",
    },
    "live": {
        "errors",
        "model",
        "geometry",
        "motion",
        "read",
        "picture",
        "review",
        "compile",
        "frames",
        "recall",
        "tracked_shot",
    },
    "compile": {
        "errors",
        "model",
        "geometry",
        "motion",
        "passes",
        "checks",
        "recall",
        "timed_shot",
        "labelled_shot",
        "tracked_shot",
    },
}
GEOMETRY_MAY_IMPORT = {
    "plane": set(),
    "solids": {"plane"},
    "cameras": {"plane", "solids"},
    "collision": {"plane", "solids"},
    "removal": {"plane", "collision"},
    "visibility": {"plane", "solids", "cameras"},
    "layout": {"plane", "cameras", "collision"},
    "labels": {"plane"},
    "registration": {"plane", "cameras"},
}
"""Rooms of `geometry`, from the bottom up: each may import rooms named before it, and no other."""
CLOCKS = {"choreo.frames.clock", "choreo.live.follow", "choreo.picture.sheets.output", "choreo.commands.today"}
"""Foretells how long work will take; waits for files to be saved; dates every PDF alike; dates an approval. Nothing
that is compiled or drawn hangs on the time."""
HELPERS_OF_PASSES = {
    "layout_advice",
    "layout_stage",
    "layout_words",
    "place_by_hero_alike",
    "removal_ways",
    "removal_words",
    "schedule_items",
    "schedule_kept",
    "schedule_meetings",
    "schedule_rules",
    "schedule_why",
    "schedule_words",
}
"""Not passes: what one pass, named first, is made of."""


def module(path):
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


def room(name):
    parts = name.split(".")
    return parts[1] if len(parts) > 1 else ""


def imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "choreo":
            yield node.module
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name.split(".")[0] == "choreo")


@pytest.mark.parametrize("path", FILES, ids=module)
def test_imports_run_downward(path):
    own = room(module(path))
    if own in {"cli", "commands", "__main__", "__init__", ""}:
        return
    for name in imports(path):
        assert room(name) in MAY_IMPORT[own] | {own}, f"{module(path)} imports {name}"


@pytest.mark.parametrize("path", [path for path in FILES if room(module(path)) == "geometry"], ids=module)
def test_geometry_imports_run_downward_from_room_to_room(path):
    parts = path.relative_to(ROOT / "choreo" / "geometry").parts
    if parts == ("__init__.py",):
        assert not list(imports(path))
        return
    assert len(parts) == 2, "geometry has rooms, and files in them"
    allowed = GEOMETRY_MAY_IMPORT[parts[0]] | {parts[0]}
    for name in imports(path):
        if room(name) == "geometry":
            assert len(name.split(".")) == 4, f"{module(path)} imports {name}: name the file"
            assert name.split(".")[2] in allowed, f"{module(path)} imports {name}"


def test_the_rooms_of_geometry_stand_on_each_other():
    below = set()
    for name, allowed in GEOMETRY_MAY_IMPORT.items():
        assert allowed <= below, name
        below.add(name)


@pytest.mark.parametrize("path", FILES, ids=module)
def test_no_pass_imports_a_pass(path):
    if room(module(path)) != "passes":
        return
    for name in imports(path):
        if room(name) == "passes":
            assert name.split(".")[2] in HELPERS_OF_PASSES, f"{module(path)} imports {name}"


def test_no_import_cycles():
    graph = {module(path): set(imports(path)) for path in FILES}
    done, open_ = set(), []

    def visit(name):
        assert name not in open_, f"cycle: {' -> '.join([*open_, name])}"
        if name in done or name not in graph:
            return
        open_.append(name)
        for other in sorted(graph[name]):
            visit(other)
        open_.pop()
        done.add(name)

    for name in sorted(graph):
        visit(name)


@pytest.mark.parametrize("path", FILES, ids=module)
def test_files_and_functions_stay_small(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 400
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            body = node.body[1:] if ast.get_docstring(node) else node.body
            lines = body[-1].end_lineno - body[0].lineno + 1 if body else 0
            assert lines <= 50, f"{node.name} has {lines} lines"


@pytest.mark.parametrize("path", FILES, ids=module)
def test_public_things_have_docstrings(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree) or path.name == "__init__.py"
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), node.name


@pytest.mark.parametrize("path", FILES, ids=module)
def test_only_the_command_line_prints(path):
    calls = [n for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Call)]
    printing = [n for n in calls if isinstance(n.func, ast.Name) and n.func.id == "print"]
    assert not printing or path.name == "cli.py"


@pytest.mark.parametrize("path", FILES, ids=module)
def test_results_do_not_hang_on_clocks_or_chance(path):
    text = path.read_text(encoding="utf-8")
    if module(path) in CLOCKS:
        return
    assert not re.search(r"^\s*(import|from) (time|datetime|random|secrets|uuid)\b", text, re.MULTILINE)
    assert "default_rng()" not in text


def test_passes_say_what_goes_in_and_comes_out():
    for path in FILES:
        if room(module(path)) == "passes" and path.stem not in HELPERS_OF_PASSES | {"__init__"}:
            said = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
            assert said, path.name


def test_top_level_holds_nothing_else():
    import subprocess

    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout
    top = {line.split("/")[0] for line in listed.splitlines()}
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "choreo",
        "tests",
        "schemas",
        "demo_assemblies",
        "LICENSE",
    }
    assert {name for name in top if not name.startswith(".")} <= allowed
