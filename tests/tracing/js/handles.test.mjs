import assert from "node:assert/strict";
import { test } from "node:test";

import { curveThrough, joined, movedTrace, nodesOf, straightThrough } from "../../../tracing/static/js/handles.js";

const WAVE = { start_px: [0, 0], cubics_px: [[[10, -10], [20, -10], [30, 0]], [[40, 10], [50, 10], [60, 0]]], closed: false };
const CORNER = { start_px: [0, 0], cubics_px: [[[10, 0], [20, 0], [30, 0]], [[30, 10], [30, 20], [30, 30]]], closed: false };

const at = (trace, node, which) => nodesOf(trace).find((one) => one.node === node && one.which === which)?.at;
const near = (a, b) => a.every((value, i) => Math.abs(value - b[i]) < 1e-9);

test("every node and every handle that is not on its node can be grabbed", () => {
  assert.equal(nodesOf(WAVE).filter(({ which }) => which === "node").length, 3);
  assert.equal(nodesOf(WAVE).length, 7);
  assert.deepEqual(at(WAVE, 1, "in"), [20, -10]);
});

test("a moved node takes its handles along and leaves all else", () => {
  const moved = movedTrace(WAVE, 1, "node", [33, 4]);

  assert.deepEqual(moved.cubics_px[0], [[10, -10], [23, -6], [33, 4]]);
  assert.deepEqual(moved.cubics_px[1], [[43, 14], [50, 10], [60, 0]]);
  assert.deepEqual(moved.start_px, [0, 0]);
  assert.deepEqual(WAVE.cubics_px[0][2], [30, 0]); // the one given is as it was
});

test("at a smooth node the other handle turns along and keeps its length", () => {
  const moved = movedTrace(WAVE, 1, "out", [30, 20]);

  assert.ok(near(moved.cubics_px[1][0], [30, 20]));
  assert.ok(near(moved.cubics_px[0][1], [30, -Math.hypot(10, 10)]));
});

test("at a corner the other handle stays", () => {
  const moved = movedTrace(CORNER, 1, "out", [45, 10]);

  assert.deepEqual(moved.cubics_px[0], CORNER.cubics_px[0]);
});

test("a closed trace still ends exactly where it starts after any node was moved", () => {
  const ring = curveThrough([[0, 0], [100, 0], [100, 100], [0, 100]], [], true);
  for (const node of [0, 1, 2, 3]) {
    const moved = movedTrace(ring, node, "node", [7.3, -2.1]);
    assert.deepEqual(moved.cubics_px.at(-1)[2], moved.start_px);
  }
  assert.equal(nodesOf(ring).filter(({ which }) => which === "node").length, 4);
});

test("a curve goes through its places, smoothly", () => {
  const places = [[0, 0], [40, 10], [60, 50], [200, 60]];

  const { start_px: start, cubics_px: cubics } = curveThrough(places);

  assert.deepEqual([start, ...cubics.map((cubic) => cubic[2])], places);
  for (let i = 1; i < cubics.length; i += 1) {
    const [ax, ay] = [places[i][0] - cubics[i - 1][1][0], places[i][1] - cubics[i - 1][1][1]];
    const [bx, by] = [cubics[i][0][0] - places[i][0], cubics[i][0][1] - places[i][1]];
    assert.ok(Math.abs(ax * by - ay * bx) < 1e-9 * Math.hypot(ax, ay) * Math.hypot(bx, by) + 1e-9);
    assert.ok(ax * bx + ay * by > 0);
  }
});

test("a curve through equal steps round a circle stays near the circle", () => {
  // The circle is the check from outside: radius 100, twelve places, so handles of a third of the chord are near
  // the true 4/3 tan(7.5 degrees) = 0.17553 of the radius (from memory).
  const places = [...Array(12)].map((_, i) => [100 * Math.cos((i * Math.PI) / 6), 100 * Math.sin((i * Math.PI) / 6)]);

  const { start_px: start, cubics_px: cubics } = curveThrough(places, [], true);

  let from = start;
  for (const [c1, c2, to] of cubics) {
    const middle = [0, 1].map((axis) => (from[axis] + 3 * c1[axis] + 3 * c2[axis] + to[axis]) / 8);
    assert.ok(Math.abs(Math.hypot(...middle) - 100) < 0.15);
    from = to;
  }
});

test("straight pieces joined to others keep their order and close exactly", () => {
  const one = joined([straightThrough([[0, 0], [10, 0]]), straightThrough([[10, 0], [10, 10]]), straightThrough([[10, 10], [0.001, 0]])], true);

  assert.equal(one.cubics_px.length, 3);
  assert.deepEqual(one.cubics_px.at(-1)[2], [0, 0]);
});
