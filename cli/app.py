"""The commands: read arguments, one call, print, exit code."""

import json
from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    name="scantling",
    help="From one picture of a plan to true outlines and home-printed pages at the size you want to build.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Source = Annotated[Path, typer.Argument(metavar="PICTURE|JOB.toml", help="A photo, scan or PDF of the plan, or a job.")]
Known = Annotated[
    list[str] | None,
    typer.Option(
        "--known",
        metavar='"A B = LENGTH"',
        help="Two points and the distance between them on the thing; A B along C D: the part of it along that line.",
    ),
]
OnPaper = Annotated[
    list[str] | None,
    typer.Option("--on-paper", metavar='"A B = LENGTH"', help="The same, measured on the paper; needs --drawn-at."),
]
DrawnAt = Annotated[str | None, typer.Option(metavar="1/4", help="Paper size : full size, as drawn.")]
Check = Annotated[
    list[str] | None,
    typer.Option("--check", metavar='"A B = LENGTH"', help="A length to compare with the result, never fitted."),
]
Corners = Annotated[
    str | None,
    typer.Option(metavar='"P P P P [= W x H mm]"', help="A rectangle's corners, upper-left first and clockwise."),
]
Across = Annotated[str | None, typer.Option(metavar='"P P"', help="The line to lay straight, left end first.")]
TrustSize = Annotated[bool, typer.Option("--trust-size", help="Take the file's own dpi or page size for true.")]
Dpi = Annotated[float | None, typer.Option(metavar="N", help="The scanner's resolution, px per inch.")]
CardBar = Annotated[
    str | None,
    typer.Option("--card-bar", metavar='"199.4 mm"', help="What the 200 mm bar on the sheet of cards measures."),
]
AsGiven = Annotated[bool, typer.Option("--as-given", help="Leave every point where it was put.")]
Page = Annotated[int | None, typer.Option(metavar="N", help="Page of a PDF or TIFF, from 1.")]
Kind = Annotated[str | None, typer.Option(metavar="auto|photo|scan", help="What the picture is.")]
Fraction = Annotated[str | None, typer.Option(metavar="1/2", help="Build size / full size: 1/2, 0.5, 50 % or 1:2.")]
BuildLength = Annotated[
    str | None,
    typer.Option(metavar='"A B = 990 mm"', help="A length as it is to come out, instead of a fraction."),
]
Region = Annotated[
    list[str] | None, typer.Option("--region", metavar='"P P P ..."', help="Only what lies inside these corners.")
]


@app.callback(invoke_without_command=True)
def main(
    version: Annotated[bool, typer.Option("--version", help="Show the version and leave.", is_eager=True)] = False,
) -> None:
    """From one picture of a plan to true outlines and home-printed pages at the size you want to build."""
    if version:
        from cli.version import __version__

        typer.echo(f"scantling {__version__}")
        raise typer.Exit


@app.command(short_help="Number the points of a plan's picture.")
def look(
    picture: Annotated[Path, typer.Argument(metavar="PICTURE", help="A photo, scan or PDF of the plan.")],
    to: Annotated[Path | None, typer.Option("-o", metavar="look.html", help="Where the page goes.")] = None,
    page: Annotated[int, typer.Option(metavar="N", help="Page of a PDF or TIFF, from 1.")] = 1,
) -> int:
    """Number the corners, crossings and line ends found, over the picture."""
    from cli.shown import shown_progress
    from cli.summary import say_looked
    from job.look import look as look_at

    with shown_progress() as progress:
        looked = look_at(picture, page=page, to=to, progress=progress)
    return say_looked(looked)


@app.command(short_help="Make outlines and pages, or do a job again.")
def make(
    source: Source,
    folder: Annotated[Path | None, typer.Option("-o", metavar="DIR", help="Where the results go.")] = None,
    known: Known = None,
    on_paper: OnPaper = None,
    drawn_at: DrawnAt = None,
    check: Check = None,
    corners: Corners = None,
    across: Across = None,
    trust_size: TrustSize = False,
    dpi: Dpi = None,
    card_bar: CardBar = None,
    fraction: Fraction = None,
    build_length: BuildLength = None,
    region: Region = None,
    mirrored: Annotated[bool, typer.Option("--mirrored", help="The other half: everything left for right.")] = False,
    as_given: AsGiven = False,
    page: Page = None,
    kind: Kind = None,
    paper: Annotated[str | None, typer.Option(metavar="A4|A3|Letter|WxHmm", help="The printer's paper.")] = None,
    margin: Annotated[str | None, typer.Option(metavar="6mm", help="What the printer leaves blank.")] = None,
    overlap: Annotated[str | None, typer.Option(metavar="10mm", help="How far pages overlap.")] = None,
    lines_only: Annotated[bool, typer.Option("--lines-only", help="Pages without the plan's picture.")] = False,
) -> int:
    """Make outlines, a flat picture and pages from a picture of a plan, or do a job again.

    A, B and P are points: numbers from `scantling look`, or x,y in pixels.
    """
    from cli.shown import shown_progress
    from cli.typed import read_typed
    from job.make import make as make_it

    typed = read_typed(
        known=known, on_paper=on_paper, drawn_at=drawn_at, check=check, corners=corners, across=across,
        trust_size=trust_size, dpi=dpi, card_bar=card_bar, fraction=fraction, build_length=build_length, region=region,
        mirrored=mirrored, as_given=as_given, page=page, kind=kind, paper=paper, margin=margin, overlap=overlap,
        lines_only=lines_only,
    )  # fmt: skip
    with shown_progress() as progress:
        made = make_it(source, typed, folder=folder, progress=progress)
    # By now nearly all that it needs is loaded.
    from cli.summary import say_made

    return say_made(made)


