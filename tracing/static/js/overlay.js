/**
 * Outlines and other lines over the picture, on a canvas of their own.
 *
 * While panning, what is drawn already is moved and only the strips that came into sight are drawn: the same work
 * for ten outlines as for five hundred.
 */

import { STYLES, sceneOf } from "./scene.js";
import { bandOf, shapesFor } from "./shape.js";
import { meets } from "./path_data.js";

const LINE_CSS_PX = 1.6;
const HALO_CSS_PX = 1.2; // paper-coloured edge on each side, so that a line shows on ink and on paper
const DEAR_POINTS = 4000; // stroking more than this takes longer than half a frame without graphics hardware
const SETTLE_MS = 90; // shorter than a pause between two turns of a wheel feels like waiting
const LABEL_CSS_PX = 15;
const DASHES = { border: [9, 6], pageEdge: [3, 4], other: [5, 4] };
const WIDTHS = { line: 1, other: 1.3, page: 2, pageEdge: 1, border: 2.2, trace: 2.2 };
const THIN = new Set(["line", "pageEdge"]); // too faint for a halo
const FILLS = new Set(["regionIn", "regionOut"]);

export class Overlay {
  #drawn = null; // {scale, x, y, width, height} of what the canvas shows
  #snapshot = null;
  #settled = false;
  #timer = 0;
  #cost = 0; // points stroked by the last whole drawing
  #groups = new Map();
  items = [];

  /** `onSettle()` asks for a frame: a zoom has come to rest. */
  constructor(canvas, view, onSettle) {
    this.onSettle = onSettle;
    this.canvas = canvas;
    this.view = view;
    this.context = canvas.getContext("2d");
    this.colours = {};
  }

  /** Take a new state; draws nothing yet. */
  setState(state, options) {
    this.items = sceneOf(state, options);
    const shapes = shapesFor(this.items.map((item) => item.data));
    this.#groups = new Map(STYLES.map((style) => [style, []]));
    for (const item of this.items) {
      item.shape = shapes.get(item.data);
      this.#groups.get(item.style).push(item);
    }
    this.#drawn = null;
  }

  /** Draw all again in the next frame: colours changed. */
  refresh() {
    this.#drawn = null;
  }

  draw() {
    const { view, canvas, context } = this;
    const now = { ...view.deviceTransform(), width: canvas.width, height: canvas.height };
    const was = this.#drawn;
    if (!was || was.width !== now.width || was.height !== now.height) {
      this.#drawAll(now);
      return;
    }
    if (was.scale !== now.scale) {
      if (this.#cost > DEAR_POINTS && !this.#settled) this.#stretch(now);
      else this.#drawAll(now);
      return;
    }
    const [dx, dy] = [Math.round(now.x - was.x), Math.round(now.y - was.y)];
    if (!dx && !dy) return;
    if (Math.abs(dx) >= now.width || Math.abs(dy) >= now.height) {
      this.#drawAll(now);
      return;
    }
    this.#drawn = now;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.globalCompositeOperation = "copy";
    context.drawImage(canvas, dx, dy);
    context.globalCompositeOperation = "source-over";
    if (dx) this.#drawBox(dx > 0 ? 0 : now.width + dx, 0, Math.abs(dx), now.height);
    if (dy) this.#drawBox(Math.max(0, dx), dy > 0 ? 0 : now.height + dy, now.width - Math.abs(dx), Math.abs(dy));
  }

  #drawAll(now) {
    const { context } = this;
    this.#drawn = now;
    this.#settled = false;
    this.#snapshot = null;
    clearTimeout(this.#timer);
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, now.width, now.height);
    this.#cost = 0;
    this.#drawBox(0, 0, now.width, now.height);
  }

