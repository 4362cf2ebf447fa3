import assert from "node:assert/strict";
import { test } from "node:test";

import { marksOf, moveCommand, removeCommand } from "../../../tracing/static/js/marks.js";

const mark = (x, y, settled = "as given") => ({ x_px: x, y_px: y, settled });
const JOB = {
  knowns: [{ start: mark(1, 2, "ink"), end: mark(101, 2), text: "36 in", on_paper: false }],
  checks: [{ start: mark(5, 5), end: mark(9, 9), text: "1 in" }],
  corners: { marks: [mark(0, 0), mark(10, 0), mark(10, 8), mark(0, 8)], size_text: null },
  across: { start: mark(0, 50), end: mark(90, 51, "ink") },
  straights: [{ start: mark(1, 1), end: mark(2, 2) }],
  measures: [{ kind: "angle", marks: [mark(1, 0), mark(0, 0), mark(0, 1)], note: "dihedral" }],
  traces: [{ start_px: [0, 0], cubics_px: [[[1, 0], [2, 0], [3, 0]]], closed: false }],
  regions: [{ points_px: [[0, 0], [5, 0], [5, 5]], keep: "in" }],
  build_length: { start: mark(3, 3), end: mark(30, 3), text: "990 mm" },
};
const STATE = { job: JOB, results: { scale: { observed: [{ label: "known distance 1", loud: true, short: "12 mm too long", residual_mm: 12, u95_mm: 0.4 }] } } };

test("every mark of the job has a name of its own that says what and which", () => {
  const { marks } = marksOf(STATE);

  assert.equal(marks.length, 2 + 2 + 2 + 4 + 2 + 2 + 3);
  assert.equal(new Set(marks.map(({ id }) => id)).size, marks.length);
  assert.equal(marks[0].name, "Known distance 1, 36 in, does not agree, first end");
  assert.ok(marks.some(({ name }) => name === "Corner, lower right"));
});

test("a length that does not agree is loud, with the program's words", () => {
  const band = marksOf(STATE).bands.find(({ key }) => key === "known:0");

  assert.equal(band.loud, true);
  assert.equal(band.words, "12 mm too long");
  assert.equal(marksOf(STATE).bands.find(({ key }) => key === "check:0").loud, false);
});

test("nodes of a trace are marks only while it is selected", () => {
  const { marks } = marksOf(STATE, { kind: "trace", index: 0 });

  assert.deepEqual(marks.filter(({ kind }) => kind === "trace").map(({ which }) => which), ["0.node", "0.out", "1.node", "1.in"]);
});

test("moving one end says nothing of the other where the command can do without", () => {
  assert.deepEqual(moveCommand(STATE, { kind: "known", index: 0, which: "end" }, [7, 8], true), {
    do: "set_known", index: 0, end: { x_px: 7, y_px: 8, snap: true },
  });
  assert.deepEqual(moveCommand(STATE, { kind: "corner", index: 0, which: "2" }, [7, 8], false), {
    do: "move_corner", index: 2, mark: { x_px: 7, y_px: 8, snap: false },
  });
});

test("the end that stays, stays as it was settled", () => {
  const command = moveCommand(STATE, { kind: "across", index: 0, which: "start" }, [7, 8], false);

  assert.deepEqual(command.end, { x_px: 90, y_px: 51, snap: true });
  assert.deepEqual(command.start, { x_px: 7, y_px: 8, snap: false });
});

test("each kind of mark can be moved and, but for the length to come out at, removed", () => {
  const all = marksOf(STATE, { kind: "trace", index: 0 }).marks.concat(marksOf(STATE, { kind: "region", index: 0 }).marks);
  for (const one of all) {
    assert.match(moveCommand(STATE, one, [1.5, 2.5], false).do, /^(set_|move_)/);
    if (one.kind !== "build") assert.match(removeCommand(one).do, /^(remove_|clear_)/);
  }
});

test("an area of hundreds of points is one thing to grab, drawn through all of them", () => {
  const many = [...Array(300)].map((_, i) => mark(Math.cos(i / 48), Math.sin(i / 48)));
  const state = { job: { measures: [{ kind: "area", marks: many, note: "" }] }, results: {} };

  const { marks, bands } = marksOf(state);

  assert.equal(marks.length, 1);
  assert.equal(bands[0].line.length, 300);
});

test("a length that the scale cannot be set with is loud", () => {
  const error = "Known distance 1 (36 in) and the drawn border do not agree: check their marks and figures.";
  const loud = marksOf({ job: JOB, results: { scale: { ok: false, error } } }).bands.filter((band) => band.loud);

  assert.deepEqual(loud.map((band) => band.key), ["known:0"]);
  assert.equal(marksOf({ job: JOB, results: { scale: { ok: false, error: "Known distance 12 is wrong." } } }).bands.some((band) => band.loud), false);
});
