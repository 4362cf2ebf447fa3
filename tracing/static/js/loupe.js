/** The magnifier: what lies under the pointer, eight times as large, with a cross on the exact place. */

import { View } from "./view.js";

const SIZE_PX = 148; // CSS px across
const SCALE = 8; // CSS px for one picture px
const USELESS_FROM = 6; // when the picture itself is this large, the magnifier only hides it
const BESIDE_PX = 26; // from a mouse pointer or pen
const ABOVE_FINGER_PX = 64; // a finger hides what lies below and around it

export class Loupe {
  #at = null;
  #kind = "mouse";

  constructor(parent, view, tiles) {
    Object.assign(this, { view, tiles });
    this.canvas = parent.appendChild(document.createElement("canvas"));
    this.canvas.className = "loupe";
    this.canvas.hidden = true;
    this.canvas.setAttribute("aria-hidden", "true");
    this.context = this.canvas.getContext("2d", { alpha: false });
    this.own = new View();
  }

  /** Magnify the place `at` (picture px), beside a pointer of this kind; drawn with the next frame. */
  show(at, kind) {
    this.#at = this.view.scale >= USELESS_FROM && kind !== "touch" ? null : at;
    this.#kind = kind;
  }

  hide() {
    this.#at = null;
  }

  /** `target` is the place a mark would go to, when the ink draws it there. */
  draw(target, colours) {
    if (!this.#at) {
      if (!this.canvas.hidden) this.tiles.wantFor(null);
      this.canvas.hidden = true;
      return;
    }
    const { canvas, context, own, view } = this;
    const side = Math.round(SIZE_PX * view.ratio);
    if (canvas.width !== side) canvas.width = canvas.height = side;
    own.setWindow(SIZE_PX, SIZE_PX, view.ratio);
    Object.assign(own, { picture: view.picture, tilePx: view.tilePx, levelCount: view.levelCount });
    own.centreOn(this.#at, Math.max(SCALE, this.#kind === "touch" ? view.scale : 0));
    this.tiles.wantFor(own);
    this.tiles.paint(context, own);
    this.#cross(own.toScreen(this.#at), colours.hover, 0);
    if (target) this.#cross(own.toScreen(target), colours.part, 7);
    const [left, top] = this.#place();
    canvas.style.transform = `translate(${left}px, ${top}px)`;
    canvas.hidden = false;
  }

  /** A cross with its middle left open, so that the very pixel shows; a ring of `ring` CSS px around a target. */
  #cross([sx, sy], colour, ring) {
    const { context, view } = this;
    const r = view.ratio;
    const lines = new Path2D();
    if (ring) lines.arc(sx * r, sy * r, ring * r, 0, 2 * Math.PI);
    else {
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
        lines.moveTo((sx + 5 * dx) * r, (sy + 5 * dy) * r);
        lines.lineTo((sx + SIZE_PX * dx) * r, (sy + SIZE_PX * dy) * r);
      }
    }
    context.lineWidth = 3 * r;
    context.strokeStyle = "rgb(255 255 255 / 75%)";
    context.stroke(lines);
    context.lineWidth = 1.2 * r;
    context.strokeStyle = colour;
    context.stroke(lines);
  }

  /** Beside the pointer, on the side where there is room. */
  #place() {
    const [sx, sy] = this.view.toScreen(this.#at);
    const { width, height } = this.view;
    if (this.#kind === "touch") {
      const top = sy - ABOVE_FINGER_PX - SIZE_PX;
      // Near the top edge there is no room above: beside the finger then.
      if (top >= 4) return [Math.max(4, Math.min(width - SIZE_PX - 4, sx - SIZE_PX / 2)), top];
      return [sx > width / 2 ? sx - ABOVE_FINGER_PX - SIZE_PX : sx + ABOVE_FINGER_PX, Math.max(4, sy - SIZE_PX / 2)];
    }
    const left = sx + BESIDE_PX + SIZE_PX < width ? sx + BESIDE_PX : sx - BESIDE_PX - SIZE_PX;
    const top = sy - BESIDE_PX - SIZE_PX > 0 ? sy - BESIDE_PX - SIZE_PX : sy + BESIDE_PX;
    return [left, top];
  }
}
