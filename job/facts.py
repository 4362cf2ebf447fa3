"""From a run to what the report tells."""

from datetime import date

import numpy as np

from job.made import Made
from job.size import overall_size
from pictures.flat import FlatPicture
from report.facts import ReportFacts


def report_facts(made: Made, flat: FlatPicture) -> ReportFacts:
    """Give everything the report tells of a run; seconds and hashes come last, when they are known."""
    widths_px = [link.width_px for link in made.seen.strokes.links]
    return ReportFacts(
        name=made.job.name,
        date=date.today().isoformat(),
        picture=made.seen.picture,
        calibration=made.calibration,
        rests_on=made.rests_on,
        build=made.build,
        fraction=made.fraction,
        overall=overall_size(made),
        pages=made.pages,
        findings=made.findings,
        flat_mm_per_px=flat.mm_per_px,
        flat_origin_mm=flat.origin_mm,
        mirrored=made.job.mirrored,
        line_width_mm=float(np.median(widths_px)) * made.calibration.mm_per_px if widths_px else None,
        stamp=made.stamp,
    )
