// Where a page's name lies over the picture.
import assert from "node:assert/strict";
import { test } from "node:test";

import { labelEdge } from "../../../tracing/static/js/scene.js";

const SOURCE = { width_px: 1000, height_px: 800 };

test("a page's name lies in its upper left corner", () => {
  const core = [[100, 50], [400, 60], [390, 500], [95, 490]];
  assert.deepEqual(labelEdge(core, SOURCE), [[100, 50], [400, 60]]);
});

test("where that corner is beyond the picture the name is drawn in until it lies on it", () => {
  const core = [[-200, -200], [400, -200], [400, 600], [-200, 600]];
  const [[x, y], [rightX, rightY]] = labelEdge(core, SOURCE);
  assert.ok(x >= 0 && x < 30, `${x}`);
  assert.ok(y >= 0 && y <= 200, `${y}`);
  assert.deepEqual([rightX - x, rightY - y].map(Math.round), [600, 0]);
});

test("a page that lies wholly beside the picture keeps its own corner", () => {
  const core = [[-900, 0], [-500, 0], [-500, 400], [-900, 400]];
  assert.deepEqual(labelEdge(core, SOURCE), [core[0], core[1]]);
});
