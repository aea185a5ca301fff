"""The grammar of easings: W3C CSS Easing Functions Level 2, and ``min-jerk``.

Comments, blanks, signs, exponents and upper case are read as CSS Syntax Level 3 reads them. Three things are
stricter, because a typing slip is likelier here than intent: a bracket must be closed, escapes in names are
not read, and numbers and counts have bounds.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from choreo.motion.easing_base import Easing
from choreo.motion.easing_curves import BezierEasing, MinJerkEasing
from choreo.motion.easing_stops import LinearEasing, StepEasing, Stop, linear_points, linear_text, number_text

KEYWORD_CURVES = {
    "ease": (0.25, 0.1, 0.25, 1.0),
    "ease-in": (0.42, 0.0, 1.0, 1.0),
    "ease-out": (0.0, 0.0, 0.58, 1.0),
    "ease-in-out": (0.42, 0.0, 0.58, 1.0),
}
KEYWORDS = ("linear", *KEYWORD_CURVES, "step-start", "step-end", "min-jerk")
POSITIONS = ("jump-start", "jump-end", "jump-none", "jump-both", "start", "end")
ALLOWED = f"Write {', '.join(KEYWORDS)}, cubic-bezier(x1, y1, x2, y2), steps(count, position) or linear(stops)."

MOST_CHARACTERS = 20_000
MOST_STEPS = 10_000
LARGEST = 1e6
"""A progress of a million is beyond any use, and far below what would overflow."""

TOKEN = re.compile(
    r"""
    (?P<blank>   (?: [ \t\r\n\f] | /\*.*?\*/ )+ )
  | (?P<percent> [+-]? (?: [0-9]*\.[0-9]+ | [0-9]+ ) (?: e[+-]?[0-9]+ )? % )
  | (?P<number>  [+-]? (?: [0-9]*\.[0-9]+ | [0-9]+ ) (?: e[+-]?[0-9]+ )? )
  | (?P<function> -?[a-z_][a-z0-9_-]* \( )
  | (?P<name>     -?[a-z_][a-z0-9_-]* )
  | (?P<comma> , )
  | (?P<close> \) )
    """,
    re.VERBOSE | re.DOTALL | re.ASCII | re.IGNORECASE,
)


@dataclass(frozen=True)
class Token:
    """A word of the text: its kind (a group of TOKEN) and its lower-case spelling."""

    kind: str
    text: str


def read_easing(text: str) -> Easing:
    """Return the easing that `text` spells.

    Parameters
    ----------
    text : str
        One easing.

    Returns
    -------
    Easing
        With its canonical text.

    Raises
    ------
    ValueError
        If the text is no easing; the message says what was found and what is allowed.

    """
    tokens = _tokens(text)
    head = tokens[0] if tokens else None
    if head is None:
        raise ValueError(f"The easing is empty. {ALLOWED}")
    if head.kind == "name" and len(tokens) == 1 and head.text in KEYWORDS:
        return _keyword(head.text)
    if head.kind == "function" and head.text[:-1] in FUNCTIONS:
        return FUNCTIONS[head.text[:-1]](_arguments(text, tokens))
    raise ValueError(f"{quoted(text)} is not an easing.{_guess(head)} {ALLOWED}")


def quoted(text: str) -> str:
    """Return text in quotation marks, shortened, with anything that does not print replaced."""
    short = text if len(text) <= 60 else text[:57] + "..."
    return '"' + "".join(c if c.isprintable() else "?" for c in short) + '"'


def _guess(head: Token) -> str:
    import difflib  # noqa: PLC0415 - only for people who mistype

    near = difflib.get_close_matches(head.text.rstrip("(")[:40], [*KEYWORDS, *FUNCTIONS], n=1, cutoff=0.7)
    if near and near[0] != head.text:
        return f' Did you mean "{near[0]}"?'
    return ""


def _tokens(text: str) -> list[Token]:
    if len(text) > MOST_CHARACTERS:
        raise ValueError(f"An easing of {len(text)} characters is too long; {MOST_CHARACTERS} are allowed.")
    tokens, at = [], 0
    while at < len(text):
        match = TOKEN.match(text, at)
        if match is None:
            raise ValueError(f"{quoted(text)} is not an easing: {quoted(text[at:])} cannot be read. {ALLOWED}")
        kind = str(match.lastgroup)
        if kind != "blank":
            tokens.append(Token(kind, match.group().lower()))
        at = match.end()
    return tokens


def _arguments(text: str, tokens: list[Token]) -> list[list[Token]]:
    """Return what stands between the commas of a function that fills the whole text."""
    if tokens[-1].kind != "close":
        raise ValueError(f"{quoted(text)} is not closed: end it with a bracket.")
    found: list[list[Token]] = [[]]
    for token in tokens[1:-1]:
        if token.kind in ("close", "function"):
            raise ValueError(f'{quoted(text)} has a "{token.text}" too many: write one easing, without others in it.')
        if token.kind == "comma":
            found.append([])
        else:
            found[-1].append(token)
    return found


def _spelled(tokens: list[Token]) -> str:
    return quoted(" ".join(token.text for token in tokens)) if tokens else "nothing"


def _number(token: Token) -> float:
    """Return a number, or a percentage as a fraction, correctly rounded; never minus zero."""
    digits = token.text.rstrip("%")
    value = float(digits)
    if abs(value) > LARGEST:
        raise ValueError(f"{quoted(token.text)} is too large for an easing: stay between -1000000 and 1000000.")
    if token.kind == "percent" and value != 0.0:
        value = float(Decimal(digits).scaleb(-2))
    return value + 0.0


def _keyword(name: str) -> Easing:
    if name == "min-jerk":
        return MinJerkEasing()
    if name == "linear":
        return LinearEasing("linear", ((0.0, 0.0), (1.0, 1.0)))
    if name in KEYWORD_CURVES:
        return BezierEasing(name, *KEYWORD_CURVES[name])
    return _stepped(1, name.removeprefix("step-"))


def _bezier(arguments: list[list[Token]]) -> Easing:
    if [[token.kind for token in tokens] for tokens in arguments] != [["number"]] * 4:
        found = ", ".join(_spelled(tokens) for tokens in arguments[:6])
        raise ValueError(f"cubic-bezier() takes four numbers x1, y1, x2, y2, but found {found}.")
    x1, y1, x2, y2 = (_number(tokens[0]) for tokens in arguments)
    for name, x in (("x1", x1), ("x2", x2)):
        if not 0.0 <= x <= 1.0:
            raise ValueError(f"In cubic-bezier() {name} is {number_text(x)}, but time cannot run back: use 0 to 1.")
    text = f"cubic-bezier({', '.join(map(number_text, (x1, y1, x2, y2)))})"
    return BezierEasing(text, x1, y1, x2, y2)


def _steps(arguments: list[list[Token]]) -> Easing:
    if len(arguments) > 2 or any(len(tokens) != 1 for tokens in arguments):
        found = ", ".join(_spelled(tokens) for tokens in arguments[:4])
        raise ValueError(f"steps() takes a count and, if you like, a position, but found {found}.")
    count = arguments[0][0]
    if count.kind != "number" or re.fullmatch(r"[+-]?[0-9]+", count.text) is None:
        raise ValueError(f"steps() counts in whole numbers, but found {quoted(count.text)}.")
    position = arguments[1][0].text if len(arguments) == 2 else "end"
    if position not in POSITIONS:
        raise ValueError(f"steps() does not know the position {quoted(position)}: use {', '.join(POSITIONS)}.")
    fewest = 2 if position == "jump-none" else 1
    if not fewest <= float(count.text) <= MOST_STEPS:
        after = " with jump-none" if fewest == 2 else ""
        raise ValueError(f"steps(){after} takes {fewest} to {MOST_STEPS} steps, but found {quoted(count.text)}.")
    return _stepped(int(float(count.text)), position)


def _stepped(count: int, position: str) -> Easing:
    at_end = position in ("end", "jump-end")
    return StepEasing(f"steps({count})" if at_end else f"steps({count}, {position})", count, position)


def _linear(arguments: list[list[Token]]) -> Easing:
    if len(arguments) < 2:
        raise ValueError('linear() needs two stops or more, as in "linear(0, 0.25 75%, 1)".')
    points = linear_points([_stop(tokens) for tokens in arguments])
    return LinearEasing(linear_text(points), points)


def _stop(tokens: list[Token]) -> Stop:
    """Read a number with none, one or two percentages before or behind it."""
    kinds = [token.kind for token in tokens]
    places = [token for token in tokens if token.kind == "percent"]
    percents = ["percent"] * len(places)
    if len(places) > 2 or kinds not in (["number", *percents], [*percents, "number"]):
        raise ValueError(
            f"A stop of linear() is a number and up to two percentages, as in 0.25 75%, but found {_spelled(tokens)}."
        )
    output = tokens[kinds.index("number")]
    return _number(output), tuple(_number(token) for token in places)


FUNCTIONS: dict[str, Callable[[list[list[Token]]], Easing]] = {
    "cubic-bezier": _bezier,
    "steps": _steps,
    "linear": _linear,
}
