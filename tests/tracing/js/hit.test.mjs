import assert from "node:assert/strict";
import { test } from "node:test";

import { lineAt, markAt, outlineAt } from "../../../tracing/static/js/hit.js";
import { Shape } from "../../../tracing/static/js/shape.js";

const item = (data, more = {}) => ({ data, shape: new Shape(data), ...more });
const BIG = item("M0 0H100V100H0Z");
const SMALL = item("M40 40H60V60H40Z");

test("the smallest outline around a place is meant", () => {
  assert.equal(outlineAt([BIG, SMALL], [50, 50], 2), SMALL);
  assert.equal(outlineAt([BIG, SMALL], [10, 10], 2), BIG);
});

test("just outside an outline its edge is meant, farther away nothing", () => {
  assert.equal(outlineAt([BIG, SMALL], [101.5, 50], 2), BIG);
  assert.equal(outlineAt([BIG, SMALL], [103, 50], 2), null);
});

test("a rubbed band is as wide as it rubs", () => {
  const rub = item("M0 0L100 0", { widthPx: 20 });

  assert.equal(lineAt([rub], [50, 11], 2), rub);
  assert.equal(lineAt([rub], [50, 13], 2), null);
});

test("the nearest mark within reach is meant; a node before a handle on it", () => {
  const marks = [{ id: "handle", at: [10, 10], handle: true }, { id: "node", at: [10, 10] }, { id: "far", at: [19, 10] }];

  assert.equal(markAt(marks, [12, 10], 8).id, "node");
  assert.equal(markAt(marks, [17, 10], 8).id, "far");
  assert.equal(markAt(marks, [40, 10], 8), null);
});
