"""The flat picture of the other half."""

import numpy as np

from pictures.flat import FlatPicture


def mirrored_flat(flat: FlatPicture) -> FlatPicture:
    """Give the flat picture with x turned to -x, as `Drawing.mirrored` turns the drawing: left becomes right."""
    width_mm = flat.pixels.shape[1] * flat.mm_per_px
    turned = np.ascontiguousarray(flat.pixels[:, ::-1])
    return FlatPicture(turned, flat.px_per_m, (-(flat.origin_mm[0] + width_mm), flat.origin_mm[1]))
