"""How a picture is divided: its levels, each half the size of the one before, and their tiles."""

TILE_PX = 512
"""Side of a tile: a screen holds about ten, and each is encoded in some ms."""


def level_sizes(width_px: int, height_px: int) -> list[tuple[int, int]]:
    """Give (width, height) of every level: each half the one before, rounded up, until one tile holds it."""
    sizes = [(width_px, height_px)]
    while max(sizes[-1]) > TILE_PX:
        width, height = sizes[-1]
        sizes.append((-(-width // 2), -(-height // 2)))
    return sizes
