"""The whole job by mouse on the bundled photo: from opening to printed pages, and where truth lies."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Polygon

from sample_scans.generate import PHOTO, cameras
from sample_scans.plan import school_plan
from tests.tracing.page.builder import Builder, PointPx

if TYPE_CHECKING:
    from playwright.sync_api import Locator

PHOTO_PATH = Path(__file__).parents[3] / "sample_scans" / PHOTO
Points = NDArray[np.float64]

WANTED_SPAN = "200 mm"
"""What the wing panel of 400 mm shall come out as: half of full size."""

CLOSE_SCALE = 1.2
"""Screen px of a picture px when a builder has gone near enough to aim at a line of 4 px."""


class Truth:
    """The bundled photo and all that is true of it."""

    def __init__(self) -> None:
        self.plan = school_plan()
        self.camera = cameras(self.plan).photo

    def px(self, *points_mm: tuple[float, float]) -> list[PointPx]:
        """Where places of the plan are in the photo."""
        return [(float(x), float(y)) for x, y in self.camera.to_picture(np.array(points_mm, dtype=float))]

    def ends_px(self, name: str) -> tuple[PointPx, PointPx]:
        """Where both ends of a known length are in the photo."""
        known = self.plan.known_named(name)
        start, end = self.px(known.start_mm, known.end_mm)
        return start, end

    def outline_mm(self, name: str) -> Polygon:
        """A part with its holes, mm on the plan."""
        part = next(part for part in self.plan.parts if part.name == name)
        return Polygon(part.boundary_mm, part.holes_mm)

    def inside_px(self, name: str) -> PointPx:
        """A place well inside a part's outline, in none of its holes."""
        inside = self.outline_mm(name).representative_point()
        return self.px((inside.x, inside.y))[0]


# Places on the plan, mm: where the builder's hand goes.
TRACED_MM = ((266.0, 0.0), (302.0, 0.0), (338.0, 0.0))
"""x of three clicks along the upper edge of the brace; its y comes from the outline itself."""
BAR_MM = ((147.0, 15.0), (253.0, 15.0))
"""The check bar, which is no part of the aeroplane and is rubbed out."""
BAR_BAND_SCALE = 0.4
"""At this scale the band of a rubbing hand is about 9 mm wide: over the bar, clear of the brace above it."""
ARMS_MM = ((34.0, 374.0), (34.0, 264.0), (434.0, 287.0))
"""Corners of the wing panel: the angle at the root's trailing edge lies between the first and the last."""
GRID_DRAG_MM = ((290.0, 160.0), (286.0, 130.0))
"""The pages are taken hold of here and let go there: their joint then cuts the wing panel alone."""


