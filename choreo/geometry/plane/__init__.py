"""Areas, outlines and lines of a plane: united, simplified, swept, crossed. Knows no third dimension."""
