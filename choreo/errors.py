"""The one error of choreo and the findings it carries.

A finding says what is wrong, where, why, and what to do about it. All findings of one run travel in one
`ChoreoError`; its kind decides the exit code: input that is wrong (2) or input that is sound but has no
solution (1). Anything else that is raised is a defect of ours.
"""

from __future__ import annotations

from dataclasses import dataclass, field

DEFECT = 3
"""Exit code of a failure that is choreo's own."""


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong, in the user's words.

    Attributes
    ----------
    code : str
        Stable, kebab-case, e.g. ``"unknown-part"``.
    what : str
        What is wrong, one sentence.
    file : str or None
        The file as the user would write it.
    place : str or None
        JSON Pointer (``/parts/3/offset``) or TOML key (``shot[0].phase[1].frames``).
    line : int or None
        Line in `file`, counted from 1.
    why : str
        Why it matters; may be empty where `what` says it all.
    remedy : str
        What to do next.
    severity : str
        ``"error"`` or ``"warning"``; a warning never stops a compile.

    """

    code: str
    what: str
    file: str | None = None
    place: str | None = None
    line: int | None = None
    why: str = ""
    remedy: str = ""
    severity: str = "error"

    def as_json(self) -> dict[str, object]:
        """Return the finding as a JSON object, keys in a fixed order, empty ones left out."""
        pairs = {
            "code": self.code,
            "severity": self.severity,
            "what": self.what,
            "file": self.file,
            "place": self.place,
            "line": self.line,
            "why": self.why,
            "remedy": self.remedy,
        }
        return {key: value for key, value in pairs.items() if value not in (None, "")}

    def as_text(self) -> str:
        """Return the finding as two to four lines for a terminal."""
        where = self.file or ""
        if self.line is not None:
            where += f":{self.line}"
        if self.place:
            where += f" {self.place}" if where else self.place
        head = f"{self.severity}[{self.code}] {where}".rstrip()
        lines = [head, f"  {self.what}"]
        if self.why:
            lines.append("  why: " + self.why.replace("\n", "\n       "))
        if self.remedy:
            lines.append(f"  do:  {self.remedy}")
        return "\n".join(lines)


@dataclass
class ChoreoError(Exception):
    """The input is wrong, or has no solution; `findings` say how.

    Attributes
    ----------
    findings : tuple of Finding
        At least one, in the order in which they were found.
    exit_code : int
        2 for wrong input or command line, 1 for sound input without a solution.
    written : tuple of str
        Files that show why, e.g. the picture of a proof; nothing else was written.

    """

    findings: tuple[Finding, ...]
    exit_code: int = field(default=2)
    written: tuple[str, ...] = ()

    def __str__(self) -> str:
        return "\n".join(finding.as_text() for finding in self.findings)


def wrong_input(*findings: Finding) -> ChoreoError:
    """Return the error for input that must be mended (exit 2)."""
    return ChoreoError(findings, exit_code=2)


def no_solution(*findings: Finding) -> ChoreoError:
    """Return the error for sound input without a solution (exit 1); a finding carries the proof."""
    return ChoreoError(findings, exit_code=1)
