/**
 * The picture area as a whole: builds its layers, draws once a frame, hands gestures to the tool at hand.
 *
 * Layers from below: tiles with outlines and lines over them (canvas), marks (SVG), magnifier (canvas).
 */

import { Crosshair } from "./crosshair.js";
import { Editing } from "./editing.js";
import { makeHands } from "./hands.js";
import { Loupe } from "./loupe.js";
import { MarkLayer } from "./mark_layer.js";
import { marksOf, removeCommand } from "./marks.js";
import { Overlay } from "./overlay.js";
import { KEY_LIST, listenToKeys } from "./picture_keys.js";
import { Pointers } from "./pointer.js";
import { othersOf, sceneOf } from "./scene.js";
import { readColours, watchColours, watchSize } from "./surroundings.js";
import { Tiles } from "./tiles.js";
import { makeTool } from "./tools/all.js";
import { View } from "./view.js";
import { boxOf, meets, readPath } from "./path_data.js";

const PAGE_STEPS = new Set(["size", "export"]); // where the pages lie over the plan
const BORDER_STEPS = new Set(["flatten", "scale"]); // where the found border is what is asked about

const REMOVABLE = new Set(["known", "check", "build", "straight", "measure", "trace", "region", "rub", "corner", "across"]);

let mounted = null;

/**
 * Fill `element` with the picture of the job in `store`.
 *
 * Gives `{view, setTool, focusMark, announce, zoomToChosen, destroy}`. Mounting again ends the one before.
 */
