"""What a JSON Schema validator finds, in plain words.

The schema's own descriptions are the help: each says what belongs there, with unit, range and default.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from choreo.read.notes import Notes, choices, clipped, near_miss, shown, spoken
from choreo.read.place import Place

_KINDS = {
    "object": "a table of keys",
    "array": "a list",
    "string": "a text in quotes",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "null",
}
_BOUNDS = {
    "minimum": "must be at least",
    "maximum": "must be at most",
    "exclusiveMinimum": "must be more than",
    "exclusiveMaximum": "must be less than",
}


def note_schema_error(notes: Notes, schema: dict[str, Any], error: Any) -> None:
    """Add one error of a validator to the notes; one for each key where several are unknown or missing.

    Parameters
    ----------
    notes : Notes
        Of the file that was validated.
    schema : dict
        The whole schema.
    error : jsonschema.ValidationError
        As `iter_errors` gives it.

    """
    place: Place = tuple(error.absolute_path)
    help_text = _description(schema, error.absolute_schema_path)
    keyword = error.validator
    if keyword == "additionalProperties":
        _note_unknown_keys(notes, place, error)
    elif keyword == "required":
        _note_missing_key(notes, schema, place, error)
    elif notes.sound(*place):  # one word about a value is enough, e.g. that it is no number at all
        code, what = _sentence(keyword, error, spoken(place))
        notes.add(code, place, what[0].upper() + what[1:], remedy=help_text)


def _sentence(keyword: str, error: Any, name: str) -> tuple[str, str]:
    """Return code and sentence of an error about the value itself."""
    value, wanted = error.instance, error.validator_value
    if keyword == "type":
        return "wrong-type", f"{name} must be {_kinds(wanted)}, but it is {_kind_of(value)}."
    if keyword in _BOUNDS:
        return "out-of-range", f"{name} {_BOUNDS[keyword]} {shown(wanted)}, but it is {shown(value)}."
    if keyword == "const":
        code = {"choreo": "wrong-format"}.get(str(wanted).split("/", maxsplit=1)[0], "wrong-version")
        return code, f"{name} must be {shown(wanted)}, but it is {shown(value)}."
    if keyword == "enum":
        hint = near_miss(str(value), [str(option) for option in wanted])
        options = choices(shown(option) for option in wanted)
        return "not-allowed", f"{name} is {shown(value)}. {hint}Allowed: {options}."
    if keyword in ("minItems", "maxItems"):
        return "wrong-length", f"{name} must have {_count(error.schema)} entries, but it has {len(value)}."
    if keyword == "maxProperties":
        return "wrong-length", f"{name} must have at most {wanted} entries, but it has {len(value)}."
    if keyword in ("minLength", "maxLength"):
        limit = "at least" if keyword == "minLength" else "at most"
        return "not-allowed", f"{name} must be {limit} {wanted} characters long, but it has {len(value)}."
    return "not-allowed", f"{name} cannot be {shown(value)}."


def _note_unknown_keys(notes: Notes, place: Place, error: Any) -> None:
    allowed = list(error.schema.get("properties", {}))
    for key in error.instance:
        if key not in allowed:
            remedy = f"{near_miss(key, allowed)}Keys allowed here: {choices(allowed)}."
            what = f"There is no key `{clipped(key)}` in {spoken(place)}."
            notes.add("unknown-key", (*place, key), what, remedy=remedy)


def _note_missing_key(notes: Notes, schema: dict[str, Any], place: Place, error: Any) -> None:
    # The validator reports each missing key for itself, but names it only in its message.
    for key in error.validator_value:
        if key not in error.instance and error.message.startswith(repr(key)):
            path = [*list(error.absolute_schema_path)[:-1], "properties", key]
            what = f"The key `{key}` is missing from {spoken(place)}."
            notes.add("missing-key", place, what, remedy=f"Add it. {_description(schema, path)}")


def _description(schema: dict[str, Any], path: Iterable[Any]) -> str:
    """Return the description nearest to the end of a path of schema keywords, following references."""
    here: Any = schema
    nearest = ""
    for key in path:
        here = _followed(schema, here)
        if not isinstance(here, (dict, list)):
            break
        nearest = _own(here, nearest)
        here = here[key] if isinstance(here, list) or key in here else None
        nearest = _own(here, nearest)
    return nearest


def _own(node: Any, otherwise: str) -> str:
    text = node.get("description") if isinstance(node, dict) else None
    return text if isinstance(text, str) else otherwise


def _followed(schema: dict[str, Any], node: Any) -> Any:
    while isinstance(node, dict) and "$ref" in node:
        target: Any = schema
        for key in node["$ref"].removeprefix("#/").split("/"):
            target = target[key]
        node = target
    return node


def _kinds(wanted: str | list[str]) -> str:
    names = [wanted] if isinstance(wanted, str) else wanted
    return " or ".join(_KINDS[name] for name in names)


def _kind_of(value: Any) -> str:
    if isinstance(value, str):
        return f"the text {shown(value)}"
    return shown(value)


def _count(schema: dict[str, Any]) -> str:
    least, most = schema.get("minItems", 0), schema.get("maxItems")
    if least == most:
        return f"exactly {least}"
    return f"{least} to {most}" if most is not None else f"at least {least}"
