"""Tracks to pictures."""