  /** While zooming over many outlines, what was drawn last is stretched; it is drawn anew when the zoom rests. */
  #stretch(now) {
    const { canvas, context } = this;
    if (!this.#snapshot) {
      const copy = new OffscreenCanvas(canvas.width, canvas.height);
      copy.getContext("2d").drawImage(canvas, 0, 0);
      this.#snapshot = { copy, ...this.#drawn };
    }
    const { copy, scale, x, y } = this.#snapshot;
    const factor = now.scale / scale;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.globalCompositeOperation = "copy";
    context.imageSmoothingEnabled = false; // a third of the cost, and it is gone before the eye rests
    context.drawImage(copy, now.x - x * factor, now.y - y * factor, now.width * factor, now.height * factor);
    context.globalCompositeOperation = "source-over";
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => {
      this.#settled = true;
      this.onSettle();
    }, SETTLE_MS);
  }

  /** Draw what meets a box of whole device px, clipped to it, so that strips meet without a seam. */
  #drawBox(x, y, width, height) {
    const { context, view } = this;
    const { scale, x: shiftX, y: shiftY } = view.deviceTransform();
    context.save();
    context.beginPath();
    context.rect(x, y, width, height);
    context.clip();
    context.setTransform(scale, 0, 0, scale, shiftX, shiftY);
    context.lineJoin = "miter"; // the cheapest; the limit keeps sharp turns from growing spikes
    context.miterLimit = 3;
    const widest = (LINE_CSS_PX * 2 + HALO_CSS_PX * 2) * view.ratio;
    const box = [x - widest - shiftX, y - widest - shiftY, x + width + widest - shiftX, y + height + widest - shiftY].map((v) => v / scale);
    for (const style of STYLES) this.#drawStyle(style, box, scale);
    context.setTransform(1, 0, 0, 1, 0, 0);
    for (const item of this.#groups.get("page") ?? []) this.#drawLabel(item, box);
    context.restore();
  }

  #drawStyle(style, box, scale) {
    const items = this.#groups.get(style) ?? [];
    if (!items.length) return;
    const { context, colours, view } = this;
    const band = bandOf(scale);
    if (style === "rub") {
      this.#drawRubs(items, box, band);
      return;
    }
    if (FILLS.has(style)) {
      context.fillStyle = colours[`${style}Fill`];
      for (const item of items) if (meets(item.shape.box, box)) context.fill(item.shape.filled, "evenodd");
    }
    const paths = [];
    for (const item of items) {
      const path = item.shape.pathIn(box, band);
      if (path) paths.push(path);
    }
    const width = (WIDTHS[style] ?? LINE_CSS_PX) * view.ratio;
    // One stroke an outline: a single path of all takes the rasteriser twice as long.
    const strokeAll = (colour, deviceWidth) => {
      context.strokeStyle = colour;
      context.lineWidth = deviceWidth / scale;
      for (const path of paths) {
        context.stroke(path);
        this.#cost += path.pointCount;
      }
    };
    if (!THIN.has(style)) strokeAll(colours.halo, width + 2 * HALO_CSS_PX * view.ratio);
    context.setLineDash((DASHES[style] ?? []).map((long) => (long * view.ratio) / scale));
    strokeAll(colours[style], width);
    context.setLineDash([]);
  }

  /** Rubbed bands keep their width in picture px. */
  #drawRubs(items, box, band) {
    const { context, colours } = this;
    context.lineCap = "round";
    context.lineJoin = "round";
    context.strokeStyle = colours.rub;
    for (const item of items) {
      const half = item.widthPx / 2;
      const path = item.shape.pathIn([box[0] - half, box[1] - half, box[2] + half, box[3] + half], band);
      if (!path) continue;
      context.lineWidth = item.widthPx;
      context.stroke(path);
    }
    context.lineCap = "butt";
    context.lineJoin = "miter";
  }

  /** A page's name in its middle, left out where the page is too small on screen to hold it. */
  #drawLabel(item, box) {
    if (!meets(item.shape.box, box)) return;
    const { context, view, colours } = this;
    const corners = item.label.corners.map((corner) => view.toScreen(corner));
    const size = Math.min(LABEL_CSS_PX * 2, Math.hypot(corners[1][0] - corners[0][0], corners[1][1] - corners[0][1]) / 4);
    if (size < 7) return;
    const middle = [0, 1].map((axis) => corners.reduce((sum, corner) => sum + corner[axis], 0) / corners.length);
    context.font = `600 ${size * view.ratio}px system-ui, sans-serif`;
    context.textAlign = "center";
    context.textBaseline = "middle";
    context.lineWidth = 4 * view.ratio;
    context.strokeStyle = colours.halo;
    context.fillStyle = colours.page;
    context.strokeText(item.label.text, middle[0] * view.ratio, middle[1] * view.ratio);
    context.fillText(item.label.text, middle[0] * view.ratio, middle[1] * view.ratio);
  }
}
