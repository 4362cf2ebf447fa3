"""Pictures of a plan in memory, each with the geometry it was made with."""

from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from sample_scans.camera import Camera, Picturing, Scanner, View, camera_for, random_view, scanner_for
from sample_scans.photo import PhotoLook, Pixels, photograph
from sample_scans.plan import school_plan
from sample_scans.scan import bilevel, scanned
from sample_scans.truth import PlanTruth

JPEG_QUALITY = 88


class Levels(StrEnum):
    """How a scanner writes its pixels."""

    GREY = "grey"
    BILEVEL = "bilevel"


@dataclass(frozen=True, slots=True)
class Rendered:
    """A picture, the plan it shows and the map between both.

    `pixels` is (H, W, 3) RGB for a photo and (H, W) grey for a scan, uint8. `camera.to_picture` is the truth.
    """

    pixels: Pixels
    camera: Picturing
    plan: PlanTruth


def rendered_photo(
    seed: int,
    *,
    plan: PlanTruth | None = None,
    view: View | None = None,
    lens: tuple[float, float] | None = None,
    look: PhotoLook | None = None,
    size_px: tuple[int, int] = (4000, 3000),
) -> Rendered:
    """Give a phone photo of a plan (the bundled one unless told), through JPEG once.

    `view` is drawn at random unless given; `lens` replaces its (k1, k2), so that (0, 0) is a lens that bends
    nothing. The same seed gives the same picture with one version of numpy and OpenCV.
    """
    plan = school_plan() if plan is None else plan
    rng = np.random.default_rng(seed)
    chosen = random_view(rng)
    chosen = chosen if view is None else view
    if lens is not None:
        chosen = replace(chosen, k1=lens[0], k2=lens[1])
    camera = camera_for(plan.sheet_mm, chosen, width_px=size_px[0], height_px=size_px[1])
    picture = photograph(plan.strokes, plan.sheet_mm, camera, look=PhotoLook() if look is None else look, rng=rng)
    return Rendered(through_jpeg(picture), camera, plan)


def rendered_scan(
    seed: int,
    *,
    plan: PlanTruth | None = None,
    dpi: float = 200.0,
    skew_deg: float | None = None,
    stretch: tuple[float, float] | None = None,
    levels: Levels = Levels.GREY,
) -> Rendered:
    """Give a scan of a plan (the bundled one unless told), (H, W) uint8.

    Skew (within half a degree) and the stretch along and across (within 0.4 %) are drawn at random unless given.
    """
    plan = school_plan() if plan is None else plan
    rng = np.random.default_rng(seed)
    drawn_skew, drawn_stretch = float(rng.uniform(-0.5, 0.5)), rng.uniform(0.996, 1.004, 2)
    scanner: Scanner = scanner_for(
        plan.sheet_mm,
        dpi=dpi,
        skew_deg=drawn_skew if skew_deg is None else skew_deg,
        stretch=(float(drawn_stretch[0]), float(drawn_stretch[1])) if stretch is None else stretch,
    )
    picture = scanned(plan.strokes, plan.sheet_mm, scanner, rng=rng)
    if levels is Levels.BILEVEL:
        picture = bilevel(picture, rng=rng)
    return Rendered(picture, scanner, plan)


def save_picture(rendered: Rendered, path: Path) -> None:
    """Write a picture as its maker would: a photo as JPEG with its tags, a scan as PNG with its dpi."""
    picture = Image.fromarray(rendered.pixels)
    if isinstance(rendered.camera, Camera):
        picture.save(path, format="JPEG", quality=95, exif=photo_tags(rendered.camera))
    elif isinstance(rendered.camera, Scanner):
        dpi = rendered.camera.dpi
        picture.save(path, format="PNG", dpi=(dpi, dpi), compress_level=1)


def photo_tags(camera: Camera) -> Image.Exif:
    """Say that a photo is rendered and by which lens; tags by their numbers in the Exif standard."""
    exif = Image.Exif()
    exif[0x010F] = "Rendered"  # Make
    exif[0x0110] = f"Pinhole, radial k1 {camera.k1:.3g} k2 {camera.k2:.3g}"  # Model
    exif[0x0112] = 1  # Orientation
    exif.get_ifd(0x8769)[0xA405] = round(camera.focal_35mm)  # FocalLengthIn35mmFilm
    return exif


def through_jpeg(picture: Pixels) -> Pixels:
    """Give a picture as a phone's JPEG holds it."""
    done, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    assert done
    back = cv2.imdecode(data, cv2.IMREAD_COLOR_BGR)
    return np.ascontiguousarray(np.asarray(back, dtype=np.uint8)[..., ::-1])
