/**
 * A path ready to be drawn at any zoom: cut into pieces that are skipped when out of sight.
 *
 * Pieces are polylines fine enough for the zoom at hand, made when first seen at it and kept until the zoom has
 * doubled or halved: stroking a whole outline of sixty curves in each frame would cost several frames' time.
 */

import { boxOf, flattened, meets, readPath, widen } from "./path_data.js";

const STRAY_PX = 0.25; // device px a drawn polyline may lie off the true curve: not to be seen
const STEP_PX = 1.5; // device px between a polyline's points at least: stroking costs by the point
const PIECE_POINTS = 40; // long enough that few pieces are stroked, short enough that few lie half out of sight
const PIECE_PX = 700; // device px: a dash pattern along a line far longer than the screen takes many frames' time
const HIT_STRAY_PX = 0.3; // picture px, for what lies under the pointer

const MOST_HIDDEN = 5000;

const hidden = new Map();
const made = new Map(); // path data -> Shape: results that come again unchanged cost nothing

/** Shapes for many path data; those not asked for again are forgotten. */
export function shapesFor(datas) {
  const next = new Map();
  for (const data of datas) if (!next.has(data)) next.set(data, made.get(data) ?? new Shape(data));
  made.clear();
  for (const [data, shape] of next) made.set(data, shape);
  return next;
}

/** The shape of one path data, for what is not drawn all the time. */
export function shapeOf(data) {
  if (!hidden.has(data)) {
    if (hidden.size > MOST_HIDDEN) hidden.clear();
    hidden.set(data, new Shape(data));
  }
  return hidden.get(data);
}

/** The zoom band a scale belongs to: pieces are made for the band's finest scale. */
export function bandOf(deviceScale) {
  return Math.ceil(Math.log2(deviceScale) - 1e-9);
}

export class Shape {
  #band = null;
  #pieces = [];
  #lines = null;
  #whole = null;
  #filled = null;

  constructor(data) {
    this.data = data;
    this.rings = readPath(data);
    this.box = boxOf(this.rings);
  }

  /** A Path2D of the pieces that meet `box` (picture px), kept while all of them do; null when none does. */
  pathIn(box, band) {
    if (!meets(this.box, box)) return null;
    const pieces = this.#piecesAt(band);
    if (this.#whole && isWithin(this.box, box)) return this.#whole;
    const path = new Path2D();
    let count = 0;
    for (const piece of pieces) {
      if (!meets(piece.box, box)) continue;
      trace(path, piece.points, piece.closed);
      count += piece.points.length / 2;
    }
    path.pointCount = count;
    if (isWithin(this.box, box)) this.#whole = path;
    return count ? path : null;
  }

  /** Polylines of the rings, to tell inside from outside and how near a place is. */
  get lines() {
    this.#lines ??= this.rings.map((ring) => flattened(ring, HIT_STRAY_PX));
    return this.#lines;
  }

  /** The whole path as one Path2D of true curves, to fill it. */
  get filled() {
    this.#filled ??= new Path2D(this.data);
    return this.#filled;
  }

  #piecesAt(band) {
    if (band === this.#band) return this.#pieces;
    this.#band = band;
    this.#whole = null;
    const px = 2 ** -band; // picture px of one device px
    this.#pieces = this.rings.flatMap((ring) => {
      return cut(flattened(ring, STRAY_PX * px, STEP_PX * px), ring.closed, PIECE_PX * px);
    });
    return this.#pieces;
  }
}

/** Pieces of a polyline: of few points, and no longer than `longest` picture px. Always cut at the same places. */
function cut(line, closed, longest) {
  const box = widen([Infinity, Infinity, -Infinity, -Infinity], line);
  if (line.length / 2 <= PIECE_POINTS && Math.max(box[2] - box[0], box[3] - box[1]) <= longest) return [{ points: line, closed, box }];
  const pieces = [];
  let points = [line[0], line[1]];
  let length = 0;
  const close = () => {
    pieces.push({ points, closed: false, box: widen([Infinity, Infinity, -Infinity, -Infinity], points) });
    points = points.slice(-2);
    length = 0;
  };
  for (let i = 2; i < line.length; i += 2) {
    const [x0, y0, x1, y1] = line.subarray(i - 2, i + 2);
    const step = Math.hypot(x1 - x0, y1 - y0);
    const parts = Math.max(1, Math.ceil(step / longest));
    for (let part = 1; part <= parts; part += 1) {
      points.push(x0 + ((x1 - x0) * part) / parts, y0 + ((y1 - y0) * part) / parts);
      length += step / parts;
      if (points.length / 2 > PIECE_POINTS || length >= longest) close();
    }
  }
  if (points.length > 2) close();
  return pieces;
}

function isWithin([x0, y0, x1, y1], box) {
  return x0 >= box[0] && y0 >= box[1] && x1 <= box[2] && y1 <= box[3];
}

function trace(path, points, closed) {
  path.moveTo(points[0], points[1]);
  for (let i = 2; i < points.length; i += 2) path.lineTo(points[i], points[i + 1]);
  if (closed) path.closePath();
}
