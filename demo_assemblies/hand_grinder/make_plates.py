"""Make the plates, the turntable and the hero still of this invented grinder: python make_plates.py [part ...]

No camera was there: a small shader draws each part from the demo's own assembly.json, always the same bytes. A studio
would shoot the same set: each part by itself from where the camera of the second shot stands, at 6 px per mm, the
finished product from there as the still that takes over, and the knob on a turntable, for the first shot walks around
it. Needs choreo installed.
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from plate_making.finish import Coat, Finish, coat  # noqa: E402
from plate_making.shoot import Session, Table, pictures, run  # noqa: E402

PX_PER_MM = 6.0
VIEW = (55.0, -24.0)

STEEL = Finish("#b4bcc2", metal=1, shine=0.45, exponent=50, grain="spun", grain_share=0.10, bevel_mm=0.4)
DARK = STEEL.but(colour="#8d99a2", grain_share=0.12)
BRASS = STEEL.but(colour="#d9b85c", shine=0.4)
ENAMEL = Finish("#a9c4bd", shine=0.30, exponent=30, grain_share=0.03, bevel_mm=0.8)
RUBBER = Finish("#cf6a33", shine=0.10, exponent=12, grain_share=0.06, bevel_mm=0.6, smooth_degrees=20)
WOOD = Finish("#8a5a33", shine=0.20, exponent=26, grain="wood", grain_share=0.22, bevel_mm=1.4)

COATS: dict[str, Coat] = {
    "body": coat(ENAMEL),
    "cup": coat(Finish("#8a6a52", shine=0.22, exponent=24, grain_share=0.05, bevel_mm=1.0)),
    "collar": coat(RUBBER),
    "outer_burr": coat(DARK.but(smooth_degrees=20)),
    "inner_burr": coat(STEEL.but(colour="#c3c9cd", smooth_degrees=20)),
    "clamp_ring": coat(Finish("#3d5560", shine=0.25, exponent=30, grain_share=0.04, bevel_mm=0.5)),
    **{f"washer_{number}": coat(BRASS.but(bevel_mm=0.15)) for number in (1, 2, 3)},
    **{f"screw_{number}": coat(STEEL.but(colour="#9aa7b0")) for number in (1, 2, 3)},
    "spring_washer": coat(Finish("#6d5f9c", metal=0.8, shine=0.4, exponent=50, grain_share=0.04, bevel_mm=0.3)),
    "dial": coat(Finish("#d8743a", shine=0.25, exponent=30, grain_share=0.03, bevel_mm=0.5)),
    "axle": coat(STEEL.but(colour="#d4d9dc")),
    "bearing_outer": coat(DARK.but(colour="#9aa5ad")),
    "bearing_balls": coat(BRASS.but(colour="#e8bd5c", bevel_mm=0.8)),
    "bearing_inner": coat(DARK),
    "lid": coat(Finish("#4c7a70", shine=0.28, exponent=30, grain_share=0.03, bevel_mm=0.8)),
    "crank": coat(STEEL.but(colour="#b3babf", grain="brushed", grain_share=0.08, bevel_mm=0.8)),
    "hub_nut": coat(DARK.but(colour="#7d8a93", bevel_mm=0.6)),
    "knob": coat(WOOD),
    "knob_screw": coat(STEEL.but(colour="#c6ccd0", grain_share=0.22)),
}

TABLES = {"knob": Table(frames=(0, 66), start=-47.0, per_frame=-0.5, px_per_mm=4.0, elevation=33.0)}

__all__ = ["SESSION", "pictures"]

SESSION = Session(HERE, COATS, VIEW, PX_PER_MM, TABLES)

if __name__ == "__main__":
    sys.exit(run(SESSION, sys.argv[1:]))
