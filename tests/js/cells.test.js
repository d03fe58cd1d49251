// The grid of cells, driven as the screen drives it: what is read next, what is due, where the arrows go.
import assert from "node:assert/strict";
import { test } from "node:test";
import { Cells, whereOf } from "../../static/js/bench/cells.js";

const SPEEDS = [500, 1000, 1500];
const UNITS = [{ key: "kpa", name: "kPa", kpa: 1 }, { key: "inhg", name: "inHg", kpa: 3.386389 }]; // NIST SP 811

const sweep = {
  kind: "reading", name: "Sweep", value: "advance_deg", speed_unit: "distributor rpm", back: 1,
  columns: [{ label: "Rising", at: { falling: false } }, { label: "Falling", at: { falling: true } }],
  rows: SPEEDS.map((rpm) => ({ label: String(rpm), at: { speed_rpm: rpm } })),
};
const sparks = {
  kind: "spark", name: "Sparks", value: "off_deg", speed_unit: "distributor rpm", enough: 2,
  columns: [{ label: "Off", at: { speed_rpm: 1000 } }],
  rows: [1, 2, 3].map((cylinder) => ({ label: `cylinder ${cylinder}`, at: { cylinder } })),
};

// Records as the screen's, without a server behind them.
function records() {
  const rows = [];
  return {
    list: (kind) => rows.filter((row) => row.kind === kind),
    add: (kind, values) => rows.push({ kind, values, address: `${kind}/${rows.length}/` }),
  };
}

function opened(grid = sweep) {
  const known = records(), cells = new Cells(known);
  cells.show(grid, null);
  const read = (rpm, falling) => {
    known.add("reading", { speed_rpm: rpm, falling, advance_deg: 1 });
    cells.lay();
  };
  return { cells, known, read };
}

const at = (cell) => cell && `${cell.row} ${cell.column ? "falling" : "rising"}`;

test("a sweep is walked up and then down", () => {
  const { cells, read } = opened();
  const walked = [];
  for (let cell = cells.selected; cell; cell = cells.following(cell)) {
    walked.push(at(cell));
    read(cell.row, Boolean(cell.column));
  }
  assert.deepEqual(walked, ["500 rising", "1000 rising", "1500 rising", "1500 falling", "1000 falling", "500 falling"]);
  assert.ok(cells.isRead);
});

test("what a sweep has gone past is left, and it comes down no further than it set out", () => {
  const { cells, read } = opened();
  read(1000, false);
  assert.equal(at(cells.following(null)), "1500 rising");
  read(1500, false);
  assert.equal(at(cells.following(null)), "1500 falling");
  read(1500, true);
  read(1000, true);
  assert.equal(cells.following(null), undefined);
});

test("a speed that was asked for is wanted both ways, wherever the sweep is", () => {
  const { cells, read } = opened();
  for (const rpm of SPEEDS) read(rpm, false);
  const cell = cells.addRow(700);
  assert.equal(at(cell), "700 rising");
  assert.ok(cells.isDue(cell));
  assert.deepEqual(cells.lines.map((line) => line.label), ["500", "700", "1000", "1500"]);
});

test("a reading at a speed that no row has makes a row", () => {
  const { cells, read } = opened();
  read(1234, true);
  assert.deepEqual(cells.lines.map((line) => line.label), ["500", "1000", "1234", "1500"]);
});

test("a speed off by less than can be read is the same row", () => {
  const { cells, read } = opened();
  read(1000.04, false);
  assert.equal(cells.lines.length, 3);
  assert.ok(cells.all.find((cell) => cell.row === 1000 && !cell.column).record);
});

test("arrows stay in the grid", () => {
  const { cells } = opened();
  const go = (...way) => cells.select(cells.moved(...way));
  go(-1, 0);
  assert.equal(at(cells.selected), "500 rising");
  go(0, 1);
  go(0, 1);
  assert.equal(at(cells.selected), "500 falling");
  for (let step = 0; step < 9; step += 1) go(1, 0);
  assert.equal(at(cells.selected), "1500 falling");
});

test("read again, a row has one line more, and only while it is asked for", () => {
  const { cells, read } = opened();
  read(500, false);
  cells.select(cells.all[0]);
  const again = cells.readAgain();
  assert.deepEqual([at(again), again.slot, again.record], ["500 rising", 1, null]);
  assert.equal(cells.lines.length, 4);
  cells.show(sweep, null);
  assert.equal(cells.lines.length, 3);
});

test("a grid is read to the end with as many rows as are enough in one column", () => {
  const { cells, known } = opened();
  known.add("spark", { speed_rpm: 1000, cylinder: 1, off_deg: 0 });
  assert.ok(!cells.isToTheEnd(sparks));
  known.add("spark", { speed_rpm: 1500, cylinder: 2, off_deg: 0 });
  assert.ok(!cells.isToTheEnd(sparks), "at two speeds");
  known.add("spark", { speed_rpm: 1000, cylinder: 2, off_deg: 0 });
  assert.ok(cells.isToTheEnd(sparks));
});

test("a vacuum is told in the unit it is read in", () => {
  const grid = { kind: "vacuum", value: "advance_deg", speed_unit: "", columns: [{ label: "Moves", at: {} }], rows: [] };
  const known = records(), cells = new Cells(known);
  known.add("vacuum", { vacuum_kpa: 33.86389, advance_deg: 3 });
  cells.show(grid, { ...UNITS[1], rows: [] });
  assert.deepEqual(cells.lines.map((line) => line.label), ["10 inHg"]);
});

test("where a reading stands is said with its frame", () => {
  assert.equal(whereOf(sweep, { speed_rpm: 500, falling: true }), "500 distributor rpm, falling");
  assert.equal(whereOf(sparks, { speed_rpm: 1000, cylinder: 3 }), "cylinder 3 at 1000 distributor rpm");
});
