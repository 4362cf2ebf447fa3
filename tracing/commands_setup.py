"""Commands about the size, the paper, the sheet and the job's own words."""

from dataclasses import replace
from fractions import Fraction

from drawing.build_fraction import format_fraction, parse_fraction
from job.cards import parse_card_bar
from job.job import Found, GivenLength, Job, KeptGrid, SheetKind
from job.points import parse_exact_mm, parse_width_mm
from printing.best_grid import PageGrid
from printing.setup import parse_paper
from tracing.asked_command import Asked, JsonValues, mark_of
from tracing.command import Command, read_nothing, read_switch, said, switched
from tracing.ends import read_ends
from tracing.errors import CommandError

MOST_NOTES = 10_000
"""Signs in a job's notes: some pages."""

MOST_PAGE = 100_000
LEAST_DPI, MOST_DPI = 1, 20_000


# Size.


def _set_fraction(job: Job, values: JsonValues) -> Job:
    return replace(_without_loose_grid(job), fraction=parse_fraction(values["text"]), build_length=None)


def _read_build_length(asked: Asked, job: Job) -> JsonValues:
    values = {**read_ends(asked, "the build length"), "text": asked.words("text").strip()}
    parse_exact_mm(values["text"], "A build length")
    return values


def _set_build_length(job: Job, values: JsonValues) -> Job:
    wanted = GivenLength(mark_of(values["start"]), mark_of(values["end"]), values["text"])
    # The length alone tells the fraction from here on, in the job file too.
    return replace(_without_loose_grid(job), fraction=Fraction(1), build_length=wanted)


def _without_loose_grid(job: Job) -> Job:
    """A grid put by hand while a length told the fraction belongs to that length."""
    loose = job.kept_grid is not None and job.kept_grid.fraction is None
    return replace(job, kept_grid=None) if loose else job


def _read_fraction(asked: Asked, job: Job) -> JsonValues:
    return {"text": format_fraction(parse_fraction(asked.words("text")))}


# Paper.


def _read_paper(asked: Asked, job: Job) -> JsonValues:
    # Read twice: a paper of one's own size is named to a few digits, and the name is what is kept.
    return {"name": parse_paper(parse_paper(asked.words("name")).name).name}


def _set_paper(job: Job, values: JsonValues) -> Job:
    return replace(job, setup=replace(job.setup, paper=parse_paper(values["name"])))


def _read_width(asked: Asked, job: Job) -> JsonValues:
    text = asked.words("text").strip()
    parse_width_mm(text)
    return {"text": text}


def _set_grid(job: Job, values: JsonValues) -> Job:
    x_mm, y_mm = values["origin_mm"]
    # One page, put where the hand put it: the others follow from what is to be printed.
    grid = PageGrid((x_mm, y_mm), values["landscape"], rows=1, cols=1)
    fraction = job.fraction if job.build_length is None else None
    return replace(job, kept_grid=KeptGrid(grid, fraction, job.setup))


# The sheet.


def _read_card_bar(asked: Asked, job: Job) -> JsonValues:
    text = asked.optional_words("text")
    if text is not None:
        text = text.strip()
        parse_card_bar(text)
    return {"text": text}


def _read_page(asked: Asked, job: Job) -> JsonValues:
    page = asked.whole("page")
    if not 1 <= page <= MOST_PAGE:
        raise CommandError(f"Page {page} was asked for; pages count from 1: give another.")
    return {"page": page}


def _set_page(job: Job, values: JsonValues) -> Job:
    if values["page"] == job.sheet.page:
        return job
    # Where the plan's origin and its pages lay on another page's picture says nothing about this one.
    return replace(job, sheet=replace(job.sheet, page=values["page"], origin_px=None), kept_grid=None)


def _read_drawn_at(asked: Asked, job: Job) -> JsonValues:
    text = asked.optional_words("text")
    return {"text": None if text is None else format_fraction(parse_fraction(text))}


def _set_drawn_at(job: Job, values: JsonValues) -> Job:
    text = values["text"]
    return replace(job, sheet=replace(job.sheet, drawn_at=None if text is None else parse_fraction(text)))


def _set_trust_size(job: Job, values: JsonValues) -> Job:
    on = values["on"]
    return replace(job, sheet=replace(job.sheet, trust_size=on, dpi=None if on else job.sheet.dpi))


