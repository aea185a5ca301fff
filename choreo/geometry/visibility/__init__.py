"""Seeing and hiding: what stands in front, what it hides, in which order layers go."""
