"""Cameras, and what they make of solids: silhouettes, and how far those lie from each other."""
