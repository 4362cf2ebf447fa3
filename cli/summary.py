"""What the terminal says at the end: what a builder most wants to know, in a few lines."""

from collections import Counter
from collections.abc import Iterable

from cli.main import DONE, TO_DECIDE
from cli.say import say
from drawing.build_fraction import speak_fraction
from drawing.findings import Finding, Level
from drawing.format import format_give, format_inches_near, format_mm
from job.look import Looked
from job.made import Made
from job.size import overall_size

# What happens on every good run; the report tells it in full.
_ROUTINE = {
    "mark-moved": ("{n} mark moved to the ink beside it", "{n} marks moved to the ink beside them"),
    "curve-tolerance": ("how closely curves keep to the drawn lines",) * 2,
}


def say_made(made: Made) -> int:
    """Print what to check, then size, sheets and what the scale rests on; give the exit code."""
    size = overall_size(made)
    told = [finding for finding in made.findings if finding.level is Level.DECIDE or finding.code not in _ROUTINE]
    say_findings(told)
    if rest := _routine(made.findings):
        say(f"{'' if told else chr(10)}  - Told in full by the report: {rest}.")
    metric = f"{format_mm(size.width_mm)} x {format_mm(size.height_mm)}"
    inches = f"about {format_inches_near(size.width_mm)} x {format_inches_near(size.height_mm)}"
    say(f"\n{made.job.name} at {speak_fraction(made.fraction)}")
    say(f"  Over all: {metric}, {format_give(size.u95_mm)} ({inches})")
    parts, holes = len(made.build.outlines), sum(len(outline.holes) for outline in made.build.outlines)
    say(f"  Parts:    {parts}, with {_count(holes, 'hole')}")
    sheets = len(made.pages.tiles)
    say(f"  To print: the page plan, then {_count(sheets, f'{made.pages.setup.paper.name} sheet')}")
    say(f"  Scale:    rests on {made.rests_on}")
    say(f"\nWritten to {made.folder}: open report.html first.")
    if made.stamp:
        say(f"{made.stamp}: settle what stands under Decide before you cut wood.")
        return TO_DECIDE
    say("Then print the page plan alone, page 1 of pages.pdf, and measure its bars.")
    return DONE


def say_looked(looked: Looked) -> int:
    """Print where the numbered picture is and how to go on."""
    count = len(looked.landmarks_px)
    say(f"{_count(count, 'point')} numbered in {looked.page}: open it in a browser.")
    if count:
        say('Then give a length you know between two of them: --known "12 47 = 36 in".')
    else:
        say("No crossing, corner or line end was found: is this the right page, in even light, with dark lines?")
    say_findings(looked.findings)
    return DONE


def say_findings(findings: Iterable[Finding], *, to_stderr: bool = False) -> None:
    """Print findings under their heading, what must be decided first."""
    for level, heading in ((Level.DECIDE, "Decide"), (Level.NOTE, "Check this")):
        chosen = [finding for finding in findings if finding.level is level]
        if chosen:
            say(f"\n{heading}:", to_stderr=to_stderr)
        for finding in chosen:
            say(f"  - {_worded(finding)}", to_stderr=to_stderr)


def _worded(finding: Finding) -> str:
    """Name the thing unless the sentence does."""
    about = finding.about
    return finding.text if about.lower() in finding.text.lower() else f"{about[:1].upper()}{about[1:]}: {finding.text}"


def _routine(findings: Iterable[Finding]) -> str:
    """Tell the routine notes in a few words."""
    counts = Counter(finding.code for finding in findings if finding.level is Level.NOTE)
    return "; ".join(
        (one if counts[code] == 1 else many).format(n=counts[code])
        for code, (one, many) in _ROUTINE.items()
        if counts[code]
    )


def _count(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
