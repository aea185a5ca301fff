"""Shapes of SVG to commands of its path data, their transforms, and the drawing's scale."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence

import numpy as np

from choreo.model.plan import Floats
from choreo.read.notes import shown
from choreo.read.refused import Refused
from choreo.read.svg_file import Drawing, Element
from choreo.read.svg_path import NUMBER, Command, commands, number

UNITS_PX = {
    "": 1.0, "px": 1.0, "in": 96.0, "cm": 96 / 2.54, "mm": 96 / 25.4, "q": 96 / 101.6, "pt": 96 / 72, "pc": 16.0,
}  # fmt: skip
"""CSS Values and Units 4, section 6.2: 96 px an inch. A px is the user unit."""
_SIDES_AGREE = 1e-3
"""Drawing programs round width and height."""
_MAY_HOLD = {"svg", "g", "a", "defs", "switch"}
_TRANSFORM = re.compile(r"[\s,]*([A-Za-z]+)\s*\(([^()]*)\)")
_TRANSFORMS: dict[str, tuple[int, ...]] = {
    "matrix": (6,), "translate": (1, 2), "scale": (1, 2), "rotate": (1, 3), "skewX": (1,), "skewY": (1,),
}  # fmt: skip


def shape(element: Element) -> Iterable[Command]:
    """Return an element as commands; of basic shapes the "equivalent path" of SVG 2, chapter 10.

    Raises
    ------
    Refused
        If it is no shape, or its numbers are none.

    """
    attributes = element.attributes
    if element.tag == "path":
        return commands(attributes.get("d", ""))
    if element.tag == "polygon":
        return _polygon(attributes.get("points", ""))
    if element.tag == "rect":
        return _rectangle(element)
    if element.tag in ("circle", "ellipse"):
        names = ("r", "r") if element.tag == "circle" else ("rx", "ry")
        rx, ry = (_size(element, name) for name in names)
        return _ellipse(_length(element, "cx"), _length(element, "cy"), rx, ry)
    name = element.tag or "an element of another namespace"
    what = f"The element with this id is no shape that encloses an area, but {name}."
    remedy = "Name a path, polygon, rect, circle or ellipse; turn text, strokes and copies into paths first."
    raise Refused("svg-no-shape", what, remedy)


def _polygon(text: str) -> list[Command]:
    found = NUMBER.findall(text)
    left = NUMBER.sub("", text).strip(" \t\n\f\r,")
    if left or len(found) % 2 or not found:
        what = "The points of the polygon are not pairs of numbers."
        raise Refused("svg-path", what, "Export the drawing again, or mend `points` by hand.")
    numbers = [number(each) for each in found]
    return [("M", numbers[:2]), *(("L", numbers[k : k + 2]) for k in range(2, len(numbers), 2)), ("Z", [])]


def _rectangle(element: Element) -> list[Command]:
    x, y, w, h = (_length(element, "x"), _length(element, "y"), _size(element, "width"), _size(element, "height"))
    given = [name for name in ("rx", "ry") if element.attributes.get(name, "auto") != "auto"]
    rx, ry = (_length(element, name if name in given else given[0]) if given else 0.0 for name in ("rx", "ry"))
    rx, ry = min(max(rx, 0.0), w / 2), min(max(ry, 0.0), h / 2)
    if not rx or not ry:
        return [("M", [x, y]), ("h", [w]), ("v", [h]), ("h", [-w]), ("Z", [])]
    return [
        ("M", [x + rx, y]), ("H", [x + w - rx]), ("A", [rx, ry, 0, 0, 1, x + w, y + ry]),
        ("V", [y + h - ry]), ("A", [rx, ry, 0, 0, 1, x + w - rx, y + h]),
        ("H", [x + rx]), ("A", [rx, ry, 0, 0, 1, x, y + h - ry]),
        ("V", [y + ry]), ("A", [rx, ry, 0, 0, 1, x + rx, y]), ("Z", []),
    ]  # fmt: skip


def _ellipse(x: float, y: float, rx: float, ry: float) -> list[Command]:
    quarters = [(x, y + ry), (x - rx, y), (x, y - ry), (x + rx, y)]
    return [("M", [x + rx, y]), *(("A", [rx, ry, 0, 0, 1, *to]) for to in quarters), ("Z", [])]


def _size(element: Element, name: str) -> float:
    value = _length(element, name)
    if value <= 0:
        what = f"`{name}` of the {element.tag} is {value:g}, so it has no area."
        raise Refused("no-area", what, "Give it a size above 0.")
    return value


def _length(element: Element, name: str) -> float:
    """Return a length in user units."""
    text = element.attributes.get(name, "0").strip()
    found = _measure(text)
    if found is None or found[1] not in UNITS_PX:
        what = f"`{name}` is {shown(text)}, which is no length by itself."
        raise Refused("svg-length", what, "Write a number, or one with mm, cm, in, pt, pc, Q or px.")
    return found[0] * UNITS_PX[found[1]]


def _measure(text: str) -> tuple[float, str] | None:
    match = NUMBER.match(text)
    return (number(match[0]), text[match.end() :].strip().lower()) if match else None


def placing(element: Element) -> Floats:
    """Return the (2, 3) matrix from an element's user units to the drawing's own.

    Raises
    ------
    Refused
        If it stands inside something that places it in another way, or is cut by a clip or a mask.

    """
    whole = np.eye(3)
    for each in (*element.around, element):
        if each is not element and each.tag not in _MAY_HOLD:
            what = f"The element stands inside {each.tag or 'an element of another namespace'}."
            raise Refused("svg-nested", what, "Move the shape to the top of the drawing, or into a group.")
        if each.tag == "svg" and each.around:
            raise Refused("svg-nested", "The element stands inside an svg of its own.", "Move it out of there.")
        for name in ("clip-path", "mask", "transform"):
            as_attribute = name != "transform" or each.tag == "svg"
            value = each.style().get(name) or (each.attributes.get(name) if as_attribute else None)
            if value not in (None, "", "none"):
                where = "the whole drawing" if each.tag == "svg" else "the element, by its style or by an attribute,"
                what = f"`{name}` applies to {where} and is not followed there."
                raise Refused("svg-unsupported", what, "Apply it in the drawing program, and save the outcome.")
        if each.around and each.attributes.get("transform", "").strip():
            with np.errstate(all="ignore"):  # what overflows is refused by whoever uses the matrix
                whole = whole @ _transform(each.attributes["transform"])
    return whole[:2]


def _transform(text: str) -> Floats:
    """Return the (3, 3) matrix of a transform list; CSS Transforms 1, chapter 13, for what each means."""
    whole, at = np.eye(3), 0
    while match := _TRANSFORM.match(text, at):
        found = [number(each) for each in NUMBER.findall(match[2])]
        left = NUMBER.sub("", match[2]).strip(" \t\n\f\r,")
        if left or len(found) not in _TRANSFORMS.get(match[1], ()):
            break
        whole, at = whole @ _matrix(match[1], found), match.end()
    if text[at:].strip(" \t\n\f\r,"):
        what = f"The transform {shown(text)} cannot be read."
        raise Refused("svg-transform", what, "Write matrix, translate, scale, rotate, skewX or skewY with numbers.")
    return whole


def _matrix(name: str, given: Sequence[float]) -> Floats:
    a, b, c, d, e, f = 1.0, 0.0, 0.0, 1.0, 0.0, 0.0
    if name == "matrix":
        a, b, c, d, e, f = given
    elif name == "translate":
        e, f = given[0], given[1] if len(given) > 1 else 0.0
    elif name == "scale":
        a, d = given[0], given[-1]
    elif name == "skewX":
        c = math.tan(math.radians(given[0]))
    elif name == "skewY":
        b = math.tan(math.radians(given[0]))
    else:
        a = d = math.cos(math.radians(given[0]))
        b, c = math.sin(math.radians(given[0])), -math.sin(math.radians(given[0]))
        if len(given) > 1:
            x, y = given[1:]
            e, f = x - a * x - c * y, y - b * x - d * y
    return np.array([[a, c, e], [b, d, f], [0, 0, 1]])


def mm_per_unit(drawing: Drawing) -> float:
    """Return how many mm one of the drawing's user units is, as its size says.

    Returns
    -------
    float
        Where `width` or `height` has a unit: that size over the viewBox, or CSS's 25.4 / 96 mm without one. Else 1.

    Raises
    ------
    Refused
        If width and height say different scales.

    """
    attributes = drawing.root.attributes
    declared = [_measure(attributes.get(name, "").strip()) for name in ("width", "height")]
    sizes = [size[0] * UNITS_PX[size[1]] * 25.4 / 96 if size and size[1] and size[1] in UNITS_PX else None
             for size in declared]  # fmt: skip
    if sizes == [None, None]:
        return 1.0
    box = [number(each) for each in NUMBER.findall(attributes.get("viewBox", ""))]
    if "viewBox" not in attributes:
        return 25.4 / 96
    if len(box) != 4 or min(box[2:]) <= 0 or any(size is not None and size <= 0 for size in sizes):
        what = f"Size and viewBox of the drawing, {shown(attributes['viewBox'])}, give no scale."
        raise Refused("svg-scale", what, "Mend them, or give `mm_per_unit` beside `svg`.")
    scales = [size / side for size, side in zip(sizes, box[2:], strict=True) if size is not None]
    if max(scales) > min(scales) * (1 + _SIDES_AGREE):
        what = f"By its width one unit of the drawing is {scales[0]:g} mm, by its height {scales[1]:g} mm."
        raise Refused("svg-scale", what, "Mend them, or give `mm_per_unit` beside `svg`.")
    return min(scales)
