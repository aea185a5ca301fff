"""Gaps at rest measured on pixels: OpenCV fills the outlines and its distance transform says how far apart they are."""

import cv2
import numpy as np
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_assemblies import FRONT, TURNED, box, film, insert, make, shot, stage, there_and_back

from choreo.geometry.cameras.silhouette import silhouettes
from choreo.model.choreography import View

FINE = 2
"""Pixels of the raster to a px."""
TOLERANCE = 2.0
"""px. A filled pixel lies within 0.71 of a raster pixel of its outline (fillPoly paints all that the edge touches, of
corners rounded by up to 0.71), on both sides; the distance transform with a 5 x 5 mask is within 2 % (documented by
OpenCV): at most 2 * 1.42 / FINE + 0.02 * 24 = 1.9 px."""


def painted(shape, size):
    image = np.zeros((size[1] * FINE, size[0] * FINE), dtype=np.uint8)
    rings = [ring for part in shapely.get_parts(shape) for ring in (part.exterior, *part.interiors)]
    cv2.fillPoly(image, [np.round(np.array(ring.coords) * FINE).astype(np.int32) for ring in rings], 1)
    return image


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    spots=st.lists(st.tuples(st.integers(-4, 3), st.integers(-2, 1)), min_size=1, max_size=5, unique=True),
    view=st.sampled_from([FRONT, TURNED, View("orthographic", 30, 35), View("orthographic", 90, 0)]),
    size=st.sampled_from([3.0, 6.0, 8.0]),
)
def test_outlines_at_rest_keep_the_gap_on_pixels(spots, view, size):
    pegs = [box(f"peg_{k}", 9 * x, 9 * y, 9 * x + size, 9 * y + size, 4, 8 + 2 * k) for k, (x, y) in enumerate(spots)]
    board = box("plate", -40, -25, 40, 25, 0, 4)
    joints = [insert(peg.id, "plate", (0, 0, 1)) for peg in pegs]
    made = stage(make(board, *pegs, joints=joints), film(shot(*there_and_back(90), view=view)))
    camera, width, height = made.layout.cameras[made.layout.rest_frames[0]], *made.frame.resolution
    images = [
        painted(silhouettes(made.apart.solids[part], camera, route[-1])[0], (width, height))
        for part, route in made.layout.routes.items()
    ]
    for index, one in enumerate(images):
        away = cv2.distanceTransform(1 - one, cv2.DIST_L2, 5) / FINE
        for other in images[index + 1 :]:
            assert away[other > 0].min() >= made.frame.gap_px - TOLERANCE
