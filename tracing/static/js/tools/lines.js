/** Lines and corners that lay the plan flat: a straight line, the line to lay level, the four corners. */

import { asMark, pointsTool } from "./points.js";

const CORNERS = ["the upper left corner", "the upper right corner", "the lower right corner", "the lower left corner"];

export function straightTool(hands) {
  return pointsTool(hands, {
    name: "straight",
    mark: "straight",
    least: 2,
    most: 2,
    done: ([start, end]) => send(hands, { do: "add_straight", start: asMark(start), end: asMark(end) }, false),
  });
}

export function acrossTool(hands) {
  return pointsTool(hands, {
    name: "across",
    mark: "across",
    least: 2,
    most: 2,
    done: ([start, end]) => send(hands, { do: "set_across", start: asMark(start), end: asMark(end) }),
  });
}

export function cornerTool(hands) {
  const { store } = hands;
  return pointsTool(hands, {
    name: "corner",
    mark: "corner",
    least: 4,
    most: 4,
    words: (places) => (places.length < 4 ? CORNERS[places.length] : ""),
    done: (places) => send(hands, { do: "set_corners", marks: places.map(asMark), size_text: store.state.job.corners?.size_text ?? null }),
  });
}

/** Do it, and put the tool away when one is all there can be. */
async function send({ store, panels }, command, alone = true) {
  if ((await panels.attempt(() => store.do(command))) && alone) store.setTool("pan");
}
