"""How large a picture would be if its file's claim were true."""

from drawing.units import MM_PER_INCH
from pictures.picture import Picture


def claimed_size_mm(picture: Picture) -> tuple[float, float] | None:
    """Give (width, height) by the page a PDF states, or by the file's dpi tag; None if it claims nothing.

    A claim only ever suggests a scale: tags are often wrong by 3 or 4 times.
    """
    source = picture.source
    render = None if source.render_dpi is None else (source.render_dpi, source.render_dpi)
    dpi = render or source.tag_dpi
    if dpi is None:
        return None
    return picture.width_px / dpi[0] * MM_PER_INCH, picture.height_px / dpi[1] * MM_PER_INCH
