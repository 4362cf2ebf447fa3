/**
 * The way every tool that places points works: hover with a preview, press, drag to adjust, let go to place.
 *
 * Clicking the last place once more, or Enter, ends it; clicking the first one closes it where that is possible.
 * While nothing is placed yet, a mark under the pointer is taken hold of instead; with Alt held a point goes exactly
 * where it is put, beside a mark too.
 */

import { polyline } from "../scene.js";

/**
 * `spec`: `name`, `least`, `most` points, `closes` (may be closed), `snaps` (points may go to the ink), `aims` (from
 * the second point on, `changed` shows where the next one would go),
 * `done(places, {closed})` when all are placed, `draft(places, ahead)` lines to show (a line through them if missing),
 * `words(places, ahead)` a label beside the pointer, or nothing.
 */
export function pointsTool(hands, spec) {
  let places = []; // {at, snap, straight, pull}
  let ahead = null;
  let drag = null;
  let pressed = null;
  let busy = false;
  let queue = Promise.resolve();
  let coming = 0; // clicks that are still being settled on the ink

  function put(event, pull) {
    coming += 1;
    queue = queue.then(() => place(event, pull)).finally(() => (coming -= 1));
  }

  function show() {
    const points = places.map(({ at }) => ({ at, name: spec.mark ?? "point" }));
    const through = [...places.map(({ at }) => at), ...(ahead && !busy ? [ahead.at] : [])];
    const lines = spec.draft?.(places, busy ? null : ahead) ?? (through.length > 1 ? [{ data: polyline(through), name: spec.name }] : []);
    const text = spec.words?.(places, ahead);
    hands.draft({ lines, points, label: text && through.length ? { at: through.at(-1), text } : null });
  }

  function hover(event) {
    if (busy) return;
    ahead = { at: event.at, straight: event.shift, alt: event.alt };
    if (spec.snaps !== false && !(spec.aims && places.length && !event.shift)) hands.preview(event, (at) => {
      ahead = { ...ahead, at };
      show();
    });
    hands.magnify(event.at, event.kind);
    spec.changed?.(places, ahead, show);
    show();
  }

  async function place(event, pull) {
    if (busy) return;
    const reach = event.reach;
    const near = (point) => Math.hypot(point.at[0] - event.at[0], point.at[1] - event.at[1]) <= reach;
    if (spec.closes && places.length >= 3 && near(places[0])) {
      await finish(true);
      return;
    }
    if (places.length && near(places.at(-1)) && !pull) {
      if (places.length >= spec.least) await finish(false);
      return;
    }
    const settled = spec.snaps === false ? { at: event.at, snap: false } : await hands.settle(event);
    places.push({ ...settled, straight: event.shift, pull: pull ?? null });
    ahead = null;
    const ends = places.length >= spec.least && spec.most > places.length && event.kind === "key" ? ". Enter here once more ends it" : "";
    hands.announce(`Point ${places.length}: ${settled.at.map((value) => value.toFixed(1)).join(", ")}${ends}`);
    spec.changed?.(places, null, show);
    show();
    if (places.length === spec.most) await finish(false);
  }

  async function finish(closed) {
    busy = true;
    ahead = null;
    hands.magnify(null);
    hands.preview(null);
    show();
    try {
      await spec.done(places, { closed });
    } finally {
      clear();
    }
  }

  function clear() {
    places = [];
    ahead = null;
    busy = false;
    pressed = null;
    hands.magnify(null);
    hands.preview(null);
    hands.draft();
    spec.changed?.(places, null, show);
  }

  return {
    name: spec.name,
    cursor: "crosshair",
    get count() {
      return places.length;
    },
    hover,
    down(event) {
      const mark = places.length || busy || event.alt || event.kind === "key" ? null : hands.markAt(event);
      if (mark) drag = hands.editing.grab(mark, event);
      else {
        pressed = event;
        hover(event);
      }
    },
    move(event) {
      if (drag) drag.move(event);
      else if (spec.pulls && event.moved && pressed) {
        ahead = { at: pressed.at, pull: event.at };
        spec.changed?.(places, ahead, show);
        show();
      } else hover(event);
    },
    up(event) {
      if (drag) {
        const held = drag;
        drag = null;
        if (event.moved) {
          held.up(event);
          return;
        }
        // Pressed and let go on a mark: the new point shares its place.
        held.cancel();
        put({ ...event, at: held.mark.at }, null);
        return;
      }
      if (!pressed) return;
      const pulled = spec.pulls && event.moved;
      const at = pulled ? pressed : event;
      pressed = null;
      if (event.kind === "touch") hands.magnify(null);
      put({ ...at, shift: event.shift, alt: event.alt }, pulled ? event.at : null);
    },
    key(event) {
      if (event.key === "Enter" && !hands.crosshair.at && places.length + coming >= spec.least) {
        // Enter may be quicker than the answer to the last click.
        queue = queue.then(() => (places.length >= spec.least ? finish(false) : undefined));
        return true;
      }
      if (event.key === "Backspace" && places.length) {
        places.pop();
        spec.changed?.(places, ahead, show);
        show();
        return true;
      }
      if (event.key === "Escape" && (places.length || drag)) {
        this.cancel();
        return true;
      }
      return spec.key?.(event, show) ?? false;
    },
    leave() {
      ahead = null;
      hands.magnify(null);
      hands.preview(null);
      if (!busy) show();
    },
    cancel() {
      drag?.cancel();
      drag = null;
      clear();
    },
    /** A second finger came down: the press is forgotten, what was placed stays. */
    release() {
      drag?.cancel();
      drag = null;
      pressed = null;
      this.leave();
    },
  };
}

/** A placed point as commands take it. */
export function asMark({ at, snap }) {
  return { x_px: at[0], y_px: at[1], snap };
}
