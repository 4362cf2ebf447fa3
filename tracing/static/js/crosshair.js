/**
 * The keyboard's pointer: a cross that the arrow keys move while the picture has the focus.
 *
 * It gives tools the same events as a mouse, so that whatever can be clicked can be placed with Enter.
 */

import { reachOf } from "./pointer.js";

const STEP_PX = 4; // CSS px for one press of an arrow key
const FAR_STEP_PX = 48; // with shift
const EDGE_PX = 24; // the picture follows when the cross comes this near to the edge of the area
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

export function arrowOf(key) {
  return ARROWS[key] ?? null;
}

export class Crosshair {
  #at = null;
  #landmark = -1;

  constructor(view) {
    this.view = view;
    this.landmarks = [];
  }

  /** Where the cross is, picture px, or null while it is not in use. */
  get at() {
    return this.#at;
  }

  hide() {
    this.#at = null;
  }

  /** Take the cross up: where the pointer was, or in the middle of the area. */
  show(near = null) {
    this.#at ??= this.view.toPicture(near ?? [this.view.width / 2, this.view.height / 2]);
  }

  move([dx, dy], far) {
    const step = (far ? FAR_STEP_PX : STEP_PX) / this.view.scale;
    this.goTo([this.#at[0] + dx * step, this.#at[1] + dy * step]);
  }

  goTo([x, y]) {
    const { width, height } = this.view.picture;
    this.#at = [Math.min(width - 0.5, Math.max(-0.5, x)), Math.min(height - 0.5, Math.max(-0.5, y))];
    this.view.reveal(this.#at, EDGE_PX);
  }

  /** Go to the next landmark (or, with -1, the one before) in reading order; the first time to the nearest. */
  nextLandmark(by) {
    const { landmarks } = this;
    if (!landmarks.length) return null;
    if (this.#landmark < 0 || this.#landmark >= landmarks.length) {
      const far = landmarks.map(([x, y]) => Math.hypot(x - this.#at[0], y - this.#at[1]));
      this.#landmark = far.indexOf(Math.min(...far));
    } else this.#landmark = (this.#landmark + by + landmarks.length) % landmarks.length;
    this.goTo(landmarks[this.#landmark]);
    return this.#landmark + 1;
  }

  event(key = {}) {
    return {
      at: [...this.#at],
      screen: this.view.toScreen(this.#at),
      kind: "key",
      reach: reachOf("key") / this.view.scale,
      shift: Boolean(key.shiftKey),
      alt: Boolean(key.altKey),
      ctrl: false,
      moved: false,
    };
  }
}
