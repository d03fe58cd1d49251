// What one reading is to the band, in the frame of its run.
import assert from "node:assert/strict";
import { test } from "node:test";
import { verdictOn } from "../../static/js/bench/verdict.js";

// Of the crank: straight from 0 at 1000 rpm to 20 at 3000, a degree either way.
const band = { rpm: [1000, 3000], low: [-1, 19], high: [1, 21] };
const shaft = { frame_name: "distributor", to_crank: 2 }, crank = { frame_name: "crank", to_crank: 1 };
const reading = (speed_rpm, advance_deg) => ({ kind: "reading", values: { speed_rpm, advance_deg } });

test("a run read in distributor degrees is held against the band of the crank, and told in its own", () => {
  assert.deepEqual(verdictOn(reading(1000, 5), band, shaft), { kind: "in", words: "1000 distributor rpm, 5.0 distributor deg: in the band" });
  assert.equal(verdictOn(reading(1000, 6), band, shaft).words, "1000 distributor rpm, 6.0 distributor deg: 0.5 distributor deg over the band");
  assert.equal(verdictOn(reading(2000, 8), band, crank).words, "2000 crank rpm, 8.0 crank deg: 1.0 crank deg under the band");
});

test("the edges belong to the band", () => {
  for (const deg of [9, 11]) assert.equal(verdictOn(reading(2000, deg), band, crank).kind, "in");
});

test("nothing is said where there is no band, beyond it, or of what is no reading", () => {
  const none = { kind: "none", words: "" };
  assert.deepEqual(verdictOn(reading(2000, 10), null, crank), none);
  assert.deepEqual(verdictOn(reading(3100, 10), band, crank), none);
  assert.deepEqual(verdictOn({ kind: "dwell", values: { speed_rpm: 2000, advance_deg: 10 } }, band, crank), none);
  assert.deepEqual(verdictOn(undefined, band, crank), none);
});