def _read_dpi(asked: Asked, job: Job) -> JsonValues:
    value = asked.optional_above_zero("value")
    if value is not None and not LEAST_DPI <= value <= MOST_DPI:
        raise CommandError(
            f"{value:g} dpi was given; a picture has {LEAST_DPI} to 20 000 px an inch: give the scanner's figure."
        )
    return {"value": value}


def _set_dpi(job: Job, values: JsonValues) -> Job:
    value = values["value"]
    return replace(
        job, sheet=replace(job.sheet, dpi=value, trust_size=False if value is not None else job.sheet.trust_size)
    )


def _ignore(job: Job, values: JsonValues) -> Job:
    what = Found(values["what"])
    others = tuple(found for found in job.ignore if found is not what)
    return replace(job, ignore=(*others, what) if values["on"] else others)


def _read_name(asked: Asked, job: Job) -> JsonValues:
    text = asked.words("text").strip()
    if not text:
        raise CommandError("The job's name is empty; pages and files carry it: type a word or two.")
    return {"text": text}


SETUP_COMMANDS: dict[str, Command] = {
    "set_fraction": Command(_read_fraction, _set_fraction, lambda job, values: f"Set the size to {values['text']}"),
    "set_build_length": Command(
        _read_build_length, _set_build_length, lambda job, values: f"Set the length to come out at {values['text']}"
    ),
    "set_mirrored": Command(
        read_switch,
        lambda job, values: replace(job, mirrored=values["on"]),
        switched("Took the other hand", "Took the hand as drawn"),
    ),
    "set_lines_only": Command(
        read_switch,
        lambda job, values: replace(job, lines_only=values["on"]),
        switched("Left the picture off the pages", "Put the picture on the pages"),
    ),
    "set_paper": Command(_read_paper, _set_paper, lambda job, values: f"Took {values['name']} paper"),
    "set_margin": Command(
        _read_width,
        lambda job, values: replace(job, setup=replace(job.setup, margin_mm=parse_width_mm(values["text"]))),
        lambda job, values: f"Set the margin to {values['text']}",
    ),
    "set_overlap": Command(
        _read_width,
        lambda job, values: replace(job, setup=replace(job.setup, overlap_mm=parse_width_mm(values["text"]))),
        lambda job, values: f"Set the overlap to {values['text']}",
    ),
    "set_grid": Command(
        lambda asked, job: {"origin_mm": asked.plan_mm("origin_mm"), "landscape": asked.flag("landscape")},
        _set_grid,
        said("Moved the pages"),
    ),
    "clear_grid": Command(
        read_nothing, lambda job, values: replace(job, kept_grid=None), said("Had the pages laid anew")
    ),
    "set_page": Command(_read_page, _set_page, lambda job, values: f"Took page {values['page']}"),
    "set_kind": Command(
        lambda asked, job: {"kind": str(asked.choice("kind", SheetKind))},
        lambda job, values: replace(job, sheet=replace(job.sheet, kind=SheetKind(values["kind"]))),
        lambda job, values: (
            "Let the program tell what the picture is" if values["kind"] == "auto" else f"Took it as a {values['kind']}"
        ),
    ),
    "set_drawn_at": Command(
        _read_drawn_at,
        _set_drawn_at,
        lambda job, values: (
            "Took the drawn scale away" if values["text"] is None else f"Set the drawn scale to {values['text']}"
        ),
    ),
    "set_card_bar": Command(
        _read_card_bar,
        lambda job, values: replace(job, card_bar=values["text"]),
        lambda job, values: (
            "Took the cards' bar away" if values["text"] is None else f"Set the cards' bar to {values['text']}"
        ),
    ),
    "set_trust_size": Command(
        read_switch, _set_trust_size, switched("Trusted the file's own size", "No longer trusted the file's own size")
    ),
    "set_dpi": Command(
        _read_dpi,
        _set_dpi,
        lambda job, values: "Took the dpi away" if values["value"] is None else f"Set {values['value']:g} dpi",
    ),
    "ignore": Command(
        lambda asked, job: {"what": str(asked.choice("what", Found)), "on": asked.flag("on")},
        _ignore,
        lambda job, values: f"{'Left' if values['on'] else 'Took back'} the {values['what']}{' out' * values['on']}",
    ),
    "set_notes": Command(
        lambda asked, job: {"text": asked.words("text", most=MOST_NOTES, lines=True)},
        lambda job, values: replace(job, notes=values["text"]),
        said("Changed the notes"),
    ),
    "set_name": Command(
        _read_name,
        lambda job, values: replace(job, name=values["text"]),
        lambda job, values: f"Named the job {values['text']}",
    ),
}
