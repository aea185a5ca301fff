"""An SVG drawing as XML: elements with an id, and what they inherit. Nothing outside the file is ever looked at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

from choreo.read.notes import choices, clipped, near_miss, printable, shown
from choreo.read.refused import Refused

MOST_BYTES = 16 * 2**20
MOST_ELEMENTS = 200_000
DEEPEST = 100
_SVG = "http://www.w3.org/2000/svg"


@dataclass(frozen=True, eq=False)
class Element:
    """One element and those around it, outermost first."""

    tag: str
    """Without its namespace; empty where that is not SVG's."""
    attributes: Mapping[str, str]
    """Those without a namespace."""
    around: tuple[Element, ...]

    def inherited(self, name: str) -> str | None:
        """Return a property from the nearest element that sets it, style before attribute."""
        for element in (self, *reversed(self.around)):
            found = element.style().get(name) or element.attributes.get(name)
            if found and found.strip() != "inherit":
                return found.strip()
        return None

    def style(self) -> dict[str, str]:
        """Return the declarations of the style attribute."""
        pairs = [entry.split(":", 1) for entry in self.attributes.get("style", "").split(";") if ":" in entry]
        return {name.strip().lower(): value.replace("!important", "").strip() for name, value in pairs}


@dataclass(frozen=True, eq=False)
class Drawing:
    """A whole drawing."""

    root: Element
    by_id: Mapping[str, tuple[Element, ...]]
    sheet: str
    """The text of all style sheets."""

    def element(self, name: str) -> Element:
        """Return the element with an id, or raise `Refused`."""
        found = self.by_id.get(name, ())
        if len(found) == 1:
            return found[0]
        if found:
            what = f"The id {shown(name)} stands {len(found)} times in the drawing."
            raise Refused("svg-repeated-id", what, "Give each element an id of its own.")
        known = choices(self.by_id) if self.by_id else "none"
        hint = near_miss(name, list(self.by_id))
        what = f"There is no element with the id {shown(name)}."
        raise Refused("svg-no-such-id", what, f"{hint}Ids in this drawing: {known}.")


def parse_svg(data: bytes) -> Drawing:
    """Return the drawing in the bytes of a file.

    Raises
    ------
    Refused
        If it is no SVG, is no well-formed XML, declares entities, nests too deep or holds too much. No external
        reference of any kind is followed.

    """
    if data.startswith(b"\x1f\x8b"):
        raise Refused("not-svg", "This drawing is compressed (svgz).", "Save it as plain SVG.")
    reader = _Reader()
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
    parser.buffer_text = True
    parser.StartElementHandler = reader.begin
    parser.EndElementHandler = reader.end
    parser.CharacterDataHandler = reader.text
    parser.EntityDeclHandler = _refuse_entity
    parser.StartDoctypeDeclHandler = _check_doctype
    parser.ExternalEntityRefHandler = _refuse_external
    try:
        parser.Parse(data, True)  # noqa: FBT003  (the C function knows no keywords)
    except expat.ExpatError as error:
        reason = expat.ErrorString(error.code)
        what = f"This is not well-formed XML: {reason}, in its line {error.lineno}."
        raise Refused("not-svg", what, "Export the drawing again as plain SVG.") from error
    except (ValueError, LookupError) as error:  # e.g. an encoding that there is none of
        what = f"This is not well-formed XML: {printable(str(error))}."
        raise Refused("not-svg", what, "Save it as UTF-8.") from error
    if reader.root is None or reader.root.tag != "svg":
        what = "This is XML, but no SVG: its outermost element is not an svg of the namespace of SVG."
        raise Refused("not-svg", what, f'Add xmlns="{_SVG}", or export the drawing again as plain SVG.')
    by_id = {name: tuple(found) for name, found in reader.by_id.items()}
    return Drawing(reader.root, by_id, "".join(reader.sheet))


@dataclass
class _Reader:
    root: Element | None = None
    stack: list[Element] = field(default_factory=list)
    by_id: dict[str, list[Element]] = field(default_factory=dict)
    sheet: list[str] = field(default_factory=list)
    count: int = 0

    def begin(self, name: str, attributes: dict[str, str]) -> None:
        self.count += 1
        if self.count > MOST_ELEMENTS or len(self.stack) >= DEEPEST:
            limit = f"{MOST_ELEMENTS} elements" if self.count > MOST_ELEMENTS else f"{DEEPEST} levels"
            raise Refused("svg-too-large", f"The drawing has more than {limit}.", "Save the outlines on their own.")
        space, _, tag = name.rpartition(" ")
        element = Element(tag if space == _SVG else "", attributes, tuple(self.stack))
        self.root = self.root or element
        self.stack.append(element)
        if "id" in attributes:
            self.by_id.setdefault(attributes["id"], []).append(element)

    def end(self, _name: str) -> None:
        self.stack.pop()

    def text(self, text: str) -> None:
        if self.stack and self.stack[-1].tag == "style":
            self.sheet.append(text)


def _check_doctype(_name: str, _system: str | None, _public: str | None, has_subset: int) -> None:
    if has_subset:
        raise _entities()


def _refuse_entity(*_: Any) -> None:
    raise _entities()


def _refuse_external(context: str, *_: Any) -> int:
    what = f"The drawing takes text from outside the file ({clipped(printable(context or ''))})."
    raise Refused("svg-entities", what, "Save it as plain SVG.")


def _entities() -> Refused:
    what = "The drawing's document type has declarations of its own, such as entities."
    why = "They can blow up or reach outside the file, so none are read."
    return Refused("svg-entities", what, "Save it as plain SVG, or delete what stands in [ ] after <!DOCTYPE svg.", why)
