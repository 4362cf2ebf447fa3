"""How a picture was made, as far as its geometry is concerned."""

from enum import StrEnum


class Kind(StrEnum):
    """What stood between the paper and the pixels."""

    PHOTO = "photo"
    """A lens and a tilted view: a camera model is fitted."""
    SCAN = "scan"
    """A flatbed, roller scanner or copier: an affine map, x and y scale apart."""
    PAGE = "page"
    """A vector page drawn by the program: no error of its own beyond its stated size."""
