/** Dragging the page grid over the plan; arrow keys move it by 1 mm, with shift by 10 mm. */

import { arrowOf } from "../crosshair.js";
import { movedOrigin } from "../grid.js";
import { polygon } from "../scene.js";

const STEP_MM = 1;
const FAR_STEP_MM = 10;
const REST_MS = 500; // presses of arrow keys within this time are one gesture

export function gridTool(hands) {
  const { store, panels } = hands;
  let from = null;
  let shift = [0, 0];
  let keyed = null; // {origin, timer}

  const pages = () => (store.state.results.pages?.tiles?.length ? store.state.results.pages : null);

  function show(move) {
    const moved = pages().tiles.map(({ core_px: corners }) => {
      return { data: polygon(corners.map(([x, y]) => [x + move[0], y + move[1]])), name: "page" };
    });
    hands.draft({ lines: moved });
  }

  async function send(origin) {
    const { landscape } = pages();
    await panels.attempt(() => store.do({ do: "set_grid", origin_mm: origin.map((value) => Math.round(value * 1000) / 1000), landscape }));
    hands.draft();
  }

  return {
    name: "grid",
    cursor: "move",
    hover() {},
    down(event) {
      from = pages() ? event.at : null;
      shift = [0, 0];
    },
    move(event) {
      if (!from || !event.moved) return;
      shift = [event.at[0] - from[0], event.at[1] - from[1]];
      show(shift);
    },
    up(event) {
      if (from && event.moved && pages()) send(movedOrigin(pages(), from, shift));
      from = null;
    },
    key(event) {
      const arrow = arrowOf(event.key);
      if (!arrow || !pages()) return false;
      const step = event.shiftKey ? FAR_STEP_MM : STEP_MM;
      const [x, y] = keyed?.origin ?? pages().origin_mm;
      clearTimeout(keyed?.timer);
      const origin = [x + arrow[0] * step, y - arrow[1] * step]; // the build frame's y goes up
      keyed = {
        origin,
        timer: setTimeout(() => {
          keyed = null;
          send(origin);
        }, REST_MS),
      };
      hands.announce(`Pages moved to ${origin.map((value) => value.toFixed(0)).join(", ")} mm.`);
      return true;
    },
    leave() {},
    cancel() {
      from = null;
      hands.draft();
    },
    release() {
      this.cancel();
    },
  };
}
