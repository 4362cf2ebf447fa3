"""The printing room's error class."""

from drawing.errors import ScantlingError


class PrintingError(ScantlingError):
    """Paper, a page grid or a file that pages cannot be made with."""
