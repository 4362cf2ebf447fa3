"""Time and memory of the whole program as a person meets it: --help, and `make` on 12 and 140 megapixels.

Run as `python -m benchmarks.whole_program`. The large picture is drawn here (seed 5): an A0 sheet at 300 dpi with
plates, holes and noise. A plain-library route (adaptive threshold and contours) is timed beside `make`, as a ratio.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from benchmarks.measured_run import measured_run
from pictures.read import read_picture
from sample_scans.files import known_marks_px, sample_path

PHOTO = "plan_photo.jpg"
A0_PX = (9933, 14043)
"""Height and width of an A0 sheet, landscape, at 300 dpi: 139.5 MP."""

SEED = 5
PROGRAM = [sys.executable, "-c", "from cli.main import run; run()"]
PLAIN = (
    "import sys, cv2; g = cv2.imread(sys.argv[1], cv2.IMREAD_GRAYSCALE); "
    "b = cv2.adaptiveThreshold(g, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, 51, 12); "
    "print(len(cv2.findContours(b, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)[0]))"
)


def main() -> None:
    """Print a line for each."""
    times = []
    for _ in range(7):
        start = time.perf_counter()
        subprocess.run([*PROGRAM, "--help"], check=True, capture_output=True)
        times.append(time.perf_counter() - start)
    print(f"--help: {min(times):.3f} s at best of {len(times)}, {sorted(times)[len(times) // 2]:.3f} s in the middle")
    with tempfile.TemporaryDirectory() as folder:
        marks = [f"{a[0]},{a[1]} {b[0]},{b[1]} = {mm:g} mm" for a, b, mm in known_marks_px(PHOTO)]
        _print("12 MP photo", sample_path(PHOTO), marks, Path(folder))
        large = Path(folder) / "large.png"
        _draw_large(large)
        _print(
            "140 MP scan", large, ["1000,1000 13000,1000 = 1016 mm", "1000,1000 1000,9000 = 677.333 mm"], Path(folder)
        )


def _print(name: str, picture: Path, knowns: list[str], folder: Path) -> None:
    given = [word for known in knowns for word in ("--known", known)]
    ran = measured_run([*PROGRAM, "make", str(picture), "-o", str(folder / "out"), "--fraction", "1/4", *given])
    plain = measured_run([sys.executable, "-c", PLAIN, str(picture)])
    megapixels = read_picture(picture).grey.size / 1e6
    print(
        f"{name}, {megapixels:.1f} MP: make exit {ran.code}, {ran.seconds:.2f} s, {ran.peak_mb:.0f} MB peak "
        f"({ran.peak_mb / megapixels:.1f} bytes a px); plain route {plain.seconds:.2f} s, {plain.peak_mb:.0f} MB; "
        f"{ran.seconds / plain.seconds:.1f} times its time",
        flush=True,
    )
    if ran.code not in (0, 1):
        print(ran.said)


def _draw_large(path: Path) -> None:
    rng = np.random.default_rng(SEED)
    sheet = np.full(A0_PX, 238, np.uint8)
    cv2.rectangle(sheet, (1000, 1000), (13000, 9000), 40, 8, cv2.LINE_AA)
    for row in range(8):
        for col in range(14):
            x, y = 1250 + col * 840, 1250 + row * 960
            w, h = int(rng.integers(400, 700)), int(rng.integers(300, 800))
            cv2.rectangle(sheet, (x, y), (x + w, y + h), 40, 4, cv2.LINE_AA)
            cv2.circle(sheet, (x + w // 2, y + h // 2), int(min(w, h) * rng.uniform(0.1, 0.4)), 40, 4, cv2.LINE_AA)
    for top in range(0, A0_PX[0], 512):
        strip = sheet[top : top + 512]
        noise = rng.normal(0, 2, strip.shape).astype(np.int16)
        np.clip(strip + noise, 0, 255, out=noise)
        strip[:] = noise
    cv2.imwrite(str(path), sheet, [cv2.IMWRITE_PNG_COMPRESSION, 1])


if __name__ == "__main__":
    main()
