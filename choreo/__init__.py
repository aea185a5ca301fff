"""choreo: a compiler for exploding product shots made from plates."""

__version__ = "0.1.0"
