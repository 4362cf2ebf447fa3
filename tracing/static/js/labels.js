/**
 * Where do the words of lengths and notes lie in the picture area, so that none covers another?
 *
 * Beside their line and along it, off its ends, in the middle of what is in sight of it. Words that do not fit are left
 * out, but for those that are chosen or loud. Pure: screen px in, screen px out.
 */

const BESIDE_PX = 7; // between a line and its words
const END_FREE_PX = 20; // an end's mark, and the ink it lies on, stay free
const EDGE_PX = 8; // words stay this far inside the picture area
const ALONG = [0.5, 0.25, 0.75]; // of what is in sight: tried in this order
const POINT_UP_PX = 20; // words of a single place stand above it

/**
 * `{x, y, angle}` of each label's middle, or null where it is not shown, in the order of `labels`.
 *
 * A label is `{line, closed, width, height, dear}`: `line` the places it belongs to, `dear` one that must be seen.
 */
export function placeLabels(labels, { width, height }) {
  const box = [EDGE_PX, EDGE_PX, width - EDGE_PX, height - EDGE_PX];
  const taken = [];
  const out = labels.map(() => null);
  const order = labels.map((_, i) => i).sort((a, b) => Number(labels[b].dear) - Number(labels[a].dear));
  for (const i of order) {
    const label = labels[i];
    const places = candidates(label, box);
    const free = places.find((place) => fits(place, label, box) && !taken.some((other) => touches(samples(place, label), other, label.height)));
    const chosen = free ?? (label.dear ? places[0] : null) ?? null;
    if (!chosen) continue;
    out[i] = { x: chosen.x, y: chosen.y, angle: chosen.angle };
    taken.push(samples(chosen, label));
  }
  return out;
}

function candidates(label, box) {
  const { line } = label;
  if (!line.length || !label.width) return [];
  if (line.length === 2) return along(label, line[0], line[1], box);
  // Words of an area, an angle or a note stand by one place: its middle, its corner, itself.
  const [x, y] = label.closed ? middleOf(line) : line[line.length === 3 ? 1 : 0];
  const inside = x >= box[0] && x <= box[2] && y >= box[1] && y <= box[3];
  if (!inside && !(label.closed && aroundScreen(line, box))) return [];
  const at = inside ? [x, y] : [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2];
  const up = label.closed ? [0] : [-POINT_UP_PX, POINT_UP_PX];
  return up.map((dy) => ({ x: clamp(at[0], box[0] + label.width / 2, box[2] - label.width / 2), y: at[1] + dy, angle: 0 }));
}

function along(label, from, to, box) {
  const seen = clipped(from, to, box);
  if (!seen) return [];
  const long = Math.hypot(to[0] - from[0], to[1] - from[1]);
  const unit = [(to[0] - from[0]) / long, (to[1] - from[1]) / long];
  // Only a true end keeps its surroundings free; where the line runs out of sight there is no mark.
  const start = Math.max(seen[0], END_FREE_PX);
  const end = Math.min(seen[1], long - END_FREE_PX);
  const room = end - start;
  if (room < label.width && !label.dear) return [];
  let angle = Math.atan2(unit[1], unit[0]);
  if (angle > Math.PI / 2 || angle <= -Math.PI / 2) angle += angle > 0 ? -Math.PI : Math.PI;
  const beside = BESIDE_PX + label.height / 2;
  const out = [];
  for (const part of ALONG) {
    const far = room < label.width ? (seen[0] + seen[1]) / 2 : clamp(start + part * room, start + label.width / 2, end - label.width / 2);
    const at = [from[0] + far * unit[0], from[1] + far * unit[1]];
    for (const side of [1, -1]) out.push({ x: at[0] + side * beside * Math.sin(angle), y: at[1] - side * beside * Math.cos(angle), angle });
  }
  return out;
}

/** How far along a line it comes into a box and leaves it, px; null when it misses the box. */
function clipped([x0, y0], [x1, y1], [left, top, right, bottom]) {
  const [dx, dy] = [x1 - x0, y1 - y0];
  const long = Math.hypot(dx, dy);
  if (!long) return null;
  let [t0, t1] = [0, 1];
  for (const [step, room] of [[-dx, x0 - left], [dx, right - x0], [-dy, y0 - top], [dy, bottom - y0]]) {
    if (!step && room < 0) return null;
    if (step < 0) t0 = Math.max(t0, room / step);
    if (step > 0) t1 = Math.min(t1, room / step);
  }
  return t0 < t1 ? [t0 * long, t1 * long] : null;
}

/** Places along a label's middle, as far apart as it is high: labels are far enough apart when all of these are. */
function samples({ x, y, angle }, { width, height }) {
  const half = Math.max(0, width / 2 - height / 2);
  const count = Math.max(1, Math.ceil((2 * half) / height));
  const [ux, uy] = [Math.cos(angle), Math.sin(angle)];
  return Array.from({ length: count + 1 }, (_, i) => {
    const t = -half + (2 * half * i) / count;
    return [x + t * ux, y + t * uy];
  });
}

function touches(one, other, least) {
  return one.some(([ax, ay]) => other.some(([bx, by]) => Math.hypot(ax - bx, ay - by) < least * 1.1));
}

function fits(place, label, box) {
  const slack = -EDGE_PX;
  return samples(place, label).every(([x, y]) => x >= box[0] + slack && x <= box[2] - slack && y >= box[1] && y <= box[3]);
}

function middleOf(line) {
  const box = around(line);
  return [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2];
}

function around(line) {
  const [xs, ys] = [line.map(([x]) => x), line.map(([, y]) => y)];
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

function aroundScreen(line, box) {
  const [x0, y0, x1, y1] = around(line);
  return x0 <= box[0] && y0 <= box[1] && x1 >= box[2] && y1 >= box[3];
}

function clamp(value, least, most) {
  return least > most ? (least + most) / 2 : Math.min(most, Math.max(least, value));
}
