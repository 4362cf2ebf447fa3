import assert from "node:assert/strict";
import { test } from "node:test";

import { boxOf, flattened, isInside, nearestOn, readPath } from "../../../tracing/static/js/path_data.js";

// Four cubics with handles of 0.5522847498 r: the usual circle, off by at most 0.0273 % of the radius (from memory;
// the midpoint of each arc lies on the circle by construction).
const K = 0.5522847498;
const circle = (r) => `M${r} 0C${r} ${K * r} ${K * r} ${r} 0 ${r}S`.replace("S", "")
  + `C${-K * r} ${r} ${-r} ${K * r} ${-r} 0C${-r} ${-K * r} ${-K * r} ${-r} 0 ${-r}C${K * r} ${-r} ${r} ${-K * r} ${r} 0Z`;

test("a flattened circle keeps its radius within the tolerance asked for", () => {
  for (const tolerance of [5, 1, 0.1, 0.01]) {
    const line = flattened(readPath(circle(1000))[0], tolerance);
    for (let i = 0; i + 3 < line.length; i += 2) {
      const middle = Math.hypot((line[i] + line[i + 2]) / 2, (line[i + 1] + line[i + 3]) / 2);
      assert.ok(Math.abs(middle - 1000) <= tolerance + 0.273, `${middle}`);
    }
  }
});

test("fewer points are used where less will do", () => {
  const ring = readPath(circle(1000))[0];

  assert.ok(flattened(ring, 5).length < flattened(ring, 0.05).length / 4);
  assert.ok(flattened(ring, 0.05, 300).length < 60);
});

test("relative and absolute path data give the same points, arcs of corners included", () => {
  const absolute = readPath("M10 20L30 20H50V60Q50 80 30 80C20 80 10 70 10 60Z");
  const relative = readPath("m10,20 20,0h20v40q0 20-20 20c-10 0-20-10-20-20z");

  assert.equal(absolute.length, 1);
  absolute[0].points.forEach((value, i) => assert.ok(Math.abs(value - relative[0].points[i]) < 1e-9));
  assert.ok(absolute[0].closed && relative[0].closed);
});

test("what cannot be read is said, not guessed", () => {
  assert.throws(() => readPath("M0 0X5 5"), /M, L, H, V, C, Q or Z was needed/);
});

test("inside a part is not inside its hole", () => {
  const lines = readPath("M0 0H100V100H0ZM40 40H60V60H40Z").map((ring) => flattened(ring, 0.1));

  assert.equal(isInside(lines, [10, 10]), true);
  assert.equal(isInside(lines, [50, 50]), false);
  assert.equal(isInside(lines, [110, 50]), false);
});

test("the box holds the curve", () => {
  const [x0, y0, x1, y1] = boxOf(readPath(circle(10)));

  assert.ok(x0 <= -10 && y0 <= -10 && x1 >= 10 && y1 >= 10);
});

test("the nearest place on a line is at the foot of the perpendicular", () => {
  const { far, at } = nearestOn(Float64Array.from([0, 0, 10, 0, 10, 10]), [4, 3]);

  assert.equal(far, 3);
  assert.deepEqual(at, [4, 0]);
});
