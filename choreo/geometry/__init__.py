"""Slabs, sweeps, silhouettes, cameras. Knows shapely, knows no assembly."""
