import assert from "node:assert/strict";
import { test } from "node:test";

import { newestOnly } from "../../../tracing/static/js/asking.js";

const rest = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

test("of many questions the first and the newest are sent, and only the newest is answered", async () => {
  const sent = [];
  const ask = newestOnly(async (n) => {
    sent.push(n);
    await rest(10);
    return n * 10;
  });

  const answers = await Promise.all([ask(1), ask(2), ask(3), ask(4)]);

  assert.deepEqual(sent, [1, 4]);
  assert.deepEqual(answers, [null, null, null, 40]);
});

test("a question that fails does not hold up the next", async () => {
  const heard = [];
  const ask = newestOnly(async (n) => {
    if (n === 1) throw new Error("no");
    return n;
  }, (error) => heard.push(error.message));

  assert.equal(await ask(1), null);
  assert.equal(await ask(2), 2);
  assert.deepEqual(heard, ["no"]);
});
