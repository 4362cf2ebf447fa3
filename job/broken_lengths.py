"""Given lengths that run over a break in a drawn part: the paper shows them shorter than they are."""

from collections.abc import Iterator

import numpy as np

from digitize.break_lines import Break, breaks_crossed
from digitize.strokes import Strokes
from drawing.findings import Finding, Level
from job.job import Found, GivenLength, Job


def about_breaks(job: Job, strokes: Strokes) -> Iterator[Finding]:
    """Ask about every known distance and check length, and the build length, whose straight way crosses break lines."""
    if Found.BREAKS in job.ignore:
        return
    given = [(f"known distance {number}", known) for number, known in enumerate(job.knowns, 1)]
    given += [(f"check length {number}", check) for number, check in enumerate(job.checks, 1)]
    if job.build_length is not None:
        given.append(("build length", job.build_length))
    for label, length in given:
        found = breaks_crossed(strokes, np.array(length.start.at_px), np.array(length.end.at_px))
        if found:
            yield _crosses(label, length, found[0])


def _crosses(label: str, length: GivenLength, found: Break) -> Finding:
    places = " and ".join(f"{x:.0f},{y:.0f}" for x, y in found.places_px)
    lines = f"two {found.manner} break lines" if len(found.places_px) == 2 else f"a {found.manner} break line"
    return Finding(
        "crosses-break",
        Level.DECIDE,
        label,
        f"The {label}, {length.text}, crosses {lines} at {places} px, where a part is drawn with a piece left out: on "
        "the paper it is shorter than it says, by how much the picture does not show, and a scale set by it makes "
        "every part too large; give a length that crosses no break, or, if nothing is left out there, write "
        'found = "break lines" under [[ignore]] in job.toml.',
    )