@app.command(short_help="Tell lengths, angles, areas, radii and a rib's ordinates.")
def measure(
    source: Source,
    between: Annotated[
        list[str] | None, typer.Option("--between", metavar='"A B"', help="Two points to measure between.")
    ] = None,
    angle: Annotated[
        list[str] | None, typer.Option("--angle", metavar='"A V B"', help="The angle at V between A and B.")
    ] = None,
    area: Annotated[
        list[str] | None,
        typer.Option("--area", metavar='"P P P ..."', help='The area inside points, or of "part 3" or around "x,y".'),
    ] = None,
    radius: Annotated[
        list[str] | None,
        typer.Option("--radius", metavar='"P P P ..."', help="The arc through points, or the ink between two."),
    ] = None,
    ordinates: Annotated[
        list[str] | None,
        typer.Option(
            "--ordinates",
            metavar='"PART [on A B] [at STATIONS]"',
            help='Heights of a rib along its chord: "part 3", "part 3 at 20" (steps), "at 5 mm", "at 0 25 50 %".',
        ),
    ] = None,
    table: Annotated[
        Path | None, typer.Option("-o", metavar="ribs.csv", help="Write the ordinates to a CSV file too.")
    ] = None,
    known: Known = None,
    on_paper: OnPaper = None,
    drawn_at: DrawnAt = None,
    check: Check = None,
    corners: Corners = None,
    across: Across = None,
    trust_size: TrustSize = False,
    dpi: Dpi = None,
    card_bar: CardBar = None,
    fraction: Fraction = None,
    build_length: BuildLength = None,
    as_given: AsGiven = False,
    page: Page = None,
    kind: Kind = None,
    as_json: Annotated[bool, typer.Option("--json", help="For programs: one JSON object.")] = False,
) -> int:
    """Tell lengths, angles, areas, radii and a rib's ordinates at full and at build size, with give or take.

    A, B, V and P are points: numbers from `scantling look`, or x,y in pixels. PART is `part 3` or `part NAME` of the
    report, or x,y of a place inside it. STATIONS are a count of equal steps, a step at full size, or percents; those
    of published sections unless told.
    """
    from cli.measured import measured_values, say_measured, write_ordinates
    from cli.say import say
    from cli.shown import shown_progress
    from cli.typed import read_typed
    from job.measure import measure as measure_it
    from job.typed_shapes import parse_asked

    typed = read_typed(
        known=known, on_paper=on_paper, drawn_at=drawn_at, check=check, corners=corners, across=across,
        trust_size=trust_size, dpi=dpi, card_bar=card_bar, fraction=fraction, build_length=build_length,
        as_given=as_given, page=page, kind=kind,
    )  # fmt: skip
    asked = parse_asked(
        between=between or [], angles=angle or [], areas=area or [], radii=radius or [], ordinates=ordinates or []
    )
    with shown_progress() as progress:
        measured = measure_it(source, typed, asked, progress=progress)
    if table is not None:
        write_ordinates(table, measured.ordinates)
    if as_json:
        say(json.dumps(measured_values(measured)))
    return say_measured(measured, asked, values_too=not as_json)


@app.command(short_help="Print cards to lay on a plan before it is photographed.")
def cards(
    to: Annotated[Path, typer.Option("-o", metavar="cards.pdf", help="Where the sheets go.")] = Path("cards.pdf"),
    paper: Annotated[str, typer.Option(metavar="A4|A3|Letter|WxHmm", help="The printer's paper.")] = "A4",
    size: Annotated[str, typer.Option(metavar="60mm", help="A card's side: 40, 60, 80, 100, 120 or 150 mm.")] = "60mm",
) -> int:
    """Write sheets of numbered cards: near a plan's corners, they tell a photo's tilt and scale without a click."""
    from cli.cards import cards as write_cards

    return write_cards(to, paper=paper, size=size)


@app.command(short_help="Do the main job on the bundled sample.")
def demo(
    folder: Annotated[Path | None, typer.Option("-o", metavar="DIR", help="Where the results go.")] = None,
) -> int:
    """Do the main job on the bundled sample: a rendered phone picture of a plan, at half size on A4."""
    from cli.shown import shown_progress
    from cli.summary import say_made
    from job.demo import demo as run_demo

    with shown_progress() as progress:
        made = run_demo(folder=folder, progress=progress)
    return say_made(made)


@app.command(short_help="Do the whole job by eye and hand, in the browser.")
def trace(
    source: Annotated[
        Path | None, typer.Argument(metavar="[PICTURE|JOB.toml]", help="A photo, scan or PDF of the plan, or a job.")
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Print the address and open no browser.")] = False,
) -> int:
    """Do the whole job by eye and hand, in the browser: mark, trace, choose, see the pages, write the files.

    Everything done there is kept in job.toml, which `scantling make` runs. The page is served to this computer alone;
    Ctrl-C ends it.
    """
    from cli.trace import trace as trace_it

    return trace_it(source, open_browser=not no_browser)
