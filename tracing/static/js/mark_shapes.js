/** How marks look, as path data in CSS px around the place. Their middle stays open: the very pixel must show. */

const cross = "M-11 0H-3.5M3.5 0H11M0-11V-3.5M0 3.5V11";
const square = (r) => `M${-r} ${-r}H${r}V${r}H${-r}Z`;
const ring = (r) => `M${-r} 0a${r} ${r} 0 1 1 ${2 * r} 0a${r} ${r} 0 1 1 ${-2 * r} 0Z`;

export const SHAPES = {
  point: cross,
  known: cross,
  check: `${cross}${ring(6.5)}`,
  build: `${cross}${square(6)}`,
  across: `M-11 0H-3.5M3.5 0H11${ring(6.5)}`,
  straight: `${ring(6.5)}M-3 0H-3.1M3 0H3.1`,
  corner: `${square(8)}M-13 0H-8M8 0H13M0-13V-8M0 8V13`,
  measure: `M-8-8L-3-3M8-8L3-3M-8 8L-3 3M8 8L3 3`,
  trace: square(4.5),
  handle: ring(3.8),
  region: square(5),
  target: ring(8),
  place: cross,
};

const ARROW_LEAST_PX = 14; // CSS px: shorter is not seen as an arrow
const ARROW_MOST_PX = 90;
const ARROW_PER_U95_PX = 22; // drawn large: one give-or-take off is this long, whatever the zoom
const HEAD_PX = 8;

/** A line through places, picture px. */
export function lineData(places, closed) {
  if (!places.length) return "";
  return `M${places.map(([x, y]) => `${x} ${y}`).join("L")}${closed && places.length > 2 ? "Z" : ""}`;
}

/**
 * Arrows at both ends of a band, pointing the way its marks would have to go to agree; CSS px from the picture's
 * (0, 0) at this scale. A fitted length above the given one asks them to come nearer to each other.
 */
export function arrowData([from, to], { residual_mm: off, u95_mm: u95 }, scale) {
  const long = Math.hypot(to[0] - from[0], to[1] - from[1]);
  if (!off || !long) return "";
  const reach = Math.min(ARROW_MOST_PX, (ARROW_PER_U95_PX * Math.abs(off)) / Math.max(u95, 1e-6));
  if (reach < ARROW_LEAST_PX) return "";
  const along = [(to[0] - from[0]) / long, (to[1] - from[1]) / long];
  return arrow(from, along, off > 0 ? reach : -reach, scale) + arrow(to, along, off > 0 ? -reach : reach, scale);
}

function arrow([x, y], [ux, uy], reach, scale) {
  // It starts beside the mark, not on it, so that the mark's middle stays free.
  const shift = 14;
  const [sx, sy] = [x * scale - uy * shift, y * scale + ux * shift];
  const [ex, ey] = [sx + ux * reach, sy + uy * reach];
  const back = Math.sign(reach) * HEAD_PX;
  const wing = (side) => `${ex - ux * back + side * uy * HEAD_PX * 0.6} ${ey - uy * back - side * ux * HEAD_PX * 0.6}`;
  return `M${sx} ${sy}L${ex} ${ey}M${wing(1)}L${ex} ${ey}L${wing(-1)}`;
}
