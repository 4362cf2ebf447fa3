"""What to write into job.toml to drop a part or to name it."""

import shapely

from drawing.drawing import Kind, Outline
from drawing.paths import sampled
from report.facts import ReportFacts

# A choice finds its outline by an area within 10 %; this follows the smallest hole far closer.
SAMPLED_MM = 0.05


def choice_lines(facts: ReportFacts) -> str:
    """Give a `[[choices]]` for every part as it stands: a point inside it and its area, picture px, and its name."""
    parts = [outline for outline in facts.build.outlines if outline.kind is not Kind.BORDER]
    return "\n\n".join(_lines(outline, facts) for outline in parts)


def _lines(outline: Outline, facts: ReportFacts) -> str:
    to_full = (-1 if facts.mirrored else 1) / float(facts.fraction), 1 / float(facts.fraction)
    boundary, *holes = (
        facts.calibration.to_picture(sampled(path, tolerance_mm=SAMPLED_MM) * to_full)
        for path in (outline.boundary, *outline.holes)
    )
    # A point in a hole would serve as well, but a builder who looks it up expects wood there.
    inside = shapely.Polygon(boundary, holes).representative_point()
    return (
        f"[[choices]]  # part {outline.number}\n"
        f"inside_px = [{inside.x:.1f}, {inside.y:.1f}]\n"
        f"area_px2 = {shapely.Polygon(boundary).area:.0f}\n"
        f'action = "take"\n'
        f"name = {_quoted(outline.name)}"
    )


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
