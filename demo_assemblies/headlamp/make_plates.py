"""Make the plates and the hero still of this invented headlamp: python make_plates.py [part ...]

No camera was there: a small shader draws each part from the demo's own assembly.json, always the same bytes. A studio
would shoot the same set: each part by itself from the front, where the film comes home, at 10 px per mm, and the
finished product as the still that takes over. Needs choreo installed.
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from plate_making.finish import Coat, Finish, coat  # noqa: E402
from plate_making.shoot import Session, pictures, run  # noqa: E402

PX_PER_MM = 10.0
VIEW = (0.0, 0.0)

SHELL = Finish("#5f6d79", shine=0.16, exponent=22, grain_share=0.05, crown=0.16, crown_mm=33, bevel_mm=0.9)
HOOK = Finish("#8b7fa3", shine=0.22, exponent=30, grain_share=0.035, crown=0.05, crown_mm=20, bevel_mm=0.7)
STEEL = Finish("#b9c0c6", metal=1, shine=0.5, exponent=60, grain="spun", grain_share=0.10, bevel_mm=0.35)
BEZEL = Finish("#2a3036", metal=0.75, shine=0.22, exponent=34, grain="spun", grain_share=0.10, bevel_mm=0.6)
BOARD = Finish("#175a45", shine=0.22, exponent=50, grain_share=0.03, bevel_mm=0.2, spots=(12, 6.6, 0.75, "#c9a24a"))
BOWL = Finish("#e6eaec", metal=1, shine=0.4, exponent=50, grain="none", crown=-0.95, crown_mm=13.6, bevel_mm=0.2)
LENS = Finish(
    "#7fa9bf",
    metal=0.35,
    shine=0.9,
    exponent=110,
    grain="rings",
    grain_share=0.10,
    crown=0.72,
    crown_mm=16,
    glow=0.22,
    heart="#fff4cf",
    heart_mm=4.2,
    bevel_mm=0.7,
)

COATS: dict[str, Coat] = {
    "shell": coat(SHELL),
    "door": coat(Finish("#383e48", shine=0.16, exponent=24, grain_share=0.05, bevel_mm=0.6)),
    "cell": coat(
        Finish("#c3a754", metal=0.7, shine=0.35, exponent=40, grain="none", lying_mm=5.25, lying_z=7.05, bevel_mm=0.3)
    ),
    "hook_left": coat(HOOK),
    "hook_right": coat(HOOK),
    "button": coat(Finish("#c9572d", shine=0.3, exponent=36, grain_share=0.03, bevel_mm=0.8)),
    "board": coat(
        BOARD,
        (15.6, Finish("#c9ccc6", shine=0.3, exponent=50, grain_share=0.02, bevel_mm=0.2)),
        (16.4, Finish("#f0cf4a", shine=0.6, exponent=60, grain="none", glow=0.2, bevel_mm=0.3)),
    ),
    "reflector": coat(BOWL),
    "filter": coat(Finish("#e0932a", shine=0.5, exponent=60, grain_share=0.015, glow=0.22, bevel_mm=0.5)),
    "lens": coat(LENS),
    "seal": coat(Finish("#83303c", shine=0.10, exponent=12, grain_share=0.05, bevel_mm=0.95)),
    "bezel": coat(BEZEL),
    **{f"screw_{number}": coat(STEEL) for number in (1, 2, 3, 4)},
}

__all__ = ["SESSION", "pictures"]

SESSION = Session(HERE, COATS, VIEW, PX_PER_MM)

if __name__ == "__main__":
    sys.exit(run(SESSION, sys.argv[1:]))
