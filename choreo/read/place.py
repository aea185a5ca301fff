"""Where something stands in a file: the keys and indices that lead to it."""

Place = tuple[str | int, ...]
