"""The wing's pieces: a panel seen from above, ribs alone and ribs nested on one datum."""

import numpy as np

from sample_scans.dimensions import centre_line, dimension, line
from sample_scans.lettering import text
from sample_scans.sections import RibCuts, Section, notched_rib, plain_rib
from sample_scans.truth import InkStroke, PartTruth, Piece, Points

OUTLINE_MM = 0.35  # ISO 128 line widths
_LABEL_MM = 3.0
_RIB_LABEL_MM = 2.5
_LABEL_FREE_MM = 1.5  # paper between lettering and the outline round it


def part(name: str, boundary_mm: Points, holes_mm: tuple[Points, ...] = (), *, width_mm: float = OUTLINE_MM) -> Piece:
    """Draw a part's boundary and holes."""
    strokes = tuple(InkStroke(loop, width_mm, True, "outline") for loop in (boundary_mm, *holes_mm))
    return Piece(strokes, (PartTruth(name, boundary_mm, holes_mm),))


def rib(name: str, section: Section, *, chord_mm: float, cuts: RibCuts, width_mm: float = OUTLINE_MM) -> Piece:
    """Draw one rib, its name inside where there is room; the origin is the chord line's nose."""
    outline = notched_rib(section, chord_mm=chord_mm, cuts=cuts)
    middle = 0.56 * chord_mm
    ys = outline[np.abs(outline[:, 0] - middle) < 2, 1]
    low, high = float(ys.min()), float(ys.max())
    piece = part(name, outline, width_mm=width_mm)
    if high - low < _RIB_LABEL_MM + 2 * _LABEL_FREE_MM:
        return piece  # too thin to be written on
    at = (middle, (low + high - _RIB_LABEL_MM) / 2)
    return piece + text(name, at, height_mm=_RIB_LABEL_MM, anchor=0.5, width_mm=0.25)


def nested_ribs(
    names: tuple[str, ...], section: Section, *, chords_mm: tuple[float, ...], width_mm: float = OUTLINE_MM
) -> Piece:
    """Draw whole sections one inside another, sharing the datum line y = 0 and the point 0.3 chords back at x = 0."""
    piece = Piece()
    for name, chord in zip(names, chords_mm, strict=True):
        outline = plain_rib(section, chord_mm=chord) - np.array([0.3 * chord, 0.0])
        piece += part(name, outline, width_mm=width_mm)
    widest = max(chords_mm)
    piece += centre_line((-0.3 * widest - 7, 0.0), (0.7 * widest + 7, 0.0))
    return piece + centre_line((0.0, -0.05 * widest - 7), (0.0, 0.1 * widest + 7))


def wing_panel(
    name: str,
    *,
    length_mm: float,
    root_chord_mm: float,
    tip_chord_mm: float,
    leading_back_mm: float,
    bays: int,
    width_mm: float = OUTLINE_MM,
) -> Piece:
    """Draw a tapered panel from above, root at x = 0 on the left, its leading edge up, the root's trailing edge at 0.

    Ribs and spar are drawn by their two sides and end on the panel's edge. `leading_back_mm` is how far the tip's
    leading edge lies behind the root's.
    """

    def leading(x: float) -> float:
        return root_chord_mm - leading_back_mm * x / length_mm

    def trailing(x: float) -> float:
        return leading(x) - root_chord_mm + (root_chord_mm - tip_chord_mm) * x / length_mm

    corners = np.array(
        [
            [0.0, trailing(0)],
            [length_mm, trailing(length_mm)],
            [length_mm, leading(length_mm)],
            [0.0, leading(0)],
        ]
    )
    piece = part(name, corners, width_mm=width_mm)
    spar = root_chord_mm * 0.68
    strip, trail = 6.0, 14.0
    inside: list[InkStroke] = [
        line((0, y), (length_mm, y), width_mm=width_mm, role="inside") for y in (spar, spar - 3.0)
    ]
    inside.append(
        line((0, leading(0) - strip), (length_mm, leading(length_mm) - strip), width_mm=width_mm, role="inside")
    )
    inside.append(
        line((0, trailing(0) + trail), (length_mm, trailing(length_mm) + trail), width_mm=width_mm, role="inside")
    )
    labels = Piece()
    for bay in range(bays + 1):
        middle = length_mm * bay / bays
        for x in (middle - 0.9, middle + 0.9):
            if bay in (0, bays):
                # End ribs lie inside the panel: only their inner side is a line of its own.
                x = 1.8 if bay == 0 else length_mm - 1.8
            top, low = leading(x) - strip, trailing(x) + trail
            # Ribs stop at the spar, which passes through them.
            inside.append(line((x, top), (x, spar), width_mm=width_mm, role="inside"))
            inside.append(line((x, spar - 3.0), (x, low), width_mm=width_mm, role="inside"))
            if bay in (0, bays):
                break
        label_x = min(max(middle, 4.0), length_mm - 4.0)
        labels += text(f"R{bay + 1}", (label_x, leading(label_x) + 2.2), height_mm=_LABEL_MM, anchor=0.5)
    piece += Piece(tuple(inside)) + labels
    piece += dimension((0, leading(0)), (0, trailing(0)), away_mm=-12, name=f"{name} root chord")
    piece += dimension(
        (length_mm, trailing(length_mm)), (length_mm, leading(length_mm)), away_mm=-12, name=f"{name} tip chord"
    )
    # Across the root rib, so that its ends are the spar's; its extension lines begin above the panel's corners.
    return piece + dimension(
        (0, spar),
        (length_mm, spar),
        away_mm=leading(0) + 11 - spar,
        name=f"{name} length",
        gaps_mm=(leading(0) - spar + 1.5, leading(length_mm) - spar + 1.5),
    )
