"""Make the README's pictures of the tracing page: `python -m tour.make_trace_pictures [FOLDER]`.

The real program, a real browser and a builder's gestures on the bundled photo; six pictures of 1280 x 720 px.
"""

import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from PIL import Image

from tests.tracing.page.builder import Builder, chromium, served
from tests.tracing.page.whole_job import CLOSE_SCALE, PHOTO_PATH, Truth, WholeJob

FOLDER = Path(__file__).parent
COLOURS = 256
"""As many as a small PNG can have."""


def make_trace_pictures(folder: Path) -> None:
    """Write trace-open.png, -scale, -outlines, -trace, -pages and -export into a folder."""
    with tempfile.TemporaryDirectory() as name, served(cwd=Path(name)) as program, chromium() as browser:
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        builder = Builder(page)
        job = WholeJob(builder, Truth())

        def picture(step: str) -> None:
            # Whatever fades in, and whatever comes from the program a moment later, is there.
            page.wait_for_timeout(800)
            path = folder / f"trace-{step}.png"
            page.screenshot(path=path)
            with Image.open(path) as image:
                # Maximum coverage keeps the few coloured lines that a mean over so much paper would lose.
                plain = image.convert("RGB")
                small = plain.quantize(COLOURS, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
            small.save(path, optimize=True)
            print(f"{path.name}: {path.stat().st_size // 1000} kB")

        page.goto(program.address)
        page.get_by_role("heading", name="Which plan").wait_for()
        picture("open")
        job.open(program.address, PHOTO_PATH)
        job.flatten()
        job.known("WING PANEL length", "400 mm", first=True)
        job.known("cross 1 to cross 2", "384 mm", first=False)
        builder.until(lambda: builder.card().count("Agrees") == 2, "both lengths to agree")
        builder.until_settled()
        builder.whole()
        picture("scale")
        job.rename("FIN", "TAIL FIN")
        job.leave_out("WHEEL - 2 OFF")
        builder.until_settled()
        picture("outlines")
        builder.press("Along the ink")
        places = job.traced_px()
        builder.zoom_on(places[1], scale=CLOSE_SCALE)
        for place in places[:2]:
            builder.click(place)
        builder.point_at(places[2])
        picture("trace")
        builder.page.keyboard.press("Escape")
        job.size()
        job.drag_pages()
        builder.whole()
        picture("pages")
        job.export()
        builder.until_settled()
        picture("export")


def main(arguments: Sequence[str]) -> int:
    """Make the pictures beside this program, or in the folder named."""
    make_trace_pictures(Path(arguments[0]) if arguments else FOLDER)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
