"""The schemas themselves, how errors are placed, and the quick check against a full validator."""

from __future__ import annotations

import copy
import json
import tomllib
from pathlib import Path

import pytest
from corpus import GOOD
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from choreo.read import schema as schema_module
from choreo.read.notes import Notes, Source, pointer
from choreo.read.quick import compile_check
from choreo.read.schema import NAMES, check_schema, schema, schema_folder, schema_text
from choreo.read.wording import note_schema_error

ROOT = Path(__file__).parent.parent.parent


def nodes(node, keys=()):
    """Yield every subschema with the path to it."""
    if isinstance(node, dict):
        yield keys, node
        for key, child in node.items():
            if key not in ("default", "examples", "const", "enum"):
                yield from nodes(child, (*keys, key))


def properties(name):
    """Yield name and subschema of every property that a schema declares."""
    for _, node in nodes(schema(name)):
        if isinstance(node.get("properties"), dict):
            yield from node["properties"].items()


@pytest.mark.parametrize("name", NAMES)
def test_valid_against_the_metaschema(name):
    # JSON Schema 2020-12's own metaschema, as the jsonschema library ships it.
    Draft202012Validator.check_schema(json.loads(schema_text(name)))
    assert schema(name)["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize("name", NAMES)
def test_every_table_is_closed_and_every_property_explained(name):
    for path, node in nodes(schema(name)):
        if "properties" in node and path[-1:] != ("properties",) and isinstance(node["properties"], dict):
            assert node.get("additionalProperties") is False, path
            assert set(node.get("required", ())) <= node["properties"].keys(), path
    for key, node in properties(name):
        assert len(node.get("description", "")) >= 15, key


def followed(name, node):
    """Return a node with what it refers to, its own keywords winning."""
    if "$ref" not in node:
        return node
    target = schema(name)
    for key in node["$ref"].removeprefix("#/").split("/"):
        target = target[key]
    return {**followed(name, target), **node}


@pytest.mark.parametrize("name", NAMES)
def test_every_number_text_and_list_is_bounded(name):
    for path, node in nodes(schema(name)):
        kinds = node.get("type", [])
        kinds = [kinds] if isinstance(kinds, str) else kinds
        if path[-1:] == ("if",) or "const" in node or "enum" in node or "if" in node:
            continue
        if "number" in kinds or "integer" in kinds:
            assert node.keys() & {"minimum", "exclusiveMinimum"}, path
            assert node.keys() & {"maximum", "exclusiveMaximum"}, path
        if "string" in kinds:
            assert node.keys() & {"maxLength", "pattern"}, path
        if "array" in kinds:
            assert "maxItems" in node, path


@pytest.mark.parametrize("name", NAMES)
def test_defaults_and_examples_pass_their_own_schema(name):
    for key, node in properties(name):
        rules = {**followed(name, node), "$defs": schema(name)["$defs"]}
        for value in [*node.get("examples", []), *([node["default"]] if "default" in node else [])]:
            assert Draft202012Validator(rules).is_valid(value), (key, value)


def test_every_key_is_read():
    # A key that the reader never looks at would be accepted and ignored without a word.
    code = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "choreo" / "read").glob("*.py"))
    not_computed_with = {"$schema", "note", "format", "version"}  # the last two allow one value only
    come_later = {"tracks", "shots"}  # of locks, which are refused
    for name in ("assembly", "choreography"):
        for key, _ in properties(name):
            assert key in not_computed_with | come_later or f'"{key}"' in code, key


def test_the_folder_is_the_checkouts_or_the_packages(tmp_path, monkeypatch):
    assert schema_folder() == ROOT / "schemas"
    package = tmp_path / "choreo"
    (package / "schemas").mkdir(parents=True)
    (package / "schemas" / "assembly.schema.json").write_text("{}", encoding="utf-8")
    (package / "read").mkdir()
    monkeypatch.setattr(schema_module, "__file__", str(package / "read" / "schema.py"))
    assert schema_folder() == package / "schemas"
    with pytest.raises(ValueError, match="no schema"):
        schema_text("../assembly")


# Where JSON Schema 2020-12 Core, 12.3, has each error point (a missing key is reported at the object that lacks
# it); an unknown key we place at the key itself. The rules and instances are those of the reference list.
RULES = {
    "type": "object",
    "required": ["fps", "parts"],
    "additionalProperties": False,
    "properties": {
        "fps": {"type": "number", "exclusiveMinimum": 0},
        "parts": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "required": ["id"],
                "properties": {
                    "id": {"type": "string", "pattern": "^[a-z0-9_]+$"},
                    "depth": {"type": "number"},
                    "ease": {"enum": ["linear", "ease", "ease-in-out"]},
                },
            },
        },
    },
}


