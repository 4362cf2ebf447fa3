/**
 * How far does the page grid move when it is dragged over the picture?
 *
 * The pages' own edges tell: they run along the build frame's x and y, and how long they are in the picture and in mm
 * gives the scale right there, perspective included to the first order. Pure.
 */

/**
 * The grid's new origin (build mm, y up) after a drag by `[dx, dy]` picture px that began at `from`.
 *
 * `pages` is the result with `origin_mm`, `step_mm` (width and height of a page's core) and `tiles`, whose `core_px`
 * are upper left, upper right, lower right, lower left as the sheet is printed.
 */
export function movedOrigin(pages, from, [dx, dy]) {
  const [ul, ur, , ll] = nearest(pages.tiles, from).core_px;
  const [wide, high] = pages.step_mm;
  const across = [(ur[0] - ul[0]) / wide, (ur[1] - ul[1]) / wide]; // picture px for one mm to the right
  const up = [(ul[0] - ll[0]) / high, (ul[1] - ll[1]) / high];
  // Edges may be slanted in a photo: solve d = a * across + b * up.
  const det = across[0] * up[1] - across[1] * up[0];
  const [x, y] = pages.origin_mm;
  return [x + (dx * up[1] - dy * up[0]) / det, y + (across[0] * dy - across[1] * dx) / det];
}

function nearest(tiles, [x, y]) {
  const far = ({ core_px: core }) => {
    return Math.hypot(...[0, 1].map((axis) => core.reduce((sum, corner) => sum + corner[axis], 0) / core.length - [x, y][axis]));
  };
  return tiles.reduce((best, tile) => (far(tile) < far(best) ? tile : best));
}
