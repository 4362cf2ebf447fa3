/**
 * What a tool may do with the picture area: look under the pointer, show what it is about to do, place on the ink.
 */

import { newestOnly } from "./asking.js";
import { lineAt, markAt, outlineAt } from "./hit.js";
import { askAbout } from "./questions.js";
import { othersOf } from "./scene.js";
import { shapeOf } from "./shape.js";

const SNAP_REACH_PX = 10; // CSS px: from how far a mark goes to the ink
const ON_LANDMARK = new Set(["crossing", "corner", "end"]);
const NO_INK = new Set(["nothing", "not yet"]);
const CHOSEN_BY_LINE = ["trace", "rub", "region"];
const OUTLINES = ["part", "other"];

export function makeHands({ element, view, store, api, panels, layer, overlay, loupe, crosshair, redraw, state }) {
  let target = null; // where the ink would draw the mark to
  let previewFor = null;
  const askSnap = newestOnly((at) => api.snap(at, hands.snapReachPx));

  const outlines = () => {
    const parts = overlay.items.filter((item) => item.kind === "part");
    return [...parts, ...othersOf(store.state).map((other) => ({ ...other, shape: shapeOf(other.data) }))];
  };

  const hands = {
    view, store, api, panels, crosshair,
    get target() {
      return target;
    },
    get magnified() {
      return state.magnified;
    },
    markAt: (event) => markAt(state.marks, event.at, event.reach),
    outlineAt: (event) => outlineAt(outlines(), event.at, event.reach),

    /** The outline around a place, of those that can be seen there. */
    seenOutlineAt: (event) => outlineAt(overlay.items.filter(({ kind }) => OUTLINES.includes(kind)), event.at, event.reach),

    /** What a plain click chooses: a line drawn by hand, else the outline around the place. */
    thingAt(event) {
      const lines = overlay.items.filter((item) => CHOSEN_BY_LINE.includes(item.kind));
      const item = lineAt(lines, event.at, event.reach) ?? hands.seenOutlineAt(event);
      return item ? { kind: item.kind, index: item.index } : null;
    },

    /** Show where a mark would go from here; `onSnap(at)` hears of it. null: show nothing. */
    async preview(event, onSnap = () => {}) {
      previewFor = event;
      if (!event || event.alt) {
        target = null;
        redraw();
        return;
      }
      const answer = await askSnap(event.at);
      if (!answer || previewFor !== event) return;
      onSnap(answer.at);
      hands.aim(answer);
    },

    /** From how far a mark goes to the ink, picture px. */
    get snapReachPx() {
      return SNAP_REACH_PX / view.scale;
    },

    /** Show where a mark would go, as an answer of the program tells it. */
    aim(answer) {
      target = NO_INK.has(answer.what) ? null : answer.at;
      redraw();
    },

    /** Where a mark put here comes to lie: on the ink as it was shown, or (Alt held, or no ink) exactly here. */
    async settle(event) {
      if (event.alt) return { at: event.at, snap: false };
      let answer = null;
      try {
        answer = await api.snap(event.at, hands.snapReachPx);
      } catch {
        // Without an answer a mark stays where the hand put it; whatever is wrong is told by the command that follows.
      }
      // While the picture is still being looked at, a mark goes to the ink later, as one given on the command line does.
      if (!answer || NO_INK.has(answer.what)) return { at: event.at, snap: answer?.what === "not yet" || !store.state.results?.seen?.ok };
      return { at: answer.at, snap: ON_LANDMARK.has(answer.what) };
    },

    magnify(at, kind) {
      if (at) loupe.show(at, kind);
      else loupe.hide();
      redraw();
    },
    draft: (spec) => layer.setDraft(spec),
    hoverOutline(item) {
      // An outline all around the screen has no edge to be lit, and its tint would only hide the ink.
      const [x0, y0, x1, y1] = view.visibleBox();
      const around = item?.shape && item.shape.box[0] < x0 && item.shape.box[1] < y0 && item.shape.box[2] > x1 && item.shape.box[3] > y1;
      layer.setHover(around ? null : (item?.data ?? null));
      store.point?.(item ? { kind: item.kind, index: item.index } : null);
    },
    /** Choose what was clicked: it is in sight, so the picture stays where it is. */
    select(what) {
      state.clicked = true;
      store.select(what && { kind: what.kind, index: what.index });
      state.clicked = false;
    },
    askAbout: (what) => askAbout(what, hands),
    focusMark: (id) => layer.focus(id),
    announce: (text) => panels.announce?.(text),
    told: (at) => store.setPointer?.(at),
    changed: () => state.showMarks(),
    cursor(name) {
      element.style.cursor = name ?? state.tool.cursor;
    },
    grabbing: (on) => element.classList.toggle("is-panning", on),
  };
  return hands;
}
