// Readings as the server has them, and over them those that are on their way: what stands, and how far it is saved.
import assert from "node:assert/strict";
import { test } from "node:test";
import { Records } from "../../static/js/bench/records.js";

const BASE = "/runs/1/readings/";
const row = (key, values, version = 1) => ({ key, kind: "reading", version, values: { speed_rpm: 500, falling: false, ...values } });

function opened(rows = [row("a", { advance_deg: 2 })]) {
  const kept = new Map();
  const outbox = { find: (address) => kept.get(address) ?? null, waiting: () => [...kept.values()] };
  const run = { readings: BASE, frame: "shaft", other_frame: 2 };
  const records = new Records(run, new Map([["inhg", 3.386389]]), outbox); // NIST SP 811
  records.adopt({ version: 5, rows });
  const wait = (key, entry) => kept.set(`${BASE}${key}/`, { address: `${BASE}${key}/`, kind: "reading", values: {}, ...entry });
  return { records, kept, wait };
}

const said = (records) => records.list("reading").map(({ key, values, state }) => [key, values.advance_deg, state]);

test("what waits stands over what is saved", () => {
  const { records, wait } = opened();
  assert.deepEqual(said(records), [["a", 2, "saved"]]);
  wait("a", { values: { speed_rpm: "500", falling: false, advance_deg: "3,5" } });
  assert.deepEqual(said(records), [["a", 3.5, "waiting"]]);
});

test("what was never saved stands after what was", () => {
  const { records, wait } = opened();
  wait("b", { values: { speed_rpm: "900", falling: false, advance_deg: "−1" } });
  assert.deepEqual(said(records), [["a", 2, "saved"], ["b", -1, "waiting"]]);
});

test("taken back it is gone, and refused it comes back as it was saved", () => {
  const { records, wait } = opened();
  wait("a", { gone: true, values: {} });
  assert.deepEqual(said(records), []);
  wait("a", { gone: true, values: {}, refusal: { status: 409 } });
  assert.deepEqual(said(records), [["a", 2, "failed"]]);
});

test("another run's readings are not this one's", () => {
  const { records, kept } = opened();
  kept.set("/runs/2/readings/x/", { address: "/runs/2/readings/x/", kind: "reading", values: { advance_deg: "9" } });
  assert.deepEqual(said(records), [["a", 2, "saved"]]);
  records.saved({ entry: { address: "/runs/2/readings/x/" }, reading: row("x", { advance_deg: 9 }), version: 9 });
  assert.equal(records.version, 5);
});

test("an answer older than one already taken is left", () => {
  const { records } = opened();
  assert.equal(records.adopt({ version: 4, rows: [] }), false);
  assert.deepEqual(said(records), [["a", 2, "saved"]]);
});

test("what was typed in the other frame is shown in the run's", () => {
  const { records, wait } = opened([]);
  wait("b", { frame: "crank", values: { speed_rpm: "1000", falling: false, advance_deg: "10" } });
  const [{ values }] = records.list("reading");
  assert.deepEqual([values.speed_rpm, values.advance_deg], [500, 5]);
  assert.equal(records.typed(records.waiting[0], "advance_deg"), "5");
});

test("a vacuum typed in inches of mercury is held in kPa", () => {
  const { records } = opened([]);
  const { vacuum_kpa: kpa } = records.numbers({ kind: "vacuum", values: { unit: "inhg", vacuum_kpa: "10", advance_deg: "3" } });
  assert.equal(kpa.toFixed(5), "33.86389");
});
