"""Paper sizes, written once."""

from dataclasses import dataclass

from drawing.units import MM_PER_INCH


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet of paper, portrait: `width_mm` <= `height_mm`."""

    name: str
    width_mm: float
    height_mm: float


# ISO 216 trimmed sizes; the trim tolerance is 1.5-3 mm, so an edge is never a reference mark.
ISO_216 = tuple(
    Paper(name, width, height)
    for name, width, height in [
        ("A0", 841.0, 1189.0),
        ("A1", 594.0, 841.0),
        ("A2", 420.0, 594.0),
        ("A3", 297.0, 420.0),
        ("A4", 210.0, 297.0),
        ("A5", 148.0, 210.0),
    ]
)

# ANSI/ASME Y14.1 A to E, and Legal (common trade size), given there in inches.
INCH_SIZES = tuple(
    Paper(name, width * MM_PER_INCH, height * MM_PER_INCH)
    for name, width, height in [
        ("Letter", 8.5, 11.0),
        ("Legal", 8.5, 14.0),
        ("Tabloid", 11.0, 17.0),
        ("ANSI-C", 17.0, 22.0),
        ("ANSI-D", 22.0, 34.0),
        ("ANSI-E", 34.0, 44.0),
    ]
)

PAPERS = {paper.name.lower(): paper for paper in ISO_216 + INCH_SIZES}
"""Every named paper by its lower-case name."""
