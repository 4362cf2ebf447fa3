"""cards: write the sheets and say what to do with them."""

from pathlib import Path

from cli.main import DONE
from cli.say import say
from job.cards_sheet import write_cards
from job.errors import JobError
from job.points import parse_width_mm
from printing.setup import parse_paper


def cards(to: Path, *, paper: str, size: str) -> int:
    """Write sheets of cards; give the exit code."""
    if to.suffix.lower() != ".pdf":
        # A slip in -o must not put a PDF in the place of somebody's plan.
        raise JobError(f"-o names {to}; cards are written as a PDF, so its name must end in .pdf: name another.")
    made = write_cards(to, paper=parse_paper(paper), size_mm=parse_width_mm(size))
    sheets = "one sheet" if made.sheets == 1 else f"{made.sheets} sheets"
    say(f"{made.cards} cards of {made.size_mm:g} mm on {sheets} of {made.paper.name}: {made.path}")
    say('Print at "actual size", measure the long bar, cut the cards out, lay four flat near the plan\'s corners.')
    say('Photograph all of it, then: scantling make photo.jpg --card-bar "200.0 mm", with what the bar measures.')
    return DONE
