"""Frames of a project as files: which ones, drawn from what, by which processes, and which are there already."""
