"""A quick yes to values that a JSON Schema accepts.

`compile_check` turns the keywords that the schemas of choreo use into nested functions. It never says yes to a
value that JSON Schema 2020-12 refuses; where it meets a keyword that it does not know, it says no, and the
caller asks a full validator.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import reduce
from typing import Any

Check = Callable[[Any], bool]

_NO_CLAIM = {"$schema", "$defs", "title", "description", "default", "examples"}
_OBJECT = {"properties", "required", "additionalProperties", "maxProperties"}
_ARRAY = {"items", "minItems", "maxItems"}
_TEXT = {"minLength", "maxLength", "pattern"}
_NUMBER = {"minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum"}
_OTHER = {"type", "const", "enum", "$ref", "if", "then", "else"}
_KNOWN = _NO_CLAIM | _OBJECT | _ARRAY | _TEXT | _NUMBER | _OTHER

Schema = dict[str, Any]


def compile_check(schema: Schema) -> Check:
    """Return a function that says whether a value is surely accepted by `schema`.

    Parameters
    ----------
    schema : dict
        JSON Schema 2020-12; references stay inside it (``#/$defs/…``) and do not run in a ring.

    """
    return _compile(schema, schema)


def _compile(schema: Schema, root: Schema) -> Check:
    if not schema.keys() <= _KNOWN:
        return lambda _: False
    if schema.get("type") == "number" and schema.keys() <= _NO_CLAIM | {"type", "minimum", "maximum"}:
        return _bounded_number(schema.get("minimum", float("-inf")), schema.get("maximum", float("inf")))
    checks = [make(schema, root) for keywords, make in _MAKERS if schema.keys() & keywords]
    return reduce(_both, checks) if checks else lambda _: True


def _bounded_number(least: float, most: float) -> Check:
    # Nearly all values of a large file are coordinates: one call for each, not two.
    return lambda value: (type(value) is float or type(value) is int) and least <= value <= most


def _both(one: Check, other: Check) -> Check:
    return lambda value: one(value) and other(value)


def _type(schema: Schema, _: Schema) -> Check:
    names = schema["type"] if isinstance(schema["type"], list) else [schema["type"]]
    tests = [_TYPES[name] for name in names]
    return tests[0] if len(tests) == 1 else lambda value: any(test(value) for test in tests)


def _fixed(schema: Schema, _: Schema) -> Check:
    allowed = schema["enum"] if "enum" in schema else [schema["const"]]
    # True == 1 in Python and not in JSON.
    return lambda value: not isinstance(value, bool) and value in allowed


def _reference(schema: Schema, root: Schema) -> Check:
    target: Any = root
    for key in schema["$ref"].removeprefix("#/").split("/"):
        target = target[key]
    return _compile(target, root)


def _condition(schema: Schema, root: Schema) -> Check:
    test, then, otherwise = (_compile(schema.get(key, {}), root) for key in ("if", "then", "else"))
    return lambda value: then(value) if test(value) else otherwise(value)


def _number(schema: Schema, _: Schema) -> Check:
    least, most = schema.get("minimum", float("-inf")), schema.get("maximum", float("inf"))
    above, below = schema.get("exclusiveMinimum"), schema.get("exclusiveMaximum")

    def check(value: Any) -> bool:
        if type(value) is not float and type(value) is not int:
            return True
        if not least <= value <= most:
            return False
        return (above is None or value > above) and (below is None or value < below)

    return check


def _text(schema: Schema, _: Schema) -> Check:
    least, most = schema.get("minLength", 0), schema.get("maxLength", float("inf"))
    search = re.compile(schema.get("pattern", "")).search
    return lambda value: not isinstance(value, str) or (least <= len(value) <= most and search(value) is not None)


def _array(schema: Schema, root: Schema) -> Check:
    least, most = schema.get("minItems", 0), schema.get("maxItems", float("inf"))
    item = _compile(schema.get("items", {}), root)

    def check(value: Any) -> bool:
        if not isinstance(value, list):
            return True
        return least <= len(value) <= most and all(map(item, value))

    return check


def _object(schema: Schema, root: Schema) -> Check:
    required = set(schema.get("required", ()))
    members = {key: _compile(child, root) for key, child in schema.get("properties", {}).items()}
    extra = schema.get("additionalProperties", True)
    other = (lambda _: extra) if isinstance(extra, bool) else _compile(extra, root)
    most = schema.get("maxProperties", float("inf"))

    def check(value: Any) -> bool:
        if not isinstance(value, dict):
            return True
        if len(value) > most or not required <= value.keys():
            return False
        return all(members.get(key, other)(child) for key, child in value.items())

    return check


_TYPES: dict[str, Check] = {
    "object": lambda value: isinstance(value, dict),
    "array": lambda value: isinstance(value, list),
    "string": lambda value: isinstance(value, str),
    "number": lambda value: type(value) is float or type(value) is int,
    "integer": lambda value: type(value) is int or (type(value) is float and value.is_integer()),
    "boolean": lambda value: isinstance(value, bool),
    "null": lambda value: value is None,
}

_MAKERS: list[tuple[set[str], Callable[[Schema, Schema], Check]]] = [
    ({"type"}, _type),
    ({"const", "enum"}, _fixed),
    ({"$ref"}, _reference),
    ({"if", "then", "else"}, _condition),
    (_NUMBER, _number),
    (_TEXT, _text),
    (_ARRAY, _array),
    (_OBJECT, _object),
]
