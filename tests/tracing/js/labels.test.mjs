import assert from "node:assert/strict";
import test from "node:test";
import { placeLabels } from "../../../tracing/static/js/labels.js";

const AREA = { width: 900, height: 600 };
const label = (line, more = {}) => ({ line, closed: false, width: 120, height: 18, dear: false, ...more });

// Elementary geometry: the distance from a point to the line through two others, |cross product| / length.
const offLine = ({ x, y }, [[ax, ay], [bx, by]]) => Math.abs((bx - ax) * (ay - y) - (ax - x) * (by - ay)) / Math.hypot(bx - ax, by - ay);

test("words lie beside their line, along it, in its middle", () => {
  const line = [[100, 300], [500, 200]];
  const [at] = placeLabels([label(line)], AREA);

  assert.ok(offLine(at, line) > 9 && offLine(at, line) < 30);
  assert.ok(Math.abs(at.angle - Math.atan2(-100, 400)) < 1e-9);
  assert.ok(Math.abs(at.x - 300) < 10);
});

test("words are never upside down", () => {
  for (let turn = 0; turn < 24; turn += 1) {
    const a = (turn * Math.PI) / 12;
    const [at] = placeLabels([label([[450, 300], [450 + 250 * Math.cos(a), 300 + 250 * Math.sin(a)]])], AREA);
    assert.ok(Math.cos(at.angle) > -1e-9, `${turn}`);
  }
});

test("a line of which one end is in sight has its words in sight, off that end", () => {
  const [at] = placeLabels([label([[700, 300], [-9000, 300]])], AREA);

  assert.ok(at.x - 60 > 0 && at.x + 60 < 700 - 19);
});

test("words that do not fit are left out, chosen or loud ones are not", () => {
  const short = [[400, 300], [440, 300]];
  assert.deepEqual(placeLabels([label(short)], AREA), [null]);
  assert.notEqual(placeLabels([label(short, { dear: true })], AREA)[0], null);
  assert.deepEqual(placeLabels([label([[-500, -500], [-10, -10]], { dear: true })], AREA), [null]);
});

test("no two words touch, and what must be seen comes first", () => {
  const lines = Array.from({ length: 12 }, (_, i) => label([[50, 280 + 4 * i], [850, 290 + 3 * i]], { dear: i === 11 }));
  const places = placeLabels(lines, AREA);

  assert.notEqual(places[11], null);
  const shown = places.filter(Boolean);
  assert.ok(shown.length > 1);
  for (const [i, a] of shown.entries()) {
    for (const b of shown.slice(i + 1)) assert.ok(Math.abs(a.y - b.y) >= 18 || Math.abs(a.x - b.x) >= 119, JSON.stringify([a, b]));
  }
});

test("a note's words stand by its place, an area's in its middle", () => {
  const [note, area] = placeLabels([label([[300, 200]]), label([[500, 300], [700, 300], [700, 500], [500, 500]], { closed: true })], AREA);

  assert.ok(Math.hypot(note.x - 300, note.y - 200) < 30);
  assert.deepEqual([area.x, area.y], [600, 400]);
});
