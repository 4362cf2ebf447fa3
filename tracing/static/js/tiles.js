/**
 * The picture itself: tiles fetched as they come into sight, drawn on a canvas.
 *
 * Coarse tiles show until fine ones arrive. Requests for what has left the screen are cancelled, and tiles not seen
 * for long are let go, so that a picture of any size needs the same memory.
 */

import { ancestor, children, levelFor, tileBox, tilesInSight } from "./tile_choice.js";

const AT_ONCE = 6; // requests under way: what a browser opens to one server
const KEPT_TILES = 160; // 1 MB each at 512 px
const KEPT_SCREENS = 2.5; // on a large screen: this many times what is in sight
const PINNED_TILES = 16; // levels of at most so many tiles are never let go: something always shows
const PIXELATED_FROM = 2; // CSS px for one picture px: from 200 % on pixels are seen as they are
const RETRY_MS = 600; // the pyramid may still be in the making

export class Tiles {
  #kept = new Map(); // key -> {bitmap, tile}; the order is that of last use
  #asked = new Map(); // key -> AbortController
  #wanted = [];
  #late = new Map(); // key -> time from which to ask again
  #loupe = [];

  /** `urlOf(level, x, y)` names a tile; `onArrive()` is called when one can be drawn. */
  constructor(canvas, view, urlOf, onArrive) {
    this.canvas = canvas;
    this.view = view;
    this.urlOf = urlOf;
    this.onArrive = onArrive;
    this.context = canvas.getContext("2d", { alpha: false });
    this.pyramid = null;
    this.surround = "#777";
  }

  setPyramid({ tile_px: tilePx, levels }) {
    this.clear();
    this.pyramid = { tilePx, levels };
  }

  clear() {
    for (const control of this.#asked.values()) control.abort();
    for (const { bitmap } of this.#kept.values()) bitmap.close();
    this.#asked.clear();
    this.#kept.clear();
    this.#late.clear();
    this.#wanted = [];
  }

  get keptCount() {
    return this.#kept.size;
  }

  /** Whether all that is in sight is drawn as sharp as it gets. */
  get complete() {
    if (!this.pyramid) return false;
    const level = levelFor(this.view, this.pyramid.levels.length);
    return tilesInSight(this.view, level, this.pyramid).every((tile) => this.#kept.has(tile.key));
  }

  draw() {
    this.paint(this.context, this.view);
    if (this.pyramid) this.#ask();
  }

  /** Draw what is at hand of any view on any canvas (the magnifier has a view of its own). */
  paint(context, view) {
    context.fillStyle = this.surround;
    context.fillRect(0, 0, context.canvas.width, context.canvas.height);
    if (!this.pyramid) return;
    context.imageSmoothingEnabled = view.scale < PIXELATED_FROM;
    const level = levelFor(view, this.pyramid.levels.length);
    for (const tile of tilesInSight(view, level, this.pyramid)) this.#paintTile(context, view, tile);
  }

  /** What the magnifier shows comes before all else; null when it is closed. */
  wantFor(view) {
    this.#loupe = view && this.pyramid ? tilesInSight(view, levelFor(view, this.pyramid.levels.length), this.pyramid) : [];
    if (this.#loupe.some((tile) => !this.#kept.has(tile.key))) this.#ask();
  }

  #paintTile(context, view, tile) {
    const box = tileBox(tile, this.pyramid, this.view.picture);
    const own = this.#use(tile.key);
    if (own) {
      context.drawImage(own, ...view.deviceBox(...box));
      return;
    }
    const top = this.pyramid.levels.length - 1;
    for (let up = 1; tile.level + up <= top; up += 1) {
      const coarse = ancestor(tile, up);
      const bitmap = this.#use(coarse.key);
      if (!bitmap) continue;
      const size = this.pyramid.tilePx / 2 ** up;
      const source = [(tile.x - (coarse.x << up)) * size, (tile.y - (coarse.y << up)) * size];
      const shown = [Math.min(size, bitmap.width - source[0]), Math.min(size, bitmap.height - source[1])];
      if (shown[0] > 0 && shown[1] > 0) context.drawImage(bitmap, ...source, ...shown, ...view.deviceBox(...box));
      break;
    }
    // After zooming out, finer tiles are still at hand and sharper than the coarse one.
    for (const fine of children(tile)) {
      const bitmap = this.#kept.get(fine.key)?.bitmap;
      if (bitmap) context.drawImage(bitmap, ...view.deviceBox(...tileBox(fine, this.pyramid, this.view.picture)));
    }
  }

  #use(key) {
    const entry = this.#kept.get(key);
    if (!entry) return null;
    this.#kept.delete(key);
    this.#kept.set(key, entry);
    return entry.bitmap;
  }

  /** Order of asking: the magnifier, the coarsest level (so that something shows), what is in sight, a ring around. */
  #ask() {
    const { levels } = this.pyramid;
    const level = levelFor(this.view, levels.length);
    const coarsest = tilesInSight(this.view, levels.length - 1, this.pyramid);
    const inSight = tilesInSight(this.view, level, this.pyramid);
    const around = tilesInSight(this.view, level, this.pyramid, 1);
    const byKey = new Map([...this.#loupe, ...coarsest, ...inSight, ...around].map((tile) => [tile.key, tile]));
    this.#wanted = [...byKey.values()];
    for (const [key, control] of this.#asked) if (!byKey.has(key)) control.abort();
    this.#letGo(new Set(byKey.keys()), inSight.length);
    this.#next();
  }

  #next() {
    const now = performance.now();
    for (const tile of this.#wanted) {
      if (this.#asked.size >= AT_ONCE) return;
      if (this.#kept.has(tile.key) || this.#asked.has(tile.key) || this.#late.get(tile.key) > now) continue;
      this.#fetch(tile);
    }
  }

  async #fetch(tile) {
    const control = new AbortController();
    this.#asked.set(tile.key, control);
    try {
      const answer = await fetch(this.urlOf(tile.level, tile.x, tile.y), { signal: control.signal });
      if (!answer.ok) throw new Error(`tile ${tile.key}: ${answer.status}`);
      const bitmap = await createImageBitmap(await answer.blob());
      if (control.signal.aborted) bitmap.close();
      else this.#keep(tile, bitmap);
    } catch (error) {
      if (error.name !== "AbortError") this.#askLater(tile);
    } finally {
      // A tile asked for again after it was cancelled has a new entry, which stays.
      if (this.#asked.get(tile.key) === control) this.#asked.delete(tile.key);
      this.#next();
    }
  }

  #keep(tile, bitmap) {
    this.#late.delete(tile.key);
    this.#kept.set(tile.key, { bitmap, tile });
    this.onArrive(tile);
  }

  #askLater(tile) {
    this.#late.set(tile.key, performance.now() + RETRY_MS);
    setTimeout(() => this.#next(), RETRY_MS + 10);
  }

  #letGo(needed, inSight) {
    let spare = this.#kept.size - Math.max(KEPT_TILES, KEPT_SCREENS * inSight);
    for (const [key, { bitmap, tile }] of this.#kept) {
      if (spare <= 0) return;
      const { width_px: wide, height_px: high } = this.pyramid.levels[tile.level];
      const count = Math.ceil(wide / this.pyramid.tilePx) * Math.ceil(high / this.pyramid.tilePx);
      if (needed.has(key) || count <= PINNED_TILES) continue;
      bitmap.close();
      this.#kept.delete(key);
      spare -= 1;
    }
  }
}
