/**
 * Rubbing out: a band drawn over lines that shall not count. Its width is chosen with [ and ].
 *
 * To join two outlines, one click on the line they share is enough: the program knows from where to where it runs.
 */

import { newestOnly } from "../asking.js";
import { polyline } from "../scene.js";

const WIDTH_PX = 22; // CSS px: a fingertip's path, seen as it will rub
const LEAST_PX = 4;
const MOST_PX = 160;
const EDGE_PX = 7; // CSS px: a shared edge is lit at least this wide
const WIDER = 1.25;
const STEP_PX = 2; // CSS px between points of a stroke: finer than a hand

export function rubTool(hands, options = {}) {
  const { store, panels, view, api } = hands;
  const joins = options.why === "join";
  const edgeAt = (event) => api.sharedEdge(event.at, event.reach);
  const askEdge = newestOnly(edgeAt);
  let edge = null; // the shared edge under the pointer
  let width = WIDTH_PX;
  let points = null;
  let ahead = null;

  const widthPx = () => width / view.scale;
  const show = () => {
    if (edge && !points) {
      hands.draft({ lines: [{ data: polyline(edge.points_px), name: "rub", widthPx: Math.max(edge.width_px, EDGE_PX / view.scale) }] });
      return;
    }
    const stroke = points ?? (ahead && !joins ? [ahead] : []);
    hands.draft(stroke.length ? { lines: [{ data: polyline(stroke), name: "rub", widthPx: widthPx() }] } : {});
  };
  const add = (at) => {
    const [x, y] = points.at(-1);
    if (Math.hypot(at[0] - x, at[1] - y) * view.scale >= STEP_PX) points.push(at);
  };

  async function lookForEdge(event) {
    const found = await askEdge(event);
    if (!found) return;
    edge = found.points_px.length ? found : null;
    show();
  }

  /** Rub out the shared edge at a place; where there is none, `otherwise(words)`. */
  async function join(event, otherwise) {
    points = null;
    await panels.attempt(async () => {
      const found = await edgeAt(event);
      if (!found.points_px.length) return otherwise(found.words);
      await store.do({ do: "rub", points_px: found.points_px, width_px: found.width_px });
      return hands.announce("Joined: the line between them is rubbed out.");
    });
    edge = null;
    show();
  }

  async function finish() {
    const command = { do: "rub", points_px: points, width_px: Math.round(widthPx() * 1000) / 1000 };
    await panels.attempt(() => store.do(command));
    points = null;
    show();
  }

  return {
    name: "rub",
    cursor: "crosshair",
    hover(event) {
      ahead = event.at;
      if (points && event.kind === "key") add(event.at);
      if (joins && !points) lookForEdge(event);
      show();
    },
    down(event) {
      if (joins && event.kind === "key" && !points) {
        join(event, () => {
          points = [event.at];
        });
        return;
      }
      if (event.kind === "key" && points) {
        finish(); // Enter begins a stroke, the arrow keys draw it, Enter ends it
        return;
      }
      points = [event.at];
      show();
    },
    move(event) {
      if (!points) return;
      add(event.at);
      show();
    },
    up(event) {
      if (!points || event.kind === "key") return;
      if (joins && !event.moved) join(event, (words) => panels.say(words));
      else finish();
    },
    key(event) {
      if (event.key === "[" || event.key === "]") {
        width = Math.min(MOST_PX, Math.max(LEAST_PX, event.key === "]" ? width * WIDER : width / WIDER));
        hands.announce(`The band is ${widthPx().toFixed(0)} picture px wide.`);
        show();
        return true;
      }
      if (event.key !== "Escape" || !points) return false;
      this.cancel();
      return true;
    },
    leave() {
      ahead = edge = null;
      if (!points) show();
    },
    cancel() {
      points = null;
      ahead = edge = null;
      show();
    },
    release() {
      this.cancel();
    },
  };
}
