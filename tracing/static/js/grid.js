/**
 * How far do the pages move when they are dragged over the picture?
 *
 * The pages' own corners tell: their edges run along the build frame's x and y, and their length in picture px over
 * their size in mm is the scale right there. Pure.
 */

/**
 * The page grid's new origin after dragging `[dx, dy]` picture px, build mm, y up.
 *
 * `pages` is the result with `tiles` (corners upper left first, clockwise as the plan reads) and `origin_mm`;
 * `mmPerPx` is build mm for one picture px.
 */
export function movedOrigin(pages, [dx, dy], mmPerPx) {
  const [ul, ur, , ll] = pages.tiles[0].corners_px;
  const across = unit(ul, ur);
  const up = unit(ll, ul);
  // Edges may be slanted in a photo: solve d = a * across + b * up.
  const det = across[0] * up[1] - across[1] * up[0];
  const a = (dx * up[1] - dy * up[0]) / det;
  const b = (across[0] * dy - across[1] * dx) / det;
  return [pages.origin_mm[0] + a * mmPerPx, pages.origin_mm[1] + b * mmPerPx];
}

/** A fraction as the job writes it ("1/2") as a number. */
export function fractionOf(text) {
  const [top, bottom = "1"] = String(text).split("/");
  return Number(top) / Number(bottom);
}

function unit([x0, y0], [x1, y1]) {
  const long = Math.hypot(x1 - x0, y1 - y0);
  return [(x1 - x0) / long, (y1 - y0) / long];
}
