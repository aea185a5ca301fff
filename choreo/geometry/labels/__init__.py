"""Labels and the sheet they stand on: their size, their places, what two may not do to each other."""
