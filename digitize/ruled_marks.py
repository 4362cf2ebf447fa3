"""Which outlines are ruled figures to be read and no parts: tables and scale bars, and the letters in a table."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.lettering import small_pieces
from digitize.loop import Loop, Role
from digitize.ruled import ruled
from digitize.scale_bars import is_scale_bar
from digitize.strokes import Strokes
from digitize.tables import Told, is_table

SURE = 0.2
"""Confidence that a table or a scale bar is a part."""

IN_DOUBT = 0.5
"""The same where pieces cut side by side, each with its name, may look so."""

FEWEST_LINES = 2
"""Lines that make three cells."""


def without_ruled_marks(loops: Sequence[Loop], strokes: Strokes, lettering: NDArray[np.bool_]) -> list[Loop]:
    """The same loops, those that are tables, written in a table, or scale bars taken for marks or said to be unsure."""
    middles = shapely.points(np.array([link.points_px.mean(axis=0) for link in strokes.links]).reshape(-1, 2))
    tree = shapely.STRtree(np.asarray(middles, dtype=object))
    pieces = cache(lambda: small_pieces(strokes))
    told = list(loops)
    for which, loop in enumerate(loops):
        if told[which].role is not Role.PART or shapely.is_empty(loop.polygon):
            continue
        inside = np.array([link for link in tree.query(loop.polygon, predicate="contains") if link not in loop.links])
        if len(inside) < FEWEST_LINES:
            continue
        width_px = float(np.median([strokes.links[link].width_px for link in loop.links]))
        figure = ruled(loop.points_px, [strokes.links[link].points_px for link in inside], width_px=width_px)
        if figure is None or len(figure.cells) <= FEWEST_LINES:
            continue
        table = is_table(figure, strokes, lettering, inside, width_px=width_px)
        if table is not Told.NO:
            _tell(told, loop, is_sure=table is Told.YES)
        elif is_scale_bar(figure, pieces(), width_px=width_px):
            told[which] = replace(loop, role=Role.MARK, confidence=SURE, why="a scale bar")
    return told


def _tell(told: list[Loop], table: Loop, *, is_sure: bool) -> None:
    """Say of all that lies in a table that it is no part, or that this is in doubt."""
    for which, loop in enumerate(told):
        is_within = loop.area_px2 <= table.area_px2 and shapely.covers(table.polygon, shapely.centroid(loop.polygon))
        if loop.role is not Role.PART or not is_within:
            continue
        if is_sure:
            told[which] = replace(loop, role=Role.MARK, confidence=SURE, why="a table of lettering")
        else:
            why = "ruled into cells with lettering: a table, or pieces side by side"
            told[which] = replace(loop, confidence=min(loop.confidence, IN_DOUBT), why=why)
