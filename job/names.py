"""Parts named by the plan's own lettering."""

from collections.abc import Sequence
from dataclasses import replace

from calibration.calibration import Calibration
from digitize.draw_outlines import Drawn
from digitize.part_names import Lettered, part_names
from drawing.drawing import Kind
from drawing.findings import Finding, Level
from pictures.words import Word


def with_names_read(drawn: Drawn, words: Sequence[Word], calibration: Calibration) -> Drawn:
    """Give the drawing with names read from lettering, and say which; a name that a person gave stays."""
    parts = drawn.drawing.outlines
    lettered = [Lettered(word.text, calibration.to_plan(word.corners_px)) for word in words]
    named = [number for number, part in enumerate(parts) if part.kind is not Kind.BORDER]
    read = part_names([parts[number] for number in named], lettered)
    names = {named[at]: text for at, text in read.items() if not parts[named[at]].name}
    if not names:
        return drawn
    outlines = tuple(replace(part, name=names.get(at, part.name)) for at, part in enumerate(parts))
    told = ", ".join(f"{outlines[at].number} {outlines[at].name}" for at in sorted(names))
    finding = Finding(
        "names-read",
        Level.NOTE,
        "names",
        f"Names were read from the plan's lettering: {told}. Look them over; a name that you give stands instead, and "
        'found = "names" under [[ignore]] in job.toml leaves parts unnamed.',
    )
    return replace(drawn, drawing=replace(drawn.drawing, outlines=outlines), findings=(*drawn.findings, finding))