export function mountCanvas(element, store, api, panels) {
  mounted?.destroy();
  const canvas = () => element.appendChild(document.createElement("canvas"));
  element.classList.add("picture");
  element.tabIndex = 0;
  element.setAttribute("role", "application");
  element.setAttribute("aria-label", "Picture of the plan: arrow keys move the cross, Enter places, Tab goes through the marks");
  const view = new View();
  // Named with the picture they are of, tiles can be kept by the browser for good.
  const { of } = store.state.tiles;
  const tileUrl = (level, x, y) => `${api.tileUrl(level, x, y)}${of ? `?of=${encodeURIComponent(of)}` : ""}`;
  const tiles = new Tiles(canvas(), view, tileUrl, () => redraw());
  const overlay = new Overlay(view, () => redraw());
  const layer = new MarkLayer(element, view, () => redrawOver());
  const loupe = new Loupe(element, view, tiles);
  const crosshair = new Crosshair(view);
  const state = { marks: [], tool: null, showMarks };
  const hands = makeHands({ element, view, store, api, panels, layer, overlay, loupe, crosshair, redraw: redrawOver, state });
  const editing = new Editing(hands);
  hands.editing = editing;
  let due = null; // what the next frame draws: all, or only what lies over the picture
  let landmarksOf = null;

  function redraw() {
    if (!due) requestAnimationFrame(frame);
    due = "all";
  }

  /** A pointer that moves changes nothing of the picture, which is the dear part of a frame. */
  function redrawOver() {
    if (due) return;
    requestAnimationFrame(frame);
    due = "over";
  }

  function frame() {
    if (due === "all") {
      tiles.draw();
      overlay.draw(tiles.context);
    }
    due = null;
    layer.draw();
    layer.setPointers(crosshair.at, hands.target);
    loupe.draw(hands.target, overlay.colours);
  }

  function showMarks() {
    const { selection } = store;
    const seen = editing.seen(store.state);
    const found = marksOf(seen, selection, store.step);
    found.marks = editing.apply(found.marks);
    state.marks = found.marks;
    layer.setMarks(found, isChosen);
    // A traced line or region shows as it will be while one of its nodes is moved.
    layer.setChosen(seen === store.state ? dataOf(selection) : sceneOf({ job: seen.job }).find(isChosen)?.data ?? null);
    redraw();
  }

  function showState() {
    if (!store.state) return;
    const show = new Set();
    if (PAGE_STEPS.has(store.step) || store.tool === "grid") show.add("pages");
    if (BORDER_STEPS.has(store.step)) show.add("border");
    if (store.tool === "choose") show.add("others");
    overlay.setState(store.state, { show });
    showMarks();
    fetchLandmarks();
  }

  /** Landmarks come with what is seen in the picture, and only the keyboard needs them here. */
  async function fetchLandmarks() {
    const of = store.state.results?.seen?.ok ? store.state.results.seen.of : null;
    if (of === null || of === landmarksOf) return;
    landmarksOf = of;
    try {
      crosshair.landmarks = (await api.landmarks()).points;
    } catch {
      landmarksOf = null; // asked for again with the next result
    }
  }

  function dataOf(what) {
    if (!what) return null;
    const found = overlay.items.find(({ kind, index }) => kind === what.kind && index === what.index);
    return found?.data ?? (what.kind === "other" ? othersOf(store.state)[what.index]?.data : null) ?? null;
  }

  function isChosen({ kind, index }) {
    return kind === store.selection?.kind && index === store.selection.index;
  }

  function boxOfChosen() {
    const data = dataOf(store.selection);
    if (data) return boxOf(readPath(data));
    const places = state.marks.filter(isChosen).map(({ at }) => at);
    if (!places.length) return null;
    return [0, 1].map((axis) => Math.min(...places.map((at) => at[axis]))).concat([0, 1].map((axis) => Math.max(...places.map((at) => at[axis]))));
  }

  function zoomToChosen() {
    const box = boxOfChosen();
    if (box) view.fitTo(box);
  }

  function showSelection() {
    showMarks();
    if (state.clicked) return;
    // Chosen in the card or by a key: it comes to the middle, whole where it can.
    const box = boxOfChosen();
    if (!box) return;
    const seen = view.visibleBox();
    const inside = box[0] >= seen[0] && box[1] >= seen[1] && box[2] <= seen[2] && box[3] <= seen[3];
    const large = box[2] - box[0] > seen[2] - seen[0] || box[3] - box[1] > seen[3] - seen[1];
    if (!inside && large && store.selection.kind === "part") view.fitTo(box);
    else if (!inside && (!large || !meets(box, seen))) view.centreOn([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2]);
  }

  /** What is pointed at in a list is lit in the picture. */
  function showPointed(what) {
    const others = what?.all ? othersOf(store.state) : [];
    layer.setHover(what?.all ? what.all.map((index) => others[index]?.data ?? "").join("") : what ? dataOf(what) : null);
  }

  function setTool(name, options = {}) {
    state.tool?.cancel();
    hands.hoverOutline(null);
    state.tool = makeTool(name, options, hands);
    element.style.cursor = state.tool.cursor;
    showState();
  }

  async function removeChosen() {
    const { kind, index } = store.selection ?? {};
    const part = kind === "part" ? store.state.results.outlines?.parts[index] : null;
    const leave = part && { do: "choose", inside_px: part.inside_px, area_px2: part.area_px2, action: "drop", ...(part.name && { name: part.name }) };
    const command = leave || (REMOVABLE.has(kind) ? removeCommand(store.selection) : null);
    if (command) await panels.attempt(() => store.do(command));
  }

  setToolFirst();
  const pointers = new Pointers(element, view, {
    tool: () => state.tool,
    onHover: (event) => {
      crosshair.hide();
      hands.told(event.at);
      state.tool.hover(event);
    },
    onMove: (event) => hands.told(event.at),
    onLeave: () => {
      hands.told(null);
      state.tool.leave?.();
    },
    onPress: () => {
      crosshair.hide();
      element.focus({ preventScroll: true });
    },
  });
  listenToKeys(element, { element, view, store, pointers, crosshair, layer, editing, hands, redraw, zoomToChosen, removeChosen, tool: () => state.tool });
  element.addEventListener("focusin", (event) => {
    const mark = layer.markOf(event.target);
    if (!mark) return;
    view.reveal(mark.at);
    store.select({ kind: mark.kind, index: mark.index });
  });

  const { source, tiles: pyramid } = store.state;
  const unsize = watchSize(element, [tiles.canvas], view, () => {
    overlay.refresh();
    redraw();
  });
  const recolour = () => {
    readColours(element, tiles, overlay);
    redraw();
  };
  recolour();
  const uncolour = watchColours(recolour);
  view.setPicture({ width: source.width_px, height: source.height_px, tilePx: pyramid.tile_px, levelCount: pyramid.levels.length });
  tiles.setPyramid(pyramid);
  showState();
  const offs = [
    store.on("job", showState), store.on("results", showState), store.on("step", showState),
    store.on("selection", showSelection), store.on("pointed", showPointed),
    store.on("tool", () => setTool(store.tool, store.toolOptions)),
    view.onChange(() => {
      redraw();
      store.emit("view", view);
    }),
    panels.keys?.add(...KEY_LIST), unsize, uncolour, () => tiles.clear(),
  ];

  function setToolFirst() {
    state.tool = makeTool(store.tool ?? "pan", store.toolOptions, hands);
    element.style.cursor = state.tool.cursor;
  }

  mounted = {
    view, tiles, overlay, layer, pointers, crosshair, setTool, zoomToChosen,
    focusMark: (id) => layer.focus(id),
    announce: hands.announce,
    destroy() {
      for (const off of offs) off?.();
      mounted = null;
    },
  };
  return mounted;
}
