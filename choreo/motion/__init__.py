"""Easing, timecode, positions at a time. Knows no geometry."""
