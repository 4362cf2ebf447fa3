"""What is written on every page."""

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class PageTitle:
    """What is written on every page. `stamp` goes loud across; `cautions` are sentences for the page plan."""

    job_name: str
    fraction: Fraction
    date: str
    stamp: str | None = None
    cautions: tuple[str, ...] = ()
