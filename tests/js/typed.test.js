// What is typed at the pad: which key means what, what is refused, and what is kept and asked about.
import assert from "node:assert/strict";
import { test } from "node:test";
import { edited, meantBy, oddness, ruleOf, ruleOfRow, spoken, taken } from "../../static/js/bench/typed.js";

const grid = {
  value_name: "Advance", unit: "distributor deg", limits: [-20, 90], usual: [-2, 30], beside: "A bench shows no more.",
  other: { name: "Vacuum", unit: "kPa", limits: [0, 101], beside: "" },
};
const idle = { isOurs: false, acts: false, isAsking: false, text: "" };

test("digits, marks and signs are the pad's wherever the focus is, but in the reading", () => {
  for (const key of ["7", ".", ",", "-", "Backspace"]) {
    assert.deepEqual(meantBy(key, idle), { press: key });
    assert.equal(meantBy(key, { ...idle, isOurs: true }), null, key);
  }
  for (const key of ["a", "e", "Tab", " ", "F5"]) assert.equal(meantBy(key, idle), null, key);
});

test("a button that acts by itself keeps its own keys", () => {
  for (const key of ["Enter", "ArrowDown", "Backspace"]) assert.equal(meantBy(key, { ...idle, acts: true }), null, key);
});

test("arrows move, but along a text that is being typed", () => {
  assert.deepEqual(meantBy("ArrowLeft", idle), { move: [0, -1] });
  assert.equal(meantBy("ArrowLeft", { ...idle, isOurs: true, text: "7" }), null);
  assert.deepEqual(meantBy("ArrowDown", { ...idle, isOurs: true, text: "7" }), { move: [1, 0] });
});

test("escape leaves the question first, then the text", () => {
  assert.deepEqual(meantBy("Escape", { ...idle, isAsking: true, text: "7" }), { leave: true });
  assert.deepEqual(meantBy("Escape", { ...idle, text: "7" }), { clear: true });
  assert.equal(meantBy("Escape", idle), null);
});

test("the sign can come after, and goes again", () => {
  assert.equal(edited("2", "-", false), "−2");
  assert.equal(edited("−2", "-", false), "2");
  assert.equal(edited("-2", "-", false), "2");
});

test("what was refused gives way to the next digit, but not to the next correction", () => {
  assert.equal(edited("999", "7", true), "7");
  assert.equal(edited("999", "Backspace", true), "99");
});

test("what no instrument shows is refused with its unit and the way out", () => {
  assert.equal(taken("91", ruleOf(grid)).why, "Advance of 91 distributor deg is not possible: write −20 to 90. A bench shows no more.");
  assert.match(taken("−20.5", ruleOf(grid)).why, /Advance of −20.5 distributor deg is not possible/);
  for (const typed of ["", "NaN", "Infinity", "1e1", "7.5.", "--7", "7 deg"]) assert.ok(taken(typed, ruleOf(grid)).why, typed);
});

test("the ends of what is possible are possible", () => {
  assert.equal(taken("90", ruleOf(grid)).number, 90);
  assert.equal(taken("−20", ruleOf(grid)).number, -20);
});

test("a text is sent as it was typed where it means one thing to everyone, else plainly", () => {
  assert.deepEqual(taken(" 7,5 ", ruleOf(grid)), { number: 7.5, text: "7,5" });
  assert.deepEqual(taken("7.125", ruleOf(grid)), { number: 7.125, text: "7.1250" });
});

test("another vacuum is asked for between its limits in the unit that is shown", () => {
  const rule = ruleOfRow(grid, { name: "inHg", kpa: 3.386389 }); // NIST SP 811
  assert.deepEqual([rule.unit, rule.limits], ["inHg", [0, 29.8]]);
  assert.ok(taken("101", rule).why);
  assert.deepEqual(ruleOfRow(grid, null).limits, [0, 101]);
});

test("what is unusual is kept and asked about, what is usual is not", () => {
  assert.match(oddness(grid, "500 distributor rpm, rising", 45), /^500 distributor rpm, rising: 45 distributor deg is unusual, −2 to 30 /);
  for (const number of [-2, 0, 30]) assert.equal(oddness(grid, "here", number), "");
  assert.equal(oddness({ unit: "deg" }, "here", 999), "");
});

test("numbers go as text that nobody takes for thousands, flags as they are", () => {
  assert.deepEqual(spoken({ speed_rpm: 1.125, falling: false, cylinder: 3 }), { speed_rpm: "1.1250", falling: false, cylinder: "3" });
});
