/**
 * Where on the screen does a place of the picture lie?
 *
 * A picture px (x, y) is a pixel's centre; the screen's (0, 0) is the corner of the picture area, in CSS px.
 * This is the one module that goes between the two, half a pixel included: everything else asks it.
 */

export const LARGEST_SCALE = 32; // CSS px for one picture px: 3200 %
const HALF_PX = 0.5; // from a pixel's corner to its centre
const LEAST_IN_SIGHT_PX = 48; // CSS px of picture that stay on screen, so that it cannot be lost by dragging
const SMALLEST_OF_FIT = 0.5; // zooming out ends here: half as large as the whole picture seen at once
const NEWS_PX = 120; // as high as two notices
const ROOM_AROUND = 0.04; // of the picture area, left free on each side by fit()

export class View {
  #listeners = new Set();
  #left = 0; // CSS px from the picture's left edge to the screen's, not yet rounded: pans add up without drift
  #top = 0;
  #whole = false; // the whole picture was asked for, and nobody moved it since

  constructor() {
    this.scale = 1; // CSS px for one picture px
    this.width = 1; // of the picture area, CSS px
    this.height = 1;
    this.ratio = 1; // device px for one CSS px
    this.picture = { width: 1, height: 1 };
    this.tilePx = 512;
    this.levelCount = 1;
  }

  /** Call `listener(view)` after every change. Gives the function that ends it. */
  onChange(listener) {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** Whole device px that lie left of and above the screen: tiles and overlay then meet without seams. */
  get offset() {
    return [Math.round(this.#left * this.ratio), Math.round(this.#top * this.ratio)];
  }

  /** The top-left corner of the screen as picture px. */
  get origin() {
    return this.toPicture([0, 0]);
  }

  get percent() {
    return 100 * this.scale;
  }

  toScreen([x, y]) {
    const [left, top] = this.offset;
    return [(x + HALF_PX) * this.scale - left / this.ratio, (y + HALF_PX) * this.scale - top / this.ratio];
  }

  toPicture([sx, sy]) {
    const [left, top] = this.offset;
    return [(sx + left / this.ratio) / this.scale - HALF_PX, (sy + top / this.ratio) / this.scale - HALF_PX];
  }

  /** `{scale, x, y}` so that device px = scale * picture px + (x, y): a canvas draws picture px with it. */
  deviceTransform() {
    const scale = this.scale * this.ratio;
    const [left, top] = this.offset;
    return { scale, x: HALF_PX * scale - left, y: HALF_PX * scale - top };
  }

  /** `[x, y, width, height]` in device px of the pixels from column x0 and row y0 up to, not with, x1 and y1. */
  deviceBox(x0, y0, x1, y1) {
    const scale = this.scale * this.ratio;
    const [left, top] = this.offset;
    const sx = Math.round(x0 * scale) - left;
    const sy = Math.round(y0 * scale) - top;
    return [sx, sy, Math.round(x1 * scale) - left - sx, Math.round(y1 * scale) - top - sy];
  }

  /** `[x0, y0, x1, y1]` of the picture px in sight, `margin` CSS px more on each side. */
  visibleBox(margin = 0) {
    return [...this.toPicture([-margin, -margin]), ...this.toPicture([this.width + margin, this.height + margin])];
  }

  /**
   * The size of the picture area. When news come below the picture, everything stays where it is, so that no click goes
   * astray; else the whole picture stays whole, or the place in the middle stays there.
   */
  setWindow(width, height, ratio) {
    if (width === this.width && height === this.height && ratio === this.ratio) return;
    const still = width === this.width && ratio === this.ratio && Math.abs(height - this.height) <= NEWS_PX;
    const whole = this.#whole && !still;
    const middle = this.toPicture(still ? [0, 0] : [this.width / 2, this.height / 2]);
    Object.assign(this, { width: Math.max(1, width), height: Math.max(1, height), ratio });
    if (whole) this.fit();
    else this.#put(this.scale, middle, still ? [0, 0] : [this.width / 2, this.height / 2], this.#whole);
  }

  setPicture({ width, height, tilePx = 512, levelCount = 1 }) {
    this.picture = { width, height };
    this.tilePx = tilePx;
    this.levelCount = levelCount;
    this.fit();
  }

  zoomAt(at, factor) {
    this.zoomTo(at, this.scale * factor);
  }

  /** Zoom to a scale; what lies at `at` on the screen stays there. */
  zoomTo(at, scale) {
    // The unrounded place is kept, so that many small zooms do not make the picture creep.
    const place = [(at[0] + this.#left) / this.scale - HALF_PX, (at[1] + this.#top) / this.scale - HALF_PX];
    this.#put(scale, place, at);
  }

  panBy(dx, dy) {
    this.#whole = false;
    this.#left -= dx;
    this.#top -= dy;
    this.#keepInSight();
    this.#changed();
  }

  /** The whole picture. */
  fit() {
    this.fitTo([-HALF_PX, -HALF_PX, this.picture.width - HALF_PX, this.picture.height - HALF_PX], ROOM_AROUND, true);
  }

  fitTo([x0, y0, x1, y1], room = 0.15, whole = false) {
    const share = 1 - 2 * room;
    const scale = Math.min((share * this.width) / Math.max(x1 - x0, 1), (share * this.height) / Math.max(y1 - y0, 1));
    this.#put(scale, [(x0 + x1) / 2, (y0 + y1) / 2], [this.width / 2, this.height / 2], whole);
  }

  centreOn(place, scale = this.scale) {
    this.#put(scale, place, [this.width / 2, this.height / 2]);
  }

  /** Pan as little as brings a place into sight, `margin` CSS px from the edge. */
  reveal(place, margin = 40) {
    const [sx, sy] = this.toScreen(place);
    const dx = Math.max(0, margin - sx) + Math.min(0, this.width - margin - sx);
    const dy = Math.max(0, margin - sy) + Math.min(0, this.height - margin - sy);
    if (dx || dy) this.panBy(dx, dy);
  }

  #put(scale, place, at, whole = false) {
    this.#whole = whole;
    this.scale = this.#tidyScale(Math.min(LARGEST_SCALE, Math.max(this.#smallest(), scale)));
    this.#left = (place[0] + HALF_PX) * this.scale - at[0];
    this.#top = (place[1] + HALF_PX) * this.scale - at[1];
    this.#keepInSight();
    this.#changed();
  }

  #smallest() {
    const fit = Math.min(this.width / this.picture.width, this.height / this.picture.height);
    return Math.min(1, SMALLEST_OF_FIT * fit);
  }

  /** The nearest scale at which a tile is a whole number of device px wide: tiles then meet without seams. */
  #tidyScale(scale) {
    const level = Math.min(this.levelCount - 1, Math.max(0, Math.floor(-Math.log2(scale * this.ratio))));
    const steps = this.tilePx * 2 ** level * this.ratio;
    return Math.max(1, Math.round(scale * steps)) / steps;
  }

  #keepInSight() {
    const farX = this.picture.width * this.scale;
    const farY = this.picture.height * this.scale;
    const least = Math.min(LEAST_IN_SIGHT_PX, farX, farY);
    this.#left = Math.min(farX - least, Math.max(least - this.width, this.#left));
    this.#top = Math.min(farY - least, Math.max(least - this.height, this.#top));
  }

  #changed() {
    for (const listener of this.#listeners) listener(this);
  }
}
