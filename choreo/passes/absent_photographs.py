"""Photographs of a sequence that a shot shows, and that are not on disk while others of their sequence are.

In:  tracks of one shot, how it uses the plates      Out: a finding a part

Which plate a shot shows hangs on views alone, never on files: a picture that comes or goes moves nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from choreo.errors import Finding
from choreo.model.assembly import Assembly, Plate
from choreo.model.plate_use import PlateUse
from choreo.model.tracks import PartTrack
from choreo.motion.plate_frames import photograph_number
from choreo.motion.sequence_runs import angles_in_words, runs_in_words

_LISTED = 4


def absent_findings(
    shot: str, tracks: Sequence[PartTrack], uses: Sequence[PlateUse], assembly: Assembly
) -> list[Finding]:
    """Return what stops the shot, a part, in the order of `uses`; nothing where all that it shows is there.

    Parameters
    ----------
    shot : str
        Its name.
    tracks : sequence of PartTrack
        Of the shot, with the photographs that each frame shows.
    uses : sequence of PlateUse
        Which plate each part has in it.
    assembly : Assembly
        For the plates.

    """
    shown = {track.id: track.plate_frame for track in tracks}
    found = []
    for use in uses:
        plate = assembly.plates[use.plate]
        if not plate.absent:
            continue
        absent = frozenset(plate.absent)
        numbers = {
            frame: photograph_number(plate, number)
            for frame, number in enumerate(shown[use.part])
            if number is not None
        }
        gone = {frame: number for frame, number in numbers.items() if number in absent}
        if gone:
            found.append(_finding(shot, use.part, plate, gone))
    return found


def _finding(shot: str, part: str, plate: Plate, gone: Mapping[int, int]) -> Finding:
    """One part; `gone` is the photograph that each frame of the shot lacks."""
    stretches: list[list[int]] = []
    for frame in gone:
        if stretches and frame == stretches[-1][-1] + 1:
            stretches[-1].append(frame)
        else:
            stretches.append([frame])
    listed = "; ".join(_stretch(plate, frames, gone) for frames in stretches[:_LISTED])
    more = f"; and {len(stretches) - _LISTED} more stretches" if len(stretches) > _LISTED else ""
    needed = "Photograph these angles" if plate.turntable is not None else "Add the missing photographs"
    return Finding(
        code="photograph-missing",
        what=f'Shot "{shot}" shows photographs of "{part}" that are not there: {listed}{more}.',
        why="Others of the sequence are there, so a plain solid in place of these would flicker.",
        remedy=f"{needed}, or leave the plate out; the part is then drawn as a plain solid.",
    )


def _stretch(plate: Plate, frames: Sequence[int], gone: Mapping[int, int]) -> str:
    numbers = sorted({gone[frame] for frame in frames})
    many = f"frames {frames[0]} to {frames[-1]}" if len(frames) > 1 else f"frame {frames[0]}"
    named = f"photograph{'s' * (len(numbers) > 1)} {runs_in_words(numbers)}".rstrip(",")
    return f"{many}: {named}{angles_in_words(numbers[0], numbers[-1], plate.turntable)}"
