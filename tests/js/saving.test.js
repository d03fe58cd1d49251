// What is said of saving: never "All saved" while anything waits, is refused, or can't be known.
import assert from "node:assert/strict";
import { test } from "node:test";
import { sendingOf, unjudged } from "../../static/js/bench/saving.js";

const calm = { isOut: false, trouble: null, hasReadings: true };
const [waits, refused] = [{}, { refusal: { status: 422 } }];

test("all is saved only where nothing waits and somebody is logged in", () => {
  assert.deepEqual(sendingOf([], calm), { state: "saved", words: "All saved." });
  assert.deepEqual(sendingOf([], { ...calm, hasReadings: false }), { state: "empty", words: "" });
  for (const left of [[waits], [refused], [waits, refused]]) assert.notEqual(sendingOf(left, calm).state, "saved");
  assert.notEqual(sendingOf([], { ...calm, isOut: true }).state, "saved");
});

test("what was refused is told before what waits, and why it waits", () => {
  const trouble = { text: "No network." };
  assert.deepEqual(sendingOf([refused, waits, waits], { ...calm, trouble }), { state: "failed", words: "1 not saved. 2 waiting. No network." });
  assert.deepEqual(sendingOf([waits], { ...calm, trouble }), { state: "waiting", words: "1 waiting. No network." });
  assert.deepEqual(sendingOf([refused], calm), { state: "failed", words: "1 not saved." });
});

test("no verdict stands while a reading is not saved, or was saved after it", () => {
  const now = { isBehind: false, isStale: false };
  assert.equal(unjudged([], now), "");
  assert.equal(unjudged([waits], now), "1 reading waits to be saved");
  assert.equal(unjudged([waits, waits, refused], now), "2 readings wait to be saved, 1 reading is not saved");
  assert.equal(unjudged([], { ...now, isBehind: true }), "the last reading is being looked at");
  assert.equal(unjudged([], { ...now, isStale: true }), "it is read in another frame by now");
});
