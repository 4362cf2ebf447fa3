/**
 * The keyboard in the picture area: everything that a pointer does there.
 *
 * On the picture the arrow keys move a cross and Enter places; on a mark they nudge it. Keys count only while the
 * focus is in the picture, so that single letters disturb nobody who types elsewhere.
 */

import { arrowOf } from "./crosshair.js";
import { askAbout } from "./questions.js";

const ZOOM_STEP = Math.SQRT2;

/** For the page's list of keys. */
export const KEY_LIST = [
  { keys: ["arrowleft", "arrowright", "arrowup", "arrowdown"], words: "Move the cross, or nudge a mark by 0.1 px; with Shift farther", group: "In the picture" },
  { keys: ["enter"], words: "Place at the cross; on a mark: its question", group: "In the picture" },
  { keys: ["n", "shift+n"], words: "Cross to the next crossing, corner or line end; to the one before", group: "In the picture" },
  { keys: ["tab"], words: "From mark to mark", group: "In the picture" },
  { keys: ["delete"], words: "Take a mark out", group: "In the picture" },
  { keys: ["backspace"], words: "Take the last click back", group: "In the picture" },
  { keys: ["+", "-"], words: "Zoom in and out", group: "In the picture" },
  { keys: ["0"], words: "See all of it", group: "In the picture" },
  { keys: ["z"], words: "Zoom to what is chosen", group: "In the picture" },
  { keys: ["[", "]"], words: "Narrower, wider band when rubbing out", group: "In the picture" },
  { keys: ["space"], words: "Hold: drag the picture", group: "In the picture" },
];

/** Answer the keys pressed in `element`; `place` has view, pointers, crosshair, layer, editing, hands, tool, zoomToChosen. */
export function listenToKeys(element, place) {
  element.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.isComposing) {
      place.editing.finishNudge(); // undo takes back the nudge that is seen, not what came before it
      return;
    }
    const mark = place.layer.markOf(event.target);
    const done = event.key === " " ? hold(event) : mark ? onMark(event, mark, place) : onPicture(event, place);
    if (done || common(event, place)) event.preventDefault();
  });
  element.addEventListener("keyup", (event) => {
    if (event.key === " ") place.pointers.holdSpace(false);
    if (arrowOf(event.key) && place.layer.markOf(event.target)) place.redraw();
  });
  element.addEventListener("blur", () => place.pointers.holdSpace(false));
  element.addEventListener("focusout", (event) => {
    place.editing.finishNudge();
    if (!element.contains(event.relatedTarget)) {
      place.crosshair.hide();
      place.redraw();
    }
  });

  function hold() {
    place.pointers.holdSpace(true);
    return true;
  }
}

function onMark(event, mark, { editing, hands, layer, element }) {
  const arrow = arrowOf(event.key);
  if (arrow) editing.nudge(mark, arrow, event.shiftKey);
  else if (event.key === "Enter") askAfterNudge(mark, editing, hands);
  else if (event.key === "Delete" || event.key === "Backspace") {
    element.focus({ preventScroll: true });
    editing.remove(mark);
  } else if (event.key === "Escape") {
    element.focus({ preventScroll: true });
    hands.select(null);
  } else return false;
  return Boolean(layer);
}

async function askAfterNudge(mark, editing, hands) {
  await editing.finishNudge();
  await askAbout(mark, hands);
}

function onPicture(event, place) {
  const { tool, crosshair, pointers } = place;
  if (tool().key(event)) return true;
  const arrow = arrowOf(event.key);
  if (arrow) {
    crosshair.show(pointers.last);
    crosshair.move(arrow, event.shiftKey);
    hovered(event, place);
  } else if (event.key === "n" || event.key === "N") {
    crosshair.show(pointers.last);
    const number = crosshair.nextLandmark(event.key === "N" || event.shiftKey ? -1 : 1);
    place.hands.announce(number === null ? "No crossing, corner or line end was found yet." : `Point ${number}`);
    hovered(event, place);
  } else if (event.key === "Enter" && crosshair.at) {
    const told = crosshair.event(event);
    tool().down(told);
    tool().up(told);
  } else if (event.key === "Escape" && crosshair.at) {
    crosshair.hide();
    tool().leave?.();
    place.redraw();
  } else if ((event.key === "Delete" || event.key === "Backspace") && place.store.selection) place.removeChosen();
  else return false;
  return true;
}

function hovered(event, { tool, crosshair, hands, store, redraw }) {
  tool().hover(crosshair.event(event));
  hands.told(crosshair.at);
  redraw();
  return store;
}

function common(event, { view, crosshair, zoomToChosen }) {
  const at = crosshair.at ? view.toScreen(crosshair.at) : [view.width / 2, view.height / 2];
  if (event.key === "+" || event.key === "=") view.zoomAt(at, ZOOM_STEP);
  else if (event.key === "-" || event.key === "_") view.zoomAt(at, 1 / ZOOM_STEP);
  else if (event.key === "0") view.fit();
  else if (event.key === "z") zoomToChosen();
  else return false;
  return true;
}
