"""One pass a file, each a pure function."""
