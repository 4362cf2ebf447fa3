/** Rubbing out: a band drawn over lines that shall not count. Its width is chosen with [ and ]. */

import { polyline } from "../scene.js";

const WIDTH_PX = 22; // CSS px: a fingertip's path, seen as it will rub
const LEAST_PX = 4;
const MOST_PX = 160;
const WIDER = 1.25;
const STEP_PX = 2; // CSS px between points of a stroke: finer than a hand

export function rubTool(hands) {
  const { store, panels, view } = hands;
  let width = WIDTH_PX;
  let points = null;
  let ahead = null;

  const widthPx = () => width / view.scale;
  const show = () => {
    const stroke = points ?? (ahead ? [ahead] : []);
    hands.draft(stroke.length ? { lines: [{ data: polyline(stroke), name: "rub", widthPx: widthPx() }] } : {});
  };
  const add = (at) => {
    const [x, y] = points.at(-1);
    if (Math.hypot(at[0] - x, at[1] - y) * view.scale >= STEP_PX) points.push(at);
  };

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
      show();
    },
    down(event) {
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
      if (points && event.kind !== "key") finish();
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
      ahead = null;
      if (!points) show();
    },
    cancel() {
      points = null;
      ahead = null;
      show();
    },
    release() {
      this.cancel();
    },
  };
}
