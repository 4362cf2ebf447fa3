import assert from "node:assert/strict";
import { test } from "node:test";

import { ancestor, children, levelFor, tileBox, tilesInSight } from "../../../tracing/static/js/tile_choice.js";
import { View } from "../../../tracing/static/js/view.js";

function pyramidOf(width, height) {
  const levels = [];
  for (let level = 0, w = width, h = height; ; level += 1, w = Math.ceil(w / 2), h = Math.ceil(h / 2)) {
    levels.push({ level, width_px: w, height_px: h });
    if (Math.max(w, h) <= 512) return { tilePx: 512, levels };
  }
}

const PICTURE = { width: 20000, height: 14000 };
const PYRAMID = pyramidOf(20000, 14000);

function viewAt(scale, at = [10000, 7000], ratio = 1) {
  const view = new View();
  view.setWindow(1280, 720, ratio);
  view.setPicture({ ...PICTURE, levelCount: PYRAMID.levels.length });
  view.centreOn(at, scale);
  return view;
}

test("a level's pixels are never larger on screen than a device px, unless there is no finer level", () => {
  for (const ratio of [1, 2]) {
    for (let scale = 0.03; scale < 1; scale *= 1.17) {
      const view = viewAt(scale, undefined, ratio);
      const level = levelFor(view, PYRAMID.levels.length);
      assert.ok(level === 0 || 2 ** level * view.scale * ratio <= 1 + 1e-6);
      assert.ok(level === PYRAMID.levels.length - 1 || 2 ** (level + 1) * view.scale * ratio > 1 - 1e-6);
    }
  }
});

test("tiles in sight cover the screen wherever the picture is, the middle one first", () => {
  const view = viewAt(1, [5000, 5000]);

  const tiles = tilesInSight(view, 0, PYRAMID);

  const [x0, y0, x1, y1] = view.visibleBox();
  for (const [x, y] of [[x0, y0], [x1, y0], [x0, y1], [x1, y1], [5000, 5000]]) {
    assert.ok(tiles.some((tile) => {
      const [a, b, c, d] = tileBox(tile, PYRAMID, PICTURE);
      return x + 0.5 >= a && x + 0.5 <= c && y + 0.5 >= b && y + 0.5 <= d;
    }));
  }
  assert.deepEqual([tiles[0].x, tiles[0].y], [9, 9]);
});

test("no tile outside the picture is asked for, and the last ones end with it", () => {
  const view = viewAt(0.05);

  for (const { level } of PYRAMID.levels) {
    for (const tile of tilesInSight(view, level, PYRAMID, 2)) {
      const [x0, y0, x1, y1] = tileBox(tile, PYRAMID, PICTURE);
      assert.ok(x0 >= 0 && y0 >= 0 && x0 < x1 && y0 < y1 && x1 <= 20000 && y1 <= 14000);
    }
  }
});

test("the number of tiles in sight is bounded by the screen, not by the picture", () => {
  for (let scale = 0.03; scale <= 32; scale *= 1.3) {
    const view = viewAt(scale);
    const tiles = tilesInSight(view, levelFor(view, PYRAMID.levels.length), PYRAMID);
    assert.ok(tiles.length <= 35, `${tiles.length} at ${scale}`); // 1280 x 720 of tiles at least 257 px wide, and one more each way
  }
});

test("a tile is a child of its ancestor", () => {
  const tile = { level: 0, x: 37, y: 22 };

  assert.ok(children(ancestor(tile, 1)).some(({ x, y, level }) => x === 37 && y === 22 && level === 0));
  assert.deepEqual([ancestor(tile, 3).x, ancestor(tile, 3).y], [4, 2]);
});