@pytest.mark.parametrize(
    ("instance", "place", "code"),
    [
        ({"fps": 24, "parts": [{"id": "a"}, {"id": "b", "depth": "12mm"}]}, "/parts/1/depth", "wrong-type"),
        ({"fps": 24, "parts": [{"depth": 1}]}, "/parts/0", "missing-key"),
        ({"fps": 24, "parts": [{"id": "a"}], "colour": 1}, "/colour", "unknown-key"),
        ({"fps": 0, "parts": [{"id": "a"}]}, "/fps", "out-of-range"),
        ({"fps": 24, "parts": [{"id": "a", "ease": "bounce"}]}, "/parts/0/ease", "not-allowed"),
        ({"fps": 24}, "", "missing-key"),
        ({"fps": 24, "parts": []}, "/parts", "wrong-length"),
        ({"fps": 24, "parts": [{"id": "Lid!"}]}, "/parts/0/id", "not-allowed"),
    ],
)
def test_errors_point_where_the_standard_says(instance, place, code):
    notes = Notes(Source("x.json", json.dumps(instance), "", "json"))
    for error in Draft202012Validator(RULES).iter_errors(instance):
        note_schema_error(notes, RULES, error)
    assert [(finding.place, finding.code) for finding in notes.findings()] == [(place, code)]


# RFC 6901, section 5, with the document given there.
POINTED = {"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, 'k"l': 6, " ": 7, "m~n": 8}


@pytest.mark.parametrize(
    ("place", "text"),
    [
        ((), ""),
        (("foo",), "/foo"),
        (("foo", 0), "/foo/0"),
        (("",), "/"),
        (("a/b",), "/a~1b"),
        (("c%d",), "/c%d"),
        (("e^f",), "/e^f"),
        (("g|h",), "/g|h"),
        (("i\\j",), "/i\\j"),
        (('k"l',), '/k"l'),
        ((" ",), "/ "),
        (("m~n",), "/m~0n"),
        (("~a/b",), "/~0a~1b"),  # JSON Schema Test Suite, output-tests/draft2020-12/content/escape.json
    ],
)
def test_json_pointer(place, text):
    assert pointer(place) == text


@pytest.mark.parametrize(("value", "is_integer"), [(1, True), (1.0, True), (True, False), (1.5, False)])
def test_what_an_integer_is(value, is_integer):
    # JSON Schema 2020-12 Validation, 6.1.1, and its test suite's type.json.
    assert compile_check({"type": "integer"})(value) is is_integer
    assert Draft202012Validator({"type": "integer"}).is_valid(value) is is_integer


@pytest.mark.parametrize("rules", [{"const": 1}, {"enum": [0, 1]}])
@pytest.mark.parametrize(("value", "is_one"), [(1, True), (1.0, True), (True, False)])
def test_true_is_not_one(rules, value, is_one):
    # JSON Schema 2020-12 Core, 4.2.2: equality tells booleans from numbers, and 1.0 from 1 not.
    assert compile_check(rules)(value) is is_one


def good(name):
    if name == "choreography":
        return tomllib.loads((GOOD / "choreography.toml").read_text(encoding="utf-8"))
    return json.loads((GOOD / f"{name}.json").read_text(encoding="utf-8"))


def test_a_good_value_needs_no_full_validator(monkeypatch):
    def refuse(*_):
        raise AssertionError("the full validator was asked")

    monkeypatch.setattr(schema_module, "_errors", refuse)
    for name in ("assembly", "choreography"):
        check_schema(name, good(name), Notes(Source("x", "", "", "json")))


def places(value, place=()):
    yield place
    if isinstance(value, (dict, list)):
        for key, child in value.items() if isinstance(value, dict) else enumerate(value):
            yield from places(child, (*place, key))


ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-2, 2000),
    st.sampled_from([1e6, 1e6 + 1, -1e7, 0.0, 1.0, 0.5, float("inf"), 2**70, "fit", "", "lens\n", "a" * 70, "hold"]),
    st.sampled_from([[], {}, [0, 0], [0, 0, 0], [[0, 0], [1, 0], [1, 1]], {"svg": "a.svg", "id": "a"}, {"matte": 1}]),
    st.text(max_size=4),
)


@st.composite
def mutated(draw, name):
    """Return a good value with one to three places replaced, dropped or added to."""
    value = copy.deepcopy(good(name))
    for _ in range(draw(st.integers(1, 3))):
        place = draw(st.sampled_from(sorted(places(value), key=str)))
        parent = value
        for key in place[:-1]:
            parent = parent[key]
        if not place:
            continue
        action = draw(st.sampled_from(["replace", "drop", "add"]))
        if action == "replace":
            parent[place[-1]] = copy.deepcopy(draw(ODD))
        elif action == "drop":
            del parent[place[-1]]
        elif isinstance(parent, dict):
            parent[draw(st.sampled_from(["z", "layer", "frames", "move", "stray", "fit"]))] = copy.deepcopy(draw(ODD))
    return value


@settings(max_examples=150, deadline=None)
@given(value=mutated("assembly"))
def test_quick_check_agrees_with_the_library_on_assemblies(value):
    assert compile_check(schema("assembly"))(value) == Draft202012Validator(schema("assembly")).is_valid(value)


@settings(max_examples=150, deadline=None)
@given(value=mutated("choreography"))
def test_quick_check_agrees_with_the_library_on_choreographies(value):
    rules = schema("choreography")
    assert compile_check(rules)(value) == Draft202012Validator(rules).is_valid(value)


def test_quick_check_says_no_where_it_knows_no_better():
    assert not compile_check({"type": "integer", "multipleOf": 2})(4)
