"""Ways off: who bars whom in which direction, and ways of several straight moves."""
