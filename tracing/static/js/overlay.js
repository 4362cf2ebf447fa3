/**
 * Outlines and other lines over the picture.
 *
 * They are drawn once, into a layer somewhat larger than the screen, which is laid over the tiles in each frame: panning
 * strokes nothing until it comes to the layer's edge, and then only what is new: the same work for ten outlines as for
 * five hundred.
 */

import { STYLES, sceneOf } from "./scene.js";
import { bandOf, shapesFor } from "./shape.js";
import { meets } from "./path_data.js";

const LINE_CSS_PX = 1.6;
const HALO_CSS_PX = 1.2; // paper-coloured edge on each side, so that a line shows on ink and on paper
const DEAR_POINTS = 4000; // stroking more than this takes longer than half a frame without graphics hardware
const MARGIN_CSS_PX = 160; // of the layer around the screen: a quarter of a second of quick panning
const SETTLE_MS = 90; // shorter than a pause between two turns of a wheel feels like waiting
const LABEL_CSS_PX = 15;
const DASHES = { border: [9, 6], pageEdge: [3, 4], other: [5, 4] };
const WIDTHS = { line: 1, other: 1.3, page: 2, pageEdge: 1, border: 2.2, trace: 2.2 };
const THIN = new Set(["line", "pageEdge"]); // too faint for a halo
const FILLS = new Set(["regionIn", "regionOut"]);

export class Overlay {
  #drawn = null; // {scale, x, y, width, height, margin}: layer px = scale * picture px + (x, y)
  #settled = false;
  #timer = 0;
  #cost = 0; // points stroked by the last whole drawing
  #groups = new Map();
  items = [];

  /** `onSettle()` asks for a frame: a zoom has come to rest. */
  constructor(view, onSettle) {
    this.onSettle = onSettle;
    this.layer = new OffscreenCanvas(1, 1);
    this.view = view;
    this.context = this.layer.getContext("2d");
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

  /** Lay the lines over what `target`, a context of the screen's size, shows. */
  draw(target) {
    const { view } = this;
    const { width, height } = target.canvas;
    const margin = Math.round(MARGIN_CSS_PX * view.ratio);
    const now = view.deviceTransform();
    const wanted = { scale: now.scale, x: now.x + margin, y: now.y + margin, width: width + 2 * margin, height: height + 2 * margin, margin };
    const was = this.#drawn;
    if (!was || was.width !== wanted.width || was.height !== wanted.height) this.#drawAll(wanted);
    else if (was.scale !== now.scale) {
      if (this.#cost > DEAR_POINTS && !this.#settled) {
        this.#stretch(target, now);
        return;
      }
      this.#drawAll(wanted);
    } else if (Math.abs(wanted.x - was.x) > margin || Math.abs(wanted.y - was.y) > margin) this.#move(wanted);
    if (!this.items.length) return;
    target.setTransform(1, 0, 0, 1, 0, 0);
    target.drawImage(this.layer, Math.round(now.x - this.#drawn.x), Math.round(now.y - this.#drawn.y));
  }

  #drawAll(wanted) {
    const { context, layer } = this;
    this.#drawn = wanted;
    this.#settled = false;
    clearTimeout(this.#timer);
    if (layer.width !== wanted.width) layer.width = wanted.width;
    if (layer.height !== wanted.height) layer.height = wanted.height;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, wanted.width, wanted.height);
    this.#cost = 0;
    this.#drawBox(0, 0, wanted.width, wanted.height);
  }

  /** Bring the layer's middle to the screen's; only the strips that came into it are drawn. */
  #move(wanted) {
    const { context, layer } = this;
    const [dx, dy] = [Math.round(wanted.x - this.#drawn.x), Math.round(wanted.y - this.#drawn.y)];
    const { width, height } = wanted;
    if (Math.abs(dx) >= width || Math.abs(dy) >= height) {
      this.#drawAll(wanted);
      return;
    }
    this.#drawn = wanted;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.globalCompositeOperation = "copy";
    context.drawImage(layer, dx, dy);
    context.globalCompositeOperation = "source-over";
    if (dx) this.#drawBox(dx > 0 ? 0 : width + dx, 0, Math.abs(dx), height);
    if (dy) this.#drawBox(Math.max(0, dx), dy > 0 ? 0 : height + dy, width - Math.abs(dx), Math.abs(dy));
  }

  /** While zooming over many outlines, what was drawn last is stretched; it is drawn anew when the zoom rests. */
  #stretch(target, now) {
    const { scale, x, y, width, height } = this.#drawn;
    const factor = now.scale / scale;
    target.setTransform(1, 0, 0, 1, 0, 0);
    target.imageSmoothingEnabled = false; // a third of the cost, and it is gone before the eye rests
    target.drawImage(this.layer, now.x - x * factor, now.y - y * factor, width * factor, height * factor);
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => {
      this.#settled = true;
      this.onSettle();
    }, SETTLE_MS);
  }

  /** Draw what meets a box of whole layer px, clipped to it, so that strips meet without a seam. */
  #drawBox(x, y, width, height) {
    const { context, view } = this;
    const { scale, x: shiftX, y: shiftY } = this.#drawn;
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

  /** A page's name in its upper left corner, where it hides least; left out where the page is too small on screen. */
  #drawLabel(item, box) {
    if (!meets(item.shape.box, box)) return;
    const { context, view, colours } = this;
    const { scale, x: shiftX, y: shiftY } = this.#drawn;
    const [at, right] = item.label.corners.map(([x, y]) => [scale * x + shiftX, scale * y + shiftY]);
    const size = Math.min(LABEL_CSS_PX * view.ratio, Math.hypot(right[0] - at[0], right[1] - at[1]) / 4);
    if (size < 7 * view.ratio) return;
    context.font = `700 ${size}px system-ui, sans-serif`;
    context.textAlign = "left";
    context.textBaseline = "top";
    const [pad, gap] = [0.3 * size, 0.35 * size];
    const wide = context.measureText(item.label.text).width;
    context.fillStyle = colours.page;
    context.fillRect(at[0] + gap, at[1] + gap, wide + 2 * pad, size + 1.4 * pad);
    context.fillStyle = colours.pageName;
    context.fillText(item.label.text, at[0] + gap + pad, at[1] + gap + pad);
  }
}
