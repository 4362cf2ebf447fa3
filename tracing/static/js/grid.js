/**
 * How far does the page grid move when it is dragged over the picture?
 *
 * The corners of the page nearest the drag tell: they are a rectangle of the build frame as the picture shows it, slant
 * and perspective included, so that the place taken hold of stays under the pointer. Pure.
 */

/**
 * The grid's new origin (build mm, y up) after a drag by `[dx, dy]` picture px that began at `from`.
 *
 * `pages` is the result with `origin_mm`, `step_mm` (width and height of a page's core) and `tiles`, whose `core_px`
 * are upper left, upper right, lower right, lower left as the sheet is printed.
 */
export function movedOrigin(pages, from, [dx, dy]) {
  const place = withinCore(nearest(pages.tiles, from).core_px);
  const [wide, high] = pages.step_mm;
  const [u0, v0] = place(from);
  const [u1, v1] = place([from[0] + dx, from[1] + dy]);
  const [x, y] = pages.origin_mm;
  return [x + (u1 - u0) * wide, y - (v1 - v0) * high];
}

/**
 * Gives a function from picture px to (u, v), shares of a core's width to the right and of its height down.
 *
 * The projective map of a square on four corners, turned round: P. Heckbert, Fundamentals of Texture Mapping and Image
 * Warping (1989), section 2.2.3.
 */
function withinCore([[x0, y0], [x1, y1], [x2, y2], [x3, y3]]) {
  const [ax, ay, bx, by] = [x1 - x2, y1 - y2, x3 - x2, y3 - y2];
  const [cx, cy] = [x0 - x1 + x2 - x3, y0 - y1 + y2 - y3];
  const det = ax * by - bx * ay;
  const g = (cx * by - bx * cy) / det;
  const h = (ax * cy - cx * ay) / det;
  const [a, b, d, e] = [x1 - x0 + g * x1, x3 - x0 + h * x3, y1 - y0 + g * y1, y3 - y0 + h * y3];
  return ([x, y]) => {
    const [p, q, r, s] = [a - g * x, b - h * x, d - g * y, e - h * y];
    return [((x - x0) * s - q * (y - y0)) / (p * s - q * r), (p * (y - y0) - (x - x0) * r) / (p * s - q * r)];
  };
}

function nearest(tiles, [x, y]) {
  const far = ({ core_px: core }) => {
    return Math.hypot(...[0, 1].map((axis) => core.reduce((sum, corner) => sum + corner[axis], 0) / core.length - [x, y][axis]));
  };
  return tiles.reduce((best, tile) => (far(tile) < far(best) ? tile : best));
}
