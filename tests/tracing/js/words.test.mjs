import assert from "node:assert/strict";
import { test } from "node:test";
import { makePrefs } from "../../../tracing/static/js/hints.js";
import { keyName } from "../../../tracing/static/js/keys.js";
import { headlineOf } from "../../../tracing/static/js/readout.js";
import { ago, allFindings, counted, doneSteps, filesAreOf, give, mm, off, STEPS, toolWords } from "../../../tracing/static/js/words.js";

const job = (more = {}) => ({ knowns: [], ignore: [], corners: null, measures: [], sheet: { origin_px: null, trust_size: false, dpi: null }, notes: "", grid: null, ...more });
const state = (results, more = {}) => ({ job: job(), results, tasks: [], revision: 0, ...more });

test("nothing is ticked for having been visited", () => {
  assert.deepEqual([...doneSteps(null)], []);
  assert.deepEqual([...doneSteps(state({}))], ["open"]);
});

test("a scale that is not settled ticks neither itself nor the pages that hang on it", () => {
  const pages = { ok: true, words: "12 A4 sheets" };

  const loud = doneSteps(state({ scale: { ok: true, settled: false, kind: "photo" }, pages }));
  const calm = doneSteps(state({ scale: { ok: true, settled: true, kind: "photo" }, pages }));

  assert.equal(loud.has("scale") || loud.has("size"), false);
  assert.equal(calm.has("scale") && calm.has("size"), true);
});

test("a border that was turned down does not flatten", () => {
  const seen = { ok: true, border_px: [[0, 0]] };

  assert.equal(doneSteps(state({ seen })).has("flatten"), true);
  assert.equal(doneSteps({ ...state({ seen }), job: job({ ignore: ["drawn border"] }) }).has("flatten"), false);
});

test("files are of the job until something that shows in them changes", () => {
  const task = { job: job({ fraction: "1/2" }) };

  assert.equal(filesAreOf(task, job({ fraction: "1/2", notes: "glue" })), true);
  assert.equal(filesAreOf(task, job({ fraction: "1/3" })), false);
  assert.equal(filesAreOf(task, job({ fraction: "1/2", grid: { origin_mm: [1, 2] } })), false);
  assert.equal(filesAreOf({ job: null }, job()), null);
});

test("the headline is the first thing that is missing, or the pages' own words", () => {
  assert.equal(headlineOf(state({ pages: { ok: true, words: "12 A4 sheets, 990 mm, give or take 0.6 mm" } })), "12 A4 sheets, 990 mm, give or take 0.6 mm");
  assert.equal(headlineOf(state({ seen: { ok: false, error: "No picture." } })), "No picture.");
  assert.match(headlineOf(state({ seen: { ok: true }, scale: { ok: false, error: "Nothing tells the scale: add --known." } })), /Mark one length/);
  const given = { ...state({ seen: { ok: true }, scale: { ok: false, error: "They disagree." } }), job: job({ knowns: [{}] }) };
  assert.equal(headlineOf(given), "They disagree.");
  assert.equal(headlineOf({ ...given, results: { ...given.results, pages: { ok: true, words: "of the job before" } } }), "They disagree.");
});

test("what must be decided comes first, and once", () => {
  const note = { code: "a", level: "note", about: "x", text: "t" };
  const decide = { code: "b", level: "decide", about: "y", text: "u" };

  const found = allFindings({ seen: { findings: [note] }, scale: { findings: [note, decide] } });

  assert.deepEqual(found, [decide, note]);
});

test("lengths are written as finely as a rule tells", () => {
  assert.deepEqual([990.24, 1234.5, 0.06, -26.42, Number.NaN, null].map(mm), ["990.2 mm", "1235 mm", "0.06 mm", "-26.4 mm", "", ""]);
});

// The same figures as the report's: examples are those of drawing/format.py and its tests.
test("a give or take never promises too much, and off has its sign", () => {
  assert.deepEqual([0.30000000000000004, 0.31, 0.04, 0.041, 11.2, Infinity].map(give), ["0.3 mm", "0.4 mm", "0.04 mm", "0.05 mm", "12 mm", "unknown"]);
  assert.deepEqual([0.12, -1.4, 0.001, -0.001].map(off), ["+0.12 mm", "−1.4 mm", "0.00 mm", "0.00 mm"]);
});

test("times and counts are plain", () => {
  const now = Date.parse("2026-01-10T12:00:00Z");

  assert.equal(ago("2026-01-10T11:59:30Z", now), "just now");
  assert.equal(ago("2026-01-10T11:00:00Z", now), "60 minutes ago");
  assert.equal(ago("2026-01-07T12:00:00Z", now), "3 days ago");
  assert.equal(ago("no date", now), "");
  assert.equal(counted(1, "sheet"), "1 sheet");
  assert.equal(counted(12, "sheet"), "12 sheets");
});

test("every tool but the hand says what it waits for", () => {
  for (const tool of ["mark", "corner", "straight", "across", "trace", "straightline", "curve", "choose", "rub", "region", "measure", "grid"]) {
    assert.ok(toolWords(tool).length > 10, tool);
  }
  assert.equal(toolWords("pan"), "");
  assert.equal(STEPS.length, 7);
});

test("keys are named as the list shows them", () => {
  const key = (name, more = {}) => keyName({ key: name, ctrlKey: false, metaKey: false, altKey: false, shiftKey: false, ...more });

  assert.equal(key("Z", { ctrlKey: true, shiftKey: true }), "ctrl+shift+z");
  assert.equal(key("z", { metaKey: true }), "ctrl+z");
  assert.equal(key("?", { shiftKey: true }), "?");
  assert.equal(key("ArrowLeft", { shiftKey: true }), "shift+arrowleft");
});

test("the page's own choices live in one cookie and survive odd values", () => {
  const jar = { cookie: "" };
  const prefs = makePrefs(jar);

  prefs.set("theme", "dark");
  prefs.set("hints", "a.b;=&:");

  assert.match(jar.cookie, /^scantling-page=[^; ]*; Max-Age=31536000; Path=\/; SameSite=Strict$/);
  assert.equal(makePrefs({ cookie: `other=1; ${jar.cookie.split(";")[0]}` }).get("hints"), "a.b;=&:");
  prefs.set("theme", null);
  assert.equal(prefs.get("theme"), null);
});
