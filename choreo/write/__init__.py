"""Tracks to files."""
