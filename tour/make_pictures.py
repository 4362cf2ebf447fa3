"""Make the README's pictures from the bundled sample: `python -m tour.make_pictures`.

The look page and the report are photographed by a browser, so that what the README shows is what people see.
"""

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pypdfium2
from numpy.typing import NDArray
from PIL import Image

from drawing.errors import ScantlingError
from job.demo import SAMPLE, demo
from job.look import look
from job.progress import Silent
from sample_scans.files import known_marks_px, sample_path

FOLDER = Path(__file__).parent
WIDE_PX = 1100
LARGEST_BYTES = 250_000
"""A README with its pictures should open at once on a slow line."""
COLOURS = (256, 128, 64, 48, 32)
"""Tried in turn until a picture is light enough: the grain of a photo is most of its weight."""

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
BROWSER_SECONDS = 120

# A hand on the look page: both ends of the known length, then the wheel over the wing.
HAND = """<script>
addEventListener("resize", () => setTimeout(hand, 50));
setTimeout(hand, 50);
function hand() {
  const view = document.getElementById("view"), number = document.getElementById("number");
  for (const label of LABELS) {
    number.value = label;
    document.getElementById("finder").requestSubmit();
  }
  document.getElementById("whole").click();
  const box = view.getBoundingClientRect();
  view.dispatchEvent(new WheelEvent("wheel", {
    clientX: Math.round(box.left + box.width * 0.36), clientY: Math.round(box.top + box.height * 0.1),
    deltaY: -400, bubbles: true, cancelable: true,
  }));
}
</script></body>"""


def make_pictures(folder: Path) -> None:
    """Write photo.jpg, look.png, report.png and pages.png into a folder.

    Raises
    ------
    ScantlingError
        Without a browser, or when a picture comes out too heavy for a README.
    """
    browser = next(filter(None, map(shutil.which, BROWSERS)), None)
    if browser is None:
        raise ScantlingError(
            "No browser was found to photograph the pages with; one of "
            f"{', '.join(BROWSERS)} is needed on the PATH: install Chromium."
        )
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        made = demo(folder=work / "demo", progress=Silent())
        looked = look(sample_path(SAMPLE), page=1, to=work / "look.html", progress=Silent())
        labels = known_labels(looked.landmarks_px)
        html = looked.page.read_text(encoding="utf-8")
        looked.page.write_text(html.replace("</body>", HAND.replace("LABELS", repr(labels))), encoding="utf-8")
        _save(_photo(), folder / "photo.jpg")
        _save(_screen(browser, looked.page, work, high_px=660), folder / "look.png")
        _save(_screen(browser, made.folder / "report.html", work, high_px=1040), folder / "report.png")
        _save(_pages(made.folder / "pages.pdf"), folder / "pages.png")


def known_labels(landmarks_px: NDArray[np.float64]) -> list[str]:
    """Give the numbers that the look page shows at the two ends of the sample's first known length."""
    start_px, end_px, _ = known_marks_px(SAMPLE)[0]
    return [str(int(np.hypot(*(landmarks_px - np.asarray(mark_px)).T).argmin()) + 1) for mark_px in (start_px, end_px)]


def _photo() -> Image.Image:
    with Image.open(sample_path(SAMPLE)) as photo:
        return photo.convert("RGB").resize((WIDE_PX, round(WIDE_PX * photo.height / photo.width)))


def _screen(browser: str, page: Path, work: Path, *, high_px: int) -> Image.Image:
    shot = work / f"{page.stem}.png"
    subprocess.run(
        [browser, *QUIET, f"--user-data-dir={work / 'profile'}", f"--window-size={WIDE_PX},{high_px}",
         "--virtual-time-budget=4000", f"--screenshot={shot}", page.as_uri()],
        check=True, capture_output=True, timeout=BROWSER_SECONDS,
    )  # fmt: skip
    with Image.open(shot) as image:
        return image.convert("RGB")


def _pages(pdf: Path) -> Image.Image:
    """The page plan and the first sheet side by side, with a rim so that white paper shows on a white screen."""
    gap_px = 16
    document = pypdfium2.PdfDocument(pdf)
    sheets = [_at_width(document[number], (WIDE_PX - 3 * gap_px) // 2) for number in (0, 1)]
    both = Image.new("RGB", (WIDE_PX, max(sheet.height for sheet in sheets) + 2 * gap_px), (214, 214, 210))
    for number, sheet in enumerate(sheets):
        both.paste(sheet, (gap_px + number * (sheet.width + gap_px), gap_px))
    document.close()
    return both


def _at_width(page: pypdfium2.PdfPage, width_px: int) -> Image.Image:
    image: Image.Image = page.render(scale=width_px / page.get_width()).to_pil()
    return image.convert("RGB")


def _save(image: Image.Image, path: Path) -> None:
    if path.suffix == ".jpg":
        image.save(path, quality=80, optimize=True)
    for colours in COLOURS if path.suffix == ".png" else ():
        # Maximum coverage keeps the few coloured lines that a mean over so much grey would lose.
        image.quantize(colours, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE).save(path, optimize=True)
        if path.stat().st_size <= LARGEST_BYTES:
            break
    if path.stat().st_size > LARGEST_BYTES:
        raise ScantlingError(
            f"{path.name} came out at {path.stat().st_size // 1000} kB; a README's picture may hold "
            f"{LARGEST_BYTES // 1000} kB: make it smaller."
        )
    print(f"{path.name}: {image.width} x {image.height} px, {path.stat().st_size // 1000} kB")


def main(arguments: Sequence[str]) -> int:
    """Make the pictures beside this program, or in the folder named."""
    try:
        make_pictures(Path(arguments[0]) if arguments else FOLDER)
    except ScantlingError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
