"""Rest positions clear of each other on the screen, and what of them is kept."""
