"""Numbers for evenly spaced lines on a picture: which line each place lies on, in perspective and bent."""

from dataclasses import dataclass

import numpy as np

from pictures.spacing import Floats


@dataclass(frozen=True, slots=True)
class LineNumbering:
    """Which line each place of a picture lies on: a plane seen in perspective, and a polynomial for what bends it."""

    width_px: int
    height_px: int
    plane: Floats
    """Five numbers: (a + b u + c v) / (1 + g u + h v), with u and v from -1 to 1 across the picture."""
    bend: Floats
    degree: int

    @classmethod
    def fitted(
        cls, x: Floats, y: Floats, line: Floats, *, width_px: int, height_px: int, degree: int
    ) -> "LineNumbering":
        """Fit the numbering to places on known lines."""
        u, v = 2 * x / width_px - 1, 2 * y / height_px - 1
        flat = np.column_stack([np.ones(len(u)), u, v, -u * line, -v * line])[:, : 5 if degree > 1 else 3]
        plane = np.zeros(5)
        plane[: flat.shape[1]] = np.linalg.lstsq(flat, line, rcond=None)[0]
        numbering = cls(width_px, height_px, plane, np.zeros(1), 0)
        left = line - numbering.at(x, y)
        bend = np.asarray(np.linalg.lstsq(_powers(u, v, degree), left, rcond=None)[0], np.float64)
        return cls(width_px, height_px, plane, bend, degree)

    def at(self, x: Floats, y: Floats) -> Floats:
        """The number at each place, whole on a line."""
        u, v = 2 * x / self.width_px - 1, 2 * y / self.height_px - 1
        a, b, c, g, h = self.plane
        number: Floats = (a + b * u + c * v) / np.maximum(1 + g * u + h * v, 0.05)
        return number + _powers(u, v, self.degree) @ self.bend

    def slope(self, x: Floats, y: Floats) -> Floats:
        """What the number gains in a px along x."""
        return self.at(x + 0.5, y) - self.at(x - 0.5, y)


def _powers(u: Floats, v: Floats, degree: int) -> Floats:
    return np.column_stack([u**i * v**j for i in range(degree + 1) for j in range(degree + 1 - i)])