@dataclass
class WholeJob:
    """Does the job step by step; `gestures` holds (what, seconds by hand, seconds of waiting)."""

    builder: Builder
    truth: Truth
    gestures: list[tuple[str, float, float]] = field(default_factory=list)

    @property
    def by_hand_seconds(self) -> float:
        """How long it took without waiting for the program."""
        return sum(seconds for _, seconds, _ in self.gestures)

    @property
    def waited_seconds(self) -> float:
        """How long there was nothing to do but wait."""
        return sum(seconds for _, _, seconds in self.gestures)

    def traced_px(self) -> list[PointPx]:
        """Three places on the upper edge of the brace."""
        edge = self.truth.outline_mm("BRACE")
        _, low, _, high = edge.bounds
        places = []
        for x, _ in TRACED_MM:
            cut = edge.exterior.intersection(LineString([(x, low - 1), (x, high + 1)]))
            places.append((x, cut.bounds[3]))
        return self.truth.px(*places)

    def to_measured(self, address: str, picture: Path) -> None:
        """Do the job from opening the file to measuring on it."""
        self.open(address, picture)
        self.flatten()
        self.known("WING PANEL length", "400 mm", first=True)
        self.known("cross 1 to cross 2", "384 mm", first=False)
        self.rename("FIN", "TAIL FIN")
        self.leave_out("WHEEL - 2 OFF")
        self.trace()
        self.rub_out()
        self.measure()

    def open(self, address: str, picture: Path) -> None:
        """Choose the file on the page."""
        with self._gesture("open the file"):
            self.builder.page.goto(address)
            self.builder.page.get_by_label("Choose a file").set_input_files(picture)
            self.builder.until_card_says("Is this the plan?")

    def flatten(self) -> None:
        """Take the border that was found."""
        with self._gesture("flatten by the border"):
            self.builder.step("Flatten")
            self.builder.until_card_says("Is this the plan’s drawn border?")
            self.builder.press("Yes, use it")
            self.builder.until_card_says("What do you know for certain?")

    def known(self, name: str, text: str, *, first: bool) -> None:
        """Mark both ends of a length and type it."""
        with self._gesture(f"known length {text}"):
            start, end = self.truth.ends_px(name)
            button = "Mark a length I know" if first else "Mark another length"
            self.builder.mark(button, start, end, text, scale=CLOSE_SCALE)

    def rename(self, part: str, name: str) -> None:
        """Choose a part in the picture and name it."""
        with self._gesture("name a part"):
            self.builder.step("Outlines")
            self.builder.until_settled()
            self.builder.until_card_says("Leave out")
            self.builder.whole()
            self.builder.click(self.truth.inside_px(part))
            chosen = self.builder.page.locator("#card li.chosen").get_by_role("textbox")
            chosen.fill(name)
            chosen.press("Enter")

    def leave_out(self, part: str) -> None:
        """Click an outline that is not wanted."""
        with self._gesture("leave a part out"):
            self.builder.press("Choose by clicking outlines")
            self.builder.click(self.truth.inside_px(part))
            self.builder.press("Choose by clicking outlines")

    def trace(self) -> None:
        """Follow the ink through three clicks."""
        with self._gesture("trace along ink"):
            self.builder.press("Along the ink")
            places = self.traced_px()
            self.builder.zoom_on(places[1], scale=0.6)
            for place in places:
                self.builder.click(place)
            self.builder.page.keyboard.press("Enter")
            self.builder.until(lambda: "Traced line 1" in self._by_hand(), "the traced line")

    def rub_out(self) -> None:
        """Draw over the check bar."""
        with self._gesture("rub out a line"):
            self.builder.press("Rub out")
            start, end = self.truth.px(*BAR_MM)
            self.builder.zoom_on(((start[0] + end[0]) / 2, start[1]), scale=BAR_BAND_SCALE)
            self.builder.drag(start, end)
            self.builder.until(lambda: "Rubbed out 1" in self._by_hand(), "the rubbed band")

    def measure(self) -> None:
        """Measure a length and an angle, and keep them with a note."""
        with self._gesture("measure"):
            self.builder.step("Measure")
            self.builder.whole()
            first, corner, last = self.truth.px(*ARMS_MM)
            self.builder.press("Length")
            self.builder.click(first)
            self.builder.click(corner)
            self.builder.fill("Note on length 1", "root chord")
            self.builder.press("Angle")
            for place in (first, corner, last):
                self.builder.click(place)
            self.builder.fill("Note on angle 2", "sweep of the trailing edge")

    def size(self) -> None:
        """Say how long the wing panel shall come out."""
        with self._gesture("the wanted span"):
            self.builder.step("Size and pages")
            self.builder.press("By a length")
            self.builder.page.locator("#card").get_by_label("This length").select_option("Known distance 1 (400 mm)")
            self.builder.fill("shall come out as", WANTED_SPAN)
            self.builder.until(lambda: f"{WANTED_SPAN}, give or take" in self.builder.strip(), "the span")
            self.builder.until_settled()

    def drag_pages(self) -> None:
        """Move the pages over the plan."""
        with self._gesture("drag the pages"):
            self.builder.press("Drag the pages")
            self.builder.whole()
            self.builder.drag(*self.truth.px(*GRID_DRAG_MM))
            self.builder.until(
                lambda: not self._button("Lay them anew").is_disabled(), "the pages to be where they were let go"
            )
            self.builder.until_settled()

    def export(self) -> None:
        """Make the files."""
        with self._gesture("make the files"):
            self.builder.step("Export")
            self.builder.until(lambda: self._button("Make the files").is_enabled(), "the button")
            self.builder.press("Make the files")
            self.builder.until_card_says("Done. Print one page first.")

    def download(self, name: str, to: Path) -> None:
        """Take a file from the page."""
        with self._gesture(f"download {name}"):
            with self.builder.page.expect_download() as told:
                self.builder.page.get_by_role("link", name=name).click()
            told.value.save_as(to)

    def _button(self, name: str) -> "Locator":
        return self.builder.page.locator("#card").get_by_role("button", name=name)

    def _by_hand(self) -> str:
        self.builder.unfold(self.builder.page.locator("#card details", has_text="Done by hand").locator("ul"))
        return self.builder.card()

    @contextmanager
    def _gesture(self, what: str) -> Iterator[None]:
        began, waited = time.monotonic(), self.builder.waited_seconds
        yield
        waiting = self.builder.waited_seconds - waited
        self.gestures.append((what, time.monotonic() - began - waiting, waiting))
