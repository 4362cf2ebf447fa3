"""From the command line's words to what `make` and `measure` take."""

from job.errors import JobError
from job.job import SheetKind
from job.make import Typed
from job.points import parse_corners, parse_length_between, parse_pair, parse_points, parse_width_mm


def read_typed(
    *,
    known: list[str] | None,
    on_paper: list[str] | None,
    drawn_at: str | None,
    check: list[str] | None,
    corners: str | None,
    across: str | None,
    trust_size: bool,
    dpi: float | None,
    fraction: str | None,
    build_length: str | None,
    card_bar: str | None,
    as_given: bool,
    page: int | None,
    kind: str | None,
    region: list[str] | None = None,
    mirrored: bool = False,
    paper: str | None = None,
    margin: str | None = None,
    overlap: str | None = None,
    lines_only: bool = False,
) -> Typed:
    """Read every option's words.

    Raises
    ------
    ScantlingError
        In one sentence that names the option.
    """
    from drawing.build_fraction import parse_fraction
    from printing.setup import parse_paper

    return Typed(
        knowns=tuple(parse_length_between(text, option="--known") for text in known or ()),
        on_paper=tuple(parse_length_between(text, option="--on-paper") for text in on_paper or ()),
        checks=tuple(parse_length_between(text, option="--check") for text in check or ()),
        drawn_at=None if drawn_at is None else parse_fraction(drawn_at),
        corners=None if corners is None else parse_corners(corners, option="--corners"),
        across=None if across is None else parse_pair(across, option="--across"),
        trust_size=trust_size,
        dpi=dpi,
        card_bar=card_bar,
        fraction=None if fraction is None else parse_fraction(fraction),
        build_length=None if build_length is None else parse_length_between(build_length, option="--build-length"),
        regions=tuple(parse_points(text, option="--region") for text in region or ()),
        mirrored=mirrored,
        as_given=as_given,
        page=page,
        kind=None if kind is None else _kind(kind),
        paper=None if paper is None else parse_paper(paper),
        margin_mm=None if margin is None else parse_width_mm(margin),
        overlap_mm=None if overlap is None else parse_width_mm(overlap),
        lines_only=lines_only,
    )


def _kind(text: str) -> SheetKind:
    if text.lower() in list(SheetKind):
        return SheetKind(text.lower())
    raise JobError(f"--kind is {text!r}; it is auto, photo or scan: write one of them.")
