/**
 * The picture area as a whole: builds its layers, draws once a frame, hands gestures to the tool at hand.
 *
 * `mountCanvas(element, store, api, panels)` gives `{view, setTool, focusMark, announce, ...}`.
 */

import { Overlay } from "./overlay.js";
import { Pointers } from "./pointer.js";
import { Tiles } from "./tiles.js";
import { View } from "./view.js";
import { panTool } from "./tools/pan.js";

const COLOURS = ["halo", "part", "other", "line", "dropped", "hover", "trace", "rub", "border", "page", "regionIn", "regionOut", "regionInFill", "regionOutFill"];

export function mountCanvas(element, store, api, panels) {
  element.classList.add("picture");
  const tileCanvas = element.appendChild(document.createElement("canvas"));
  const lineCanvas = element.appendChild(document.createElement("canvas"));
  const view = new View();
  let due = false;
  const frame = () => {
    due = false;
    tiles.draw();
    overlay.draw();
  };
  const redraw = () => {
    if (!due) requestAnimationFrame(frame);
    due = true;
  };
  const tiles = new Tiles(tileCanvas, view, (level, x, y) => `/api/job/${store.state.key}/tiles/${level}/${x}/${y}`, redraw);
  const overlay = new Overlay(lineCanvas, view, redraw);
  view.onChange(redraw);

  let tool = panTool({ view });
  const pointers = new Pointers(element, view, { tool: () => tool, onHover: () => {}, onLeave: () => {} });

  const setState = () => {
    overlay.setState(store.state);
    redraw();
  };
  readColours(element, tiles, overlay);
  watchSize(element, [tileCanvas, lineCanvas], view, () => {
    overlay.refresh();
    redraw();
  });
  const { source, tiles: pyramid } = store.state;
  view.setPicture({ width: source.width_px, height: source.height_px, tilePx: pyramid.tile_px, levelCount: pyramid.levels.length });
  tiles.setPyramid(pyramid);
  setState();
  store.on("job", setState);
  store.on("results", setState);
  return { view, tiles, overlay, pointers, redraw, setTool() {}, focusMark() {}, announce() {} };
}

function readColours(element, tiles, overlay) {
  const style = getComputedStyle(element);
  tiles.surround = style.getPropertyValue("--c-surround").trim();
  for (const name of COLOURS) overlay.colours[name] = style.getPropertyValue(`--c-${name}`).trim();
  overlay.refresh();
}

function watchSize(element, canvases, view, redraw) {
  const put = (width, height, ratio, deviceWidth, deviceHeight) => {
    for (const canvas of canvases) {
      // Setting a canvas's size wipes it, even to the size it has.
      if (canvas.width !== deviceWidth) canvas.width = deviceWidth;
      if (canvas.height !== deviceHeight) canvas.height = deviceHeight;
    }
    view.setWindow(width, height, ratio);
    redraw();
  };
  const measure = () => {
    const ratio = window.devicePixelRatio || 1;
    const { clientWidth: width, clientHeight: height } = element;
    put(width, height, ratio, Math.round(width * ratio), Math.round(height * ratio));
  };
  measure();
  new ResizeObserver(measure).observe(element);
}
