import assert from "node:assert/strict";
import { test } from "node:test";
import { Refused } from "../../../tracing/static/js/server.js";
import { makeStore, stillApplies } from "../../../tracing/static/js/store.js";
import { same } from "../../../tracing/static/js/same.js";

const JOB = { knowns: [], corners: null, sheet: { origin_px: null }, grid: null };
const undo = { can: false, words: "" };

/** A program that keeps a list of known distances, as the real one does: every change needs the newest revision. */
function program() {
  const at = { revision: 0, job: JOB, stale: 0 };
  const reply = () => ({ revision: at.revision, job: at.job, undo, redo: undo, words: "" });
  const api = {
    at, reply, handlers: null, commands: [],
    view: async () => ({ ...reply(), key: "k", name: "n", results: {}, tasks: [], tiles: { ready: false }, source: {} }),
    listen: (handlers) => {
      api.handlers = handlers;
      return () => {};
    },
    async command(base, command) {
      await null;
      if (base !== at.revision) throw new Refused("stale", 409, { stale: true, reply: reply() });
      api.commands.push(command);
      at.revision += 1;
      if (command.do === "add_known") at.job = { ...at.job, knowns: [...at.job.knowns, { text: command.text }] };
      if (command.do === "remove_known") at.job = { ...at.job, knowns: at.job.knowns.filter((_, index) => index !== command.index) };
      return reply();
    },
    async undo(base) {
      if (base !== at.revision) throw new Refused("stale", 409, { stale: true, reply: reply() });
      at.revision += 1;
      return reply();
    },
  };
  return api;
}

async function opened(api) {
  const store = makeStore(api);
  await store.follow("k");
  return store;
}

test("gestures made while an answer is awaited go out one after another, each on top of the last", async () => {
  const api = program();
  const store = await opened(api);

  await Promise.all(["1 in", "2 in", "3 in"].map((text) => store.do({ do: "add_known", text })));

  assert.deepEqual(store.state.job.knowns.map((known) => known.text), ["1 in", "2 in", "3 in"]);
  assert.equal(store.state.revision, 3);
});

test("a command that another tab overtook is sent once more when it still means the same", async () => {
  const api = program();
  const store = await opened(api);
  await api.command(0, { do: "add_known", text: "theirs" });

  await store.do({ do: "add_known", text: "mine" });

  assert.deepEqual(store.state.job.knowns.map((known) => known.text), ["theirs", "mine"]);
});

test("a command about the second of a list is not sent when another tab took out the first", async () => {
  const api = program();
  const store = await opened(api);
  await store.do({ do: "add_known", text: "a" });
  await store.do({ do: "add_known", text: "b" });
  await api.command(2, { do: "remove_known", index: 0 });

  await assert.rejects(store.do({ do: "remove_known", index: 1 }), /Another window/);

  assert.deepEqual(api.at.job.knowns.map((known) => known.text), ["b"]);
  assert.deepEqual(store.state.job.knowns.map((known) => known.text), ["b"]);
});

test("undo never takes back what another tab did at the same moment", async () => {
  const api = program();
  const store = await opened(api);
  await api.command(0, { do: "add_known", text: "theirs" });

  await assert.rejects(store.undo(), /Another window/);

  assert.equal(api.at.revision, 1);
  assert.equal(store.state.revision, 1);
});

test("one refused command does not stop the next", async () => {
  const api = program();
  const store = await opened(api);
  const command = api.command;
  api.command = async () => {
    api.command = command;
    throw new Refused("no unit", 422, {});
  };

  const first = store.do({ do: "add_known", text: "36" });
  const second = store.do({ do: "add_known", text: "36 in" });

  await assert.rejects(first, /no unit/);
  await second;
  assert.equal(store.state.job.knowns.length, 1);
});

test("older news changes nothing", async () => {
  const api = program();
  const store = await opened(api);
  const old = api.reply();
  await store.do({ do: "add_known", text: "a" });

  api.handlers.state(old);
  api.handlers.results({ stage: "scale", of: 1, value: { ok: true, words: "new" } });
  api.handlers.results({ stage: "scale", of: 0, value: { ok: true, words: "old" } });

  assert.equal(store.state.job.knowns.length, 1);
  assert.equal(store.state.results.scale.words, "new");
});

test("a result that stands as it was moves on to its new revision", async () => {
  const api = program();
  const store = await opened(api);
  api.handlers.results({ stage: "scale", of: 0, value: { ok: true, words: "as is" } });
  await store.do({ do: "add_known", text: "a" });
  assert.equal(store.isFresh("scale"), false);

  api.handlers.results({ stage: "scale", of: 1, same: true });

  assert.equal(store.state.results.scale.words, "as is");
  assert.equal(store.isFresh("scale"), true);
});

test("what was chosen is let go when it is gone", async () => {
  const api = program();
  const store = await opened(api);
  await store.do({ do: "add_known", text: "a" });
  store.select({ kind: "known", index: 0 });

  await store.do({ do: "remove_known", index: 0 });

  assert.equal(store.selection, null);
});

test("progress that comes after the end does not begin a task anew", async () => {
  const api = program();
  const store = await opened(api);
  api.handlers.task({ task: "t", kind: "export", state: "running", share: 0, files: [] });
  api.handlers.task({ task: "t", kind: "export", state: "done", share: 1, files: ["pages.pdf"] });

  api.handlers.progress({ task: "t", kind: "export", stage: "writing", share: 0.5 });

  assert.equal(store.state.tasks.length, 1);
  assert.equal(store.state.tasks[0].state, "done");
  assert.equal(store.state.tasks[0].share, 1);
});

test("which commands still apply is told by what they name", () => {
  const before = { knowns: [{ text: "a" }, { text: "b" }], corners: { marks: [1] } };

  assert.equal(stillApplies({ do: "set_known", index: 0 }, before, { knowns: [{ text: "a" }] }), true);
  assert.equal(stillApplies({ do: "set_known", index: 1 }, before, { knowns: [{ text: "a" }] }), false);
  assert.equal(stillApplies({ do: "set_known", index: 5 }, before, before), false);
  assert.equal(stillApplies({ do: "move_corner", index: 0 }, before, { corners: { marks: [2] } }), false);
  assert.equal(stillApplies({ do: "add_known" }, before, { knowns: [] }), true);
});

test("plain data is the same when all of it is", () => {
  assert.equal(same({ a: [1, { b: null }] }, { a: [1, { b: null }] }), true);
  assert.equal(same({ a: 1 }, { a: 1, b: undefined }), false);
  assert.equal(same([], {}), false);
  assert.equal(same(null, {}), false);
});
