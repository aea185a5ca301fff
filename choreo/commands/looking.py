"""Pictures of sections beside those that were signed off, drawn as far as somebody has to know."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from choreo.commands import Arguments
from choreo.commands.picturing import LONG_S, progress_bar, time_text

if TYPE_CHECKING:
    from choreo.commands.section_contents import Reviewed
    from choreo.frames.looking import Enough
    from choreo.frames.scene import Scene
    from choreo.model.sign_off import Mark, SectionNow
    from choreo.review.sight import Sight
    from choreo.review.standing import Standing

QUICK_STATUS = "draw nothing: a section counts as changed if it is made otherwise, whether that is seen or not"
_TELLING = 8
"""Frames that tell how long the others take."""
SHUTTER = 180.0
"""Degrees, as everywhere unless asked for otherwise."""


def stands(found: Reviewed, arguments: Arguments, *, count: bool = False) -> tuple[tuple[Standing, ...], int]:
    """Return how all sections stand, by their pictures unless the arguments are in a hurry; and how many were drawn."""
    from choreo.review.standing import standings  # noqa: PLC0415

    if arguments.quick:
        return standings(found.sections, found.ledger), 0
    looker = Looker(found, quiet=arguments.json)
    return looker.compare(count=count), looker.drawn


def drawn_words(drawn: int) -> list[str]:
    """Say how many frames were drawn, if any were."""
    return [f"Frames drawn for this: {drawn}."] if drawn else []


class Looker:
    """Draws frames of a project's film at full size, as `choreo still` does, and remembers how they look.

    Parameters
    ----------
    found : Reviewed
    quiet : bool
        Whether no bar is shown.

    """

    def __init__(self, found: Reviewed, *, quiet: bool) -> None:
        from choreo.frames.film import OUT  # noqa: PLC0415
        from choreo.frames.keys import drawing_version  # noqa: PLC0415
        from choreo.frames.known_pictures import read_known  # noqa: PLC0415
        from choreo.review.sight import sight_of  # noqa: PLC0415

        self._found = found
        self._quiet = quiet
        self._folder = found.project.folder / OUT
        self._kept = read_known(self._folder, drawing_version())
        self._scene: Scene | None = None
        self.drawn = 0
        """Frames that had to be drawn."""
        self.sight: Sight = sight_of(found.ledger, drawing_version()).also(self._kept)

    def compare(self, *, count: bool = False) -> tuple[Standing, ...]:
        """Return how all sections stand, having drawn what had to be drawn for it."""
        from choreo.model.sign_off import from_runs  # noqa: PLC0415
        from choreo.review.standing import standings, to_be_drawn  # noqa: PLC0415

        sections, ledger = self._found.sections, self._found.ledger
        try:
            while (asked := to_be_drawn(sections, ledger, self.sight, count=count)) is not None:
                section, mark, frames = asked
                self._look(section, frames, _differs(() if count else from_runs(mark.frame_pictures)))
        finally:
            self._keep()
        return standings(sections, ledger, self.sight)

    def with_pictures(self, marks: Sequence[Mark]) -> list[Mark]:
        """Return entries about sections as they are with their pictures, having drawn those that are not known."""
        from choreo.model.sign_off import NO_MARK  # noqa: PLC0415
        from choreo.review.signing import with_pictures  # noqa: PLC0415

        sections = {section.name: section for section in self._found.sections}
        out = []
        try:
            for mark in marks:
                section = sections[mark.section]
                if mark.verdict == NO_MARK:
                    out.append(mark)
                    continue
                missing = [n for n, made in enumerate(section.frame_contents) if made not in self.sight.known]
                self._look(section, missing, lambda _frame, _seen: False)
                out.append(with_pictures(mark, section, self.sight))
        finally:
            self._keep()
        return out

    def _look(self, section: SectionNow, frames: Sequence[int], enough: Enough) -> None:
        """Draw frames of a section that are made differently from each other, in their order."""
        from choreo.frames.looking import look  # noqa: PLC0415
        from choreo.frames.ranges import place_of  # noqa: PLC0415

        first = {section.frame_contents[frame]: frame for frame in reversed(frames)}
        asked = sorted(first.values())
        if not asked:
            return
        places = [place_of(self._found.film.tracks, section.first + frame) for frame in asked]

        def note(number: int, digest: str) -> None:
            self.sight = self.sight.also({section.frame_contents[asked[number]]: digest[:12]})
            self.drawn += 1

        look(
            self._drawable(), places,
            enough=lambda number, digest: enough(asked[number], digest[:12]),
            note=note,
            hear=self._heard(f"looking at {section.name}"),
        )  # fmt: skip

    def _heard(self, what: str) -> Callable[[int, int, float], None]:
        """A bar on a terminal; elsewhere one line, if the first frames tell that it takes long."""
        bar, quiet = progress_bar(what, quiet=self._quiet), self._quiet or sys.stderr.isatty()

        def hear(done: int, total: int, left: float) -> None:
            if done == _TELLING and left > LONG_S and not quiet:
                sys.stderr.write(f"{what}: {total} frames to draw, about {time_text(left)}\n")
                sys.stderr.flush()
            bar(done, total, left)

        return hear

    def _drawable(self) -> Scene:
        from choreo.frames.scene import scene_of  # noqa: PLC0415

        if self._scene is None:
            self._scene = scene_of(self._found.film, "full", SHUTTER)
        return self._scene

    def _keep(self) -> None:
        from choreo.frames.known_pictures import write_known  # noqa: PLC0415

        if self.drawn:
            write_known(self._folder, self.sight.drawing, {**self._kept, **self.sight.known})


def _differs(pictures: Sequence[str]) -> Enough:
    """Whether a frame looks otherwise than it did; never, where nothing is said."""
    return lambda frame, picture: bool(pictures) and picture != pictures[frame]
