"""The job as a few library calls do it: four corners, one homography, adaptive threshold, contours, an SVG.

Run as `python -m benchmarks.plain_route PICTURE CORNERS WIDTH_MM HEIGHT_MM OUT.svg`, the corners as four `x,y`
upper-left first and clockwise. The benchmark's other side; no part of the program.
"""

import sys
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

PAGE_DPI = 300
LEAST_AREA_MM2 = 5.0  # smaller contours are letters and dust
_BLOCK_PX, _OFFSET = 31, 10  # a neighbourhood some ten line widths wide; ink is this much darker than its mean


def plain_route(
    picture: Path, corners_px: NDArray[np.float64], width_mm: float, height_mm: float
) -> list[NDArray[np.float64]]:
    """Give every contour of the ink as (N, 2) mm, y up, that surrounds more than a letter."""
    grey = _grey(picture)
    ink = cv2.adaptiveThreshold(grey, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, _BLOCK_PX, _OFFSET)
    contours, _ = cv2.findContours(ink, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    corners_mm = np.array([[0, height_mm], [width_mm, height_mm], [width_mm, 0], [0, 0]], dtype=np.float32)
    matrix = cv2.getPerspectiveTransform(corners_px.astype(np.float32), corners_mm)
    loops = []
    for contour in contours:
        if len(contour) > 8:
            loop = cv2.perspectiveTransform(contour.astype(np.float64), matrix)[:, 0]
            if abs(cv2.contourArea(loop.astype(np.float32))) > LEAST_AREA_MM2:
                loops.append(np.asarray(loop, dtype=np.float64))
    return loops


def write_loops(path: Path, loops: list[NDArray[np.float64]], width_mm: float, height_mm: float) -> None:
    """Write contours as an SVG in mm."""
    paths = ["M" + "L".join(f"{x:.3f},{height_mm - y:.3f}" for x, y in loop) + "Z" for loop in loops]
    body = "\n".join(f'<path d="{data}"/>' for data in paths)
    path.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm}mm" height="{height_mm}mm" '
        f'viewBox="0 0 {width_mm} {height_mm}" fill="none" stroke="black" stroke-width="0.1">\n{body}\n</svg>\n',
        encoding="utf-8",
    )


def _grey(picture: Path) -> NDArray[np.uint8]:
    if picture.suffix == ".pdf":
        import pypdfium2

        page = pypdfium2.PdfDocument(picture)[0]
        rendered = page.render(scale=PAGE_DPI / 72, grayscale=True)
        return np.asarray(rendered.to_numpy(), dtype=np.uint8).reshape(rendered.height, -1)[:, : rendered.width].copy()
    return np.asarray(cv2.imread(str(picture), cv2.IMREAD_GRAYSCALE), dtype=np.uint8)


def main() -> None:
    """Read the command line and write the SVG."""
    picture, corners, width, height, out = sys.argv[1:6]
    corners_px = np.array([[float(value) for value in point.split(",")] for point in corners.split()])
    loops = plain_route(Path(picture), corners_px, float(width), float(height))
    write_loops(Path(out), loops, float(width), float(height))


if __name__ == "__main__":
    main()
