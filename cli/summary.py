"""What the terminal says at the end: what a builder most wants to know, in a few lines."""

from typing import Any

import typer

from cli.main import DONE, TO_DECIDE
from drawing.build_fraction import speak_fraction
from drawing.findings import Finding, Level
from drawing.format import format_give, format_inches, format_mm
from job.look import Looked
from job.made import Made
from job.measure import Measured
from job.size import overall_size
from job.words import rests_on


def say_made(made: Made) -> int:
    """Print size, sheets, what the scale rests on and what to check; give the exit code."""
    size = overall_size(made)
    say = typer.echo
    if made.stamp:
        say(f"{made.stamp}: settle what is marked below before you cut wood.\n")
    metric = f"{format_mm(size.width_mm)} x {format_mm(size.height_mm)}"
    inches = f"{format_inches(size.width_mm)} x {format_inches(size.height_mm)}"
    give = format_give(size.u95_mm)
    say(f"{made.job.name} at {speak_fraction(made.fraction)}: {metric} over all ({inches}), {give}.")
    parts, holes = len(made.build.outlines), sum(len(outline.holes) for outline in made.build.outlines)
    say(f"{_count(parts, 'part')} with {_count(holes, 'hole')}, {_count(len(made.build.lines), 'open line')}.")
    sheets = len(made.pages.tiles)
    paper = made.pages.setup.paper.name
    say(f"{_count(sheets, f'{paper} sheet')} and the page plan. Print one sheet first and measure its bars.")
    say(f"The scale rests on: {rests_on(made)}.")
    _say_findings(made.findings)
    say(f"\nWritten to {made.folder}: open report.html first.")
    return TO_DECIDE if made.stamp else DONE


def say_measured(measured: Measured, *, lengths_too: bool) -> int:
    """Print each length; findings go to stderr when the lengths are for a program."""
    if lengths_too:
        for length in measured.lengths:
            typer.echo(
                f"{_at(length.start_px)} to {_at(length.end_px)}: {length.full_mm:.2f} mm at full size "
                f"({format_inches(length.full_mm)}), give or take {length.u95_mm:.2f} mm; "
                f"{length.build_mm:.2f} mm at build size ({format_inches(length.build_mm)})"
            )
    _say_findings(measured.findings, to_stderr=not lengths_too)
    return TO_DECIDE if any(finding.level is Level.DECIDE for finding in measured.findings) else DONE


def measured_values(measured: Measured) -> dict[str, Any]:
    """Give what `measure --json` prints."""
    return {
        "lengths": [
            {"full_mm": length.full_mm, "build_mm": length.build_mm, "u95_mm": length.u95_mm}
            for length in measured.lengths
        ]
    }


def say_looked(looked: Looked) -> int:
    """Print where the numbered picture is and how to go on."""
    count = len(looked.landmarks_px)
    typer.echo(f"{_count(count, 'point')} numbered in {looked.page}: open it in a browser.")
    typer.echo('Then give a length you know between two of them: --known "12 47 = 36 in".')
    _say_findings(looked.findings)
    return DONE


def _say_findings(findings: tuple[Finding, ...], *, to_stderr: bool = False) -> None:
    for level, heading in ((Level.DECIDE, "Decide"), (Level.NOTE, "Check this")):
        chosen = [finding for finding in findings if finding.level is level]
        if chosen:
            typer.echo(f"\n{heading}:", err=to_stderr)
        for finding in chosen:
            typer.echo(f"  - {finding.about}: {finding.text}", err=to_stderr)


def _at(point_px: tuple[float, float]) -> str:
    return f"{point_px[0]:.1f},{point_px[1]:.1f}"


def _count(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
