"""Pieces put on a sheet in rows, clear of one another and of the title block."""

from collections.abc import Sequence
from dataclasses import dataclass

from sample_scans.truth import Piece

MARGIN_MM = 18.0  # free along the border, which the crosses stand in
TITLE_MM = (168.0, 52.0)
_GAP_MM = 9.0  # free between two pieces


@dataclass(frozen=True, slots=True)
class _Shelf:
    """A row of the layout: where its free part begins and how high it is."""

    low_mm: float
    height_mm: float
    free_from_mm: float
    end_mm: float


def on_shelves(pieces: Sequence[Piece], width_mm: float, height_mm: float) -> list[Piece]:
    """Put pieces on shelves from the top left, the tall first; whatever finds no room is left out."""
    top = height_mm - MARGIN_MM
    placed: list[Piece] = []
    shelves: list[_Shelf] = []
    order = sorted(pieces, key=lambda piece: piece.bounds_mm()[1] - piece.bounds_mm()[3])
    for piece in order:
        x0, y0, x1, y1 = piece.bounds_mm()
        across, up = x1 - x0, y1 - y0
        index = next((i for i, shelf in enumerate(shelves) if _fits(shelf, across, up)), len(shelves))
        if index == len(shelves):
            low = (shelves[-1].low_mm if shelves else top + _GAP_MM) - _GAP_MM - up
            end = width_mm - MARGIN_MM
            if low < TITLE_MM[1] + _GAP_MM:
                end -= TITLE_MM[0]
            if low < MARGIN_MM or MARGIN_MM + across > end:
                continue
            shelves.append(_Shelf(low, up, MARGIN_MM, end))
        shelf = shelves[index]
        placed.append(piece.at(shelf.free_from_mm - x0, shelf.low_mm - y0))
        shelves[index] = _Shelf(shelf.low_mm, shelf.height_mm, shelf.free_from_mm + across + _GAP_MM, shelf.end_mm)
    return placed


def _fits(shelf: _Shelf, across_mm: float, up_mm: float) -> bool:
    return up_mm <= shelf.height_mm and shelf.free_from_mm + across_mm <= shelf.end_mm
