/**
 * SVG path data in picture px, as numbers: to draw it at any zoom, and to tell what lies under the pointer.
 *
 * Reads M, L, H, V, C, Q and Z, absolute and relative: what the server writes.
 */

/** One closed or open run of cubic curves: `points` is x, y of the start, then of three points for each curve. */
export function readPath(data) {
  const tokens = data.match(/[a-zA-Z]|[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?/g) ?? [];
  const rings = [];
  let ring = null;
  let command = "";
  let at = 0;
  let x = 0;
  let y = 0;
  const number = () => Number(tokens[at++]);
  const curve = (x1, y1, x2, y2, x3, y3) => {
    ring.points.push(x1, y1, x2, y2, x3, y3);
    [x, y] = [x3, y3];
  };
  const line = (toX, toY) => curve(x + (toX - x) / 3, y + (toY - y) / 3, x + (2 * (toX - x)) / 3, y + (2 * (toY - y)) / 3, toX, toY);
  while (at < tokens.length) {
    if (/[a-zA-Z]/.test(tokens[at])) command = tokens[at++];
    const kind = command.toUpperCase();
    const [fromX, fromY] = command === kind ? [0, 0] : [x, y];
    if (kind === "M") {
      [x, y] = [fromX + number(), fromY + number()];
      ring = { points: [x, y], closed: false };
      rings.push(ring);
      command = command === "M" ? "L" : "l"; // further pairs are lines, says SVG
    } else if (kind === "L") line(fromX + number(), fromY + number());
    else if (kind === "H") line(fromX + number(), y);
    else if (kind === "V") line(x, fromY + number());
    else if (kind === "C") curve(fromX + number(), fromY + number(), fromX + number(), fromY + number(), fromX + number(), fromY + number());
    else if (kind === "Q") {
      const [qx, qy, toX, toY] = [fromX + number(), fromY + number(), fromX + number(), fromY + number()];
      curve(x + (2 * (qx - x)) / 3, y + (2 * (qy - y)) / 3, toX + (2 * (qx - toX)) / 3, toY + (2 * (qy - toY)) / 3, toX, toY);
    } else if (kind === "Z") {
      const [startX, startY] = ring.points;
      if (Math.hypot(startX - x, startY - y) > 1e-9) line(startX, startY);
      ring.closed = true;
    } else throw new Error(`Path data holds "${tokens[at] ?? command}"; M, L, H, V, C, Q or Z was needed.`);
  }
  return rings.map(({ points, closed }) => ({ points: Float64Array.from(points), closed }));
}

/** `[x0, y0, x1, y1]` around all control points: never smaller than the curves, which is what culling needs. */
export function boxOf(rings) {
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const { points } of rings) widen(box, points);
  return box;
}

/**
 * A ring as a polyline, x, y after x, y; chords lie no farther from the curve than `tolerance` picture px.
 *
 * Points nearer to the one before than `least` are left out: at fit a part of sixty curves needs a few points.
 */
export function flattened({ points }, tolerance, least = 0) {
  const out = [points[0], points[1]];
  const last = points.length - 2;
  for (let i = 0; i + 7 < points.length; i += 6) {
    const [x0, y0, x1, y1, x2, y2, x3, y3] = points.subarray(i, i + 8);
    // Wang's bound: n chords of equal steps in t stray at most 3/4 of the largest second difference over n squared.
    const bend = Math.max(Math.hypot(x0 - 2 * x1 + x2, y0 - 2 * y1 + y2), Math.hypot(x1 - 2 * x2 + x3, y1 - 2 * y2 + y3));
    const steps = Math.max(1, Math.ceil(Math.sqrt((0.75 * bend) / tolerance)));
    for (let step = 1; step <= steps; step += 1) {
      const t = step / steps;
      const u = 1 - t;
      const [a, b, c, d] = [u * u * u, 3 * u * u * t, 3 * u * t * t, t * t * t];
      const x = step === steps ? x3 : a * x0 + b * x1 + c * x2 + d * x3;
      const y = step === steps ? y3 : a * y0 + b * y1 + c * y2 + d * y3;
      const isEnd = step === steps && i + 6 === last;
      if (isEnd || Math.abs(x - out[out.length - 2]) + Math.abs(y - out[out.length - 1]) >= least) out.push(x, y);
    }
  }
  return Float64Array.from(out);
}

/** Whether a place lies inside, by the even-odd rule over polylines: inside a part, not in its holes. */
export function isInside(polylines, [px, py]) {
  let inside = false;
  for (const line of polylines) {
    for (let i = 0, j = line.length - 2; i < line.length; j = i, i += 2) {
      const [xi, yi, xj, yj] = [line[i], line[i + 1], line[j], line[j + 1]];
      if (yi > py !== yj > py && px < ((xj - xi) * (py - yi)) / (yj - yi) + xi) inside = !inside;
    }
  }
  return inside;
}

/** Distance from a place to a polyline, and the nearest place on it: `{far, at, segment}`. */
export function nearestOn(line, [px, py]) {
  let best = { far: Infinity, at: null, segment: -1 };
  for (let i = 0; i + 3 < line.length; i += 2) {
    const [x, y] = [line[i], line[i + 1]];
    const [dx, dy] = [line[i + 2] - x, line[i + 3] - y];
    const long = dx * dx + dy * dy;
    const t = long ? Math.min(1, Math.max(0, ((px - x) * dx + (py - y) * dy) / long)) : 0;
    const far = Math.hypot(px - x - t * dx, py - y - t * dy);
    if (far < best.far) best = { far, at: [x + t * dx, y + t * dy], segment: i / 2 };
  }
  return best;
}

export function meets([ax0, ay0, ax1, ay1], [bx0, by0, bx1, by1]) {
  return ax0 <= bx1 && bx0 <= ax1 && ay0 <= by1 && by0 <= ay1;
}

export function widen(box, numbers, from = 0, to = numbers.length) {
  for (let i = from; i < to; i += 2) {
    if (numbers[i] < box[0]) box[0] = numbers[i];
    if (numbers[i] > box[2]) box[2] = numbers[i];
    if (numbers[i + 1] < box[1]) box[1] = numbers[i + 1];
    if (numbers[i + 1] > box[3]) box[3] = numbers[i + 1];
  }
  return box;
}
