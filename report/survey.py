"""The adjustment in a surveyor's words and figures, ready to be set in a table."""

import math
from dataclasses import dataclass

from calibration.adjustment import Adjustment, ObservedRow, Seen, Unit, UnknownRow
from calibration.calibration import Calibration
from report.scale_figure import line_letters

LARGE = 3.3
"""A standardized residual beyond it is a blunder, or the model is wrong (one in a thousand by chance; Baarda 1968)."""


@dataclass(frozen=True, slots=True)
class SurveyRow:
    """One observation, every figure as shown; `letter` is its line's in the picture. `large` draws the eye."""

    letter: str
    label: str
    kind: str
    given: str
    fitted: str
    off: str
    off_px: str
    sigma: str
    standardized: str
    large: bool
    used: str


@dataclass(frozen=True, slots=True)
class SurveyUnknown:
    """One unknown, every figure as shown."""

    name: str
    value: str
    sigma: str
    prior: str


@dataclass(frozen=True, slots=True)
class Survey:
    """The surveyor's sheet. `summary` is (what, figure) in order."""

    rows: tuple[SurveyRow, ...]
    unknowns: tuple[SurveyUnknown, ...]
    summary: tuple[tuple[str, str], ...]


def survey(calibration: Calibration) -> Survey | None:
    """Give the sheet, or None for a calibration that does not know how it came about."""
    adjustment = calibration.adjustment
    if adjustment is None:
        return None
    letters = iter(line_letters())
    rows = tuple(_row(row, next(letters, "") if row.seen is Seen.LINE else "") for row in adjustment.observations)
    return Survey(rows, tuple(_unknown(row) for row in adjustment.unknowns), _summary(adjustment))


def _row(row: ObservedRow, letter: str) -> SurveyRow:
    unit = row.unit
    spread = row.given is None and row.seen is not Seen.TURN and row.residual is not None
    off = "" if row.residual is None else _figure(row.residual, unit, signed=not spread)
    bow = "" if row.bow_px is None else f"; bows {row.bow_px:.1f} px in the picture"
    return SurveyRow(
        letter,
        row.label[:1].upper() + row.label[1:],
        f"{row.seen}{bow}",
        "" if row.given is None else _figure(row.given, unit),
        "" if row.fitted is None else _figure(row.fitted, unit),
        off,
        "" if row.residual_px is None else _minus(f"{row.residual_px:.2f}" if spread else f"{row.residual_px:+.2f}"),
        "" if row.sigma is None else _figure(row.sigma, unit),
        "" if row.standardized is None else _minus(f"{row.standardized:.2f}" if spread else f"{row.standardized:+.2f}"),
        row.standardized is not None and abs(row.standardized) > LARGE,
        str(row.use),
    )


def _unknown(row: UnknownRow) -> SurveyUnknown:
    prior = "nothing"
    if math.isfinite(row.prior_sigma):
        prior = f"{_figure(row.prior, row.unit)} ± {_figure(row.prior_sigma, row.unit)}"
    if not row.solved:
        return SurveyUnknown(row.name, _figure(row.value, row.unit), "not solved for", "")
    return SurveyUnknown(row.name, _figure(row.value, row.unit), f"± {_figure(row.sigma, row.unit)}", prior)


def _summary(adjustment: Adjustment) -> tuple[tuple[str, str], ...]:
    told = [
        ("Equations", f"{adjustment.rows}: observations, and what is known beforehand"),
        ("Unknowns", f"{adjustment.unknown_count}, the places of rectangles among them"),
        ("Redundancy", f"{adjustment.redundancy}"),
    ]
    agreements = (
        ("of what was given", adjustment.given),
        ("of the straight lines", adjustment.lines),
        ("of the cards' corners", adjustment.cards),
    )
    for what, agreed in agreements:
        if agreed.redundancy > 0.5:
            told.append(
                (
                    f"Variance factor {what}",
                    f"{agreed.variance_factor:.2f} on {agreed.redundancy:.1f} degrees of freedom; 1 is expected, up to "
                    f"{agreed.usual_factor:.2f} may be chance",
                )
            )
    if adjustment.widened > 1:
        told.append(("Every sigma of the map", f"taken {adjustment.widened:.2f} times larger for what does not agree"))
    return tuple(told)


def _figure(value: float, unit: Unit, *, signed: bool = False) -> str:
    """Give a value in its unit; radians as degrees, ratios as percent."""
    sign = "+" if signed else ""
    match unit:
        case Unit.MM:
            text = f"{value:{sign}.3f} mm"
        case Unit.RAD:
            text = f"{math.degrees(value):{sign}.3f}°"
        case Unit.PX:
            text = f"{value:{sign}.1f} px"
        case Unit.MM_PER_PX:
            text = f"{value:{sign}.6f} mm/px"
        case Unit.PART:
            text = f"{100 * value:{sign}.3f} %"
        case Unit.NONE:
            text = f"{value:{sign}.5f}"
    return _minus(text)


def _minus(text: str) -> str:
    """Give a true minus, and no sign to what is shown as zero."""
    if not any(sign in "123456789" for sign in text):
        return text.lstrip("+-")
    return text.replace("-", "−", 1) if text.startswith("-") else text
