"""Solids: stacks of depth bands; turned about an axis."""
