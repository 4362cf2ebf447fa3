import assert from "node:assert/strict";
import { test } from "node:test";

import { movedOrigin } from "../../../tracing/static/js/grid.js";

const near = (a, b) => a.forEach((value, i) => assert.ok(Math.abs(value - b[i]) < 1e-9, `${a} is not ${b}`));

/** One page of 200 x 100 mm whose frame lies in the picture by `place(x_mm, y_mm)`. */
const pagesBy = (place) => ({
  origin_mm: [10, 20],
  step_mm: [200, 100],
  tiles: [{ core_px: [place(0, 100), place(200, 100), place(200, 0), place(0, 0)] }],
});

test("dragging right and down on a scan of 5 px a mm moves the grid right and down, y up", () => {
  const pages = pagesBy((x, y) => [5 * x, 1000 - 5 * y]);

  near(movedOrigin(pages, [0, 0], [50, 25]), [20, 15]);
});

test("on a plan that lies turned in the picture the grid follows the pointer all the same", () => {
  const turn = 0.3;
  const place = (x, y) => [4 * (x * Math.cos(turn) + y * Math.sin(turn)), 4 * (x * Math.sin(turn) - y * Math.cos(turn))];
  const [ox, oy] = place(0, 0);
  const [tx, ty] = place(12, -7);

  near(movedOrigin(pagesBy(place), [0, 0], [tx - ox, ty - oy]), [22, 13]);
});

test("of the other hand, dragging right moves the grid left in its own frame", () => {
  near(movedOrigin(pagesBy((x, y) => [1000 - 5 * x, 1000 - 5 * y]), [0, 0], [50, 0]), [0, 20]);
});

test("in a slanted photo the place taken hold of stays under the pointer, however far it goes", () => {
  const place = (x, y) => [(6 * x + y + 40) / (1 + 0.001 * x + 0.002 * y), (900 - 5 * y + 0.5 * x) / (1 + 0.001 * x + 0.002 * y)];
  const [from, to] = [place(60, 40), place(140, 75)];

  near(movedOrigin(pagesBy(place), from, [to[0] - from[0], to[1] - from[1]]), [10 + 80, 20 + 35]);
});
