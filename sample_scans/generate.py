"""Make the bundled sample: `python -m sample_scans.generate DIR [--part 1]`.

A photo, a scan and a PDF page of the invented plan, and truth.json with all that is true of them.
"""

import argparse
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from sample_scans.camera import Camera, Picturing, Scanner, View, camera_for, page_of, scanner_for
from sample_scans.page import write_page
from sample_scans.photo import PhotoLook, photograph
from sample_scans.plan import school_plan
from sample_scans.rendered import JPEG_QUALITY, photo_tags
from sample_scans.scan import scanned
from sample_scans.truth import PlanTruth, Points

PHOTO, SCAN, PAGE, TRUTH = "plan_photo.jpg", "plan_scan.png", "plan.pdf", "truth.json"
PAGE_DPI = 300.0
PHOTO_VIEW = View(focal_35mm=26.0, tilt_x_deg=9.0, tilt_y_deg=-7.0, turn_deg=1.5, k1=-0.03, k2=0.01)
_PHOTO_PX = (4000, 3000)
_PHOTO_SEED, _SCAN_SEED = 20, 21
_SCAN_DPI, _SCAN_SKEW_DEG, _SCAN_STRETCH = 200.0, 0.4, (1.002, 0.997)


@dataclass(frozen=True, slots=True)
class Cameras:
    """The geometry of the three pictures."""

    photo: Camera
    scan: Scanner
    page: Scanner


def cameras(plan: PlanTruth, *, part: float = 1.0) -> Cameras:
    """Give the pictures' geometry, at a part of the bundled pictures' resolution."""
    width, height = (round(side * part) for side in _PHOTO_PX)
    return Cameras(
        camera_for(plan.sheet_mm, PHOTO_VIEW, width_px=width, height_px=height),
        scanner_for(plan.sheet_mm, dpi=_SCAN_DPI * part, skew_deg=_SCAN_SKEW_DEG, stretch=_SCAN_STRETCH),
        page_of(plan.sheet_mm, dpi=PAGE_DPI),
    )


def generate(folder: Path, *, part: float = 1.0) -> None:
    """Write the four files into a folder, the pictures at a part of their full resolution."""
    folder.mkdir(parents=True, exist_ok=True)
    plan = school_plan()
    by = cameras(plan, part=part)
    photo = photograph(plan.strokes, plan.sheet_mm, by.photo, look=PhotoLook(), rng=np.random.default_rng(_PHOTO_SEED))
    Image.fromarray(photo).save(folder / PHOTO, quality=JPEG_QUALITY, optimize=True, exif=photo_tags(by.photo))
    scan = scanned(plan.strokes, plan.sheet_mm, by.scan, rng=np.random.default_rng(_SCAN_SEED))
    Image.fromarray(scan).save(folder / SCAN, optimize=True, dpi=(by.scan.dpi, by.scan.dpi))
    write_page(folder / PAGE, plan)
    (folder / TRUTH).write_text(json.dumps(_truth(plan, by, folder), separators=(",", ":")) + "\n", encoding="utf-8")


def _truth(plan: PlanTruth, by: Cameras, folder: Path) -> dict[str, object]:
    pictures: dict[str, tuple[Picturing, dict[str, object]]] = {
        PHOTO: (
            by.photo,
            {
                "focal_px": by.photo.focal_px,
                "centre_px": by.photo.centre_px,
                "k1": by.photo.k1,
                "k2": by.photo.k2,
                "rotation": by.photo.rotation.tolist(),
                "shift_mm": by.photo.shift_mm.tolist(),
            },
        ),
        SCAN: (by.scan, _affine(by.scan)),
        PAGE: (by.page, _affine(by.page)),
    }
    return {
        "about": "Rendered for this project from a plan invented for it; no photograph of anything. MIT licence.",
        "frame": "mm: y up, origin at the drawn border's lower-left corner; px: y down, pixel centres at integers",
        "name": plan.name,
        "sheet_mm": _rounded(plan.sheet_mm, 4),
        "border_mm": _rounded(plan.border_mm, 4),
        "pictures": {
            name: {
                "sha256": hashlib.sha256((folder / name).read_bytes()).hexdigest(),
                "width_px": camera.width_px,
                "height_px": camera.height_px,
                "camera": camera_truth,
                "border_px": _rounded(camera.to_picture(plan.border_mm), 3),
                "sheet_px": _rounded(camera.to_picture(plan.sheet_mm), 3),
            }
            for name, (camera, camera_truth) in pictures.items()
        },
        "known": [
            {
                "name": known.name,
                "length_mm": round(known.length_mm, 4),
                "start_mm": known.start_mm,
                "end_mm": known.end_mm,
                "marks_px": {
                    name: _rounded(camera.to_picture(np.array([known.start_mm, known.end_mm])), 3)
                    for name, (camera, _) in pictures.items()
                },
            }
            for known in plan.known
        ],
        "parts": [
            {
                "name": part.name,
                "boundary_mm": _rounded(part.boundary_mm, 4),
                "holes_mm": [_rounded(hole, 4) for hole in part.holes_mm],
            }
            for part in plan.parts
        ],
    }


def _affine(scanner: Scanner) -> dict[str, object]:
    return {"dpi": scanner.dpi, "matrix": scanner.matrix.tolist(), "shift_px": scanner.shift_px.tolist()}


def _rounded(points: Points, digits: int) -> list[list[float]]:
    # Adding 0 turns a rounded -0.0 into 0.0.
    return [[round(float(value), digits) + 0.0 for value in row] for row in points]


def main() -> None:
    """Read the command line and write the files."""
    parser = argparse.ArgumentParser(prog="python -m sample_scans.generate", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--part", type=float, default=1.0, help="part of the full resolution, such as 0.3")
    asked = parser.parse_args()
    generate(asked.folder, part=asked.part)
    for name in (PHOTO, SCAN, PAGE, TRUTH):
        path = asked.folder / name
        print(f"{path.name}  {path.stat().st_size} bytes  sha256 {hashlib.sha256(path.read_bytes()).hexdigest()}")


if __name__ == "__main__":
    main()
