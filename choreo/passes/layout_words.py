"""What the layout says to people."""

from __future__ import annotations

from choreo.errors import Finding


def inside(shot: str, frame: int, depth: float) -> Finding:
    """Return the finding that a fixed camera stands inside the product, or nearly touches it."""
    return Finding(
        code="camera-too-near",
        what=f'In shot "{shot}" the camera stands too near on frame {frame}: part of the product is '
        + (f"only {depth:.1f} mm in front of it." if depth > 0 else f"{-depth:.1f} mm behind it."),
        why="What is behind a camera, or nearly touches it, has no picture.",
        remedy='Give distance_mm more, or let it be solved (distance_mm = "fit").',
    )


def no_fit(shot: str) -> Finding:
    """Return the finding that camera and places cannot agree."""
    return Finding(
        code="no-fit",
        what=f'In shot "{shot}" no camera shows all parts at rest with the gaps asked for.',
        why="The farther the camera stands, the more mm a gap of so many px is worth.",
        remedy="Lower gap_px, widen the safe area, or turn the view so that the removal axes show.",
    )


def off_middle(shot: str, edge: str, beyond_px: float) -> Finding:
    """Return the finding that the safe area lies on one side of what a solved camera looks at."""
    return Finding(
        code="no-fit",
        what=f'In shot "{shot}" no camera can be solved: the {edge} edge of the safe area lies {beyond_px:.1f} px '
        "past the middle of the frame.",
        why="A solved camera keeps the product about the middle of the frame, so the safe area must have room there.",
        remedy=f"Let the {edge} margin of safe_area be less than 0.5.",
    )
