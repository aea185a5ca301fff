"""Meeting a still: similarities of the picture plane, and how a plate is laid on the hero by them."""
