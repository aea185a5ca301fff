"""The renderer: tracks, solids and plates to pictures, in linear light, with edges as exact as areas are."""
