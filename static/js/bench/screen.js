// The bench screen: digits go into the cell that is read now, and each reading is kept, drawn and sent by itself.
//
// A simulated needle fills a reading in with a "bench:read" event on the document, {speed_rpm, falling,
// advance_deg}; what is read now stands in the screen's data-speed and data-falling,
// both empty but for the sweep.
import { plain } from "../numbers.js";
import { find, newKey, put, send, waiting } from "../outbox.js";
import { Cells, starting } from "./cells.js";
import { RunCurve } from "./curve.js";
import { Panel } from "./panel.js";
import { Records } from "./records.js";
import { CellTable } from "./table.js";
import { showTrouble } from "./trouble.js";
import { edited, meantBy, oddness, ruleOf, ruleOfRow, spoken, taken } from "./typed.js";

const POLL_MS = 3000;

const root = document.querySelector("[data-bench]");
const isCoarse = () => matchMedia("(pointer: coarse)").matches;
const byId = (id) => document.getElementById(id);
const data = JSON.parse(byId("bench-data").textContent);
const input = byId("bench-value");
const units = data.grids.flatMap((grid) => grid.units);
const records = new Records(data, new Map(units.map((unit) => [unit.key, unit.kpa])), { find, waiting });
const cells = new Cells(records), curve = new RunCurve(byId("run-chart"), data);
const panel = new Panel(root, data, { records, cells, curve });
const part = (name) => panel.part(name);
const table = new CellTable(part("cells"), cells, (cell) => (cell ? choose(cell) : askForRow()));
const history = []; // what was typed here, for taking it back: address, kind, and the values before
let grid = data.grids[0], unit = null, isAsking = false, isOut = false, isStale = false;

const shown = () => ({ grid, unit, isAsking, isOut, isStale, canUndo: Boolean(history.length || newest()) });

// What is typed

function write(text) {
  input.value = text;
  say("");
}

const press = (key) => (key === "Enter" ? keep() : write(edited(input.value, key, input.hasAttribute("aria-invalid"))));

function keep() {
  if (isAsking) return addRow();
  const cell = cells.selected;
  if (!input.value.trim()) return choose(cells.following(cell) ?? cell);
  const { number, text, why } = taken(input.value, ruleOf(grid));
  if (why) return refuse(why);
  const odd = oddness(grid, starting(cell.name), number);
  const values = { ...spoken(cell.at), [grid.value]: text };
  const { record } = cell;
  const address = record?.address ?? records.address(newKey());
  history.push({ address, kind: grid.kind, before: record ? spoken(record.values) : null });
  change(address, record, { values, gone: false });
  cells.again = null;
  cells.lay();
  curve.draw(records);
  choose(cells.following(cells.all.find((one) => one.id === cell.id)) ?? cells.all.find((one) => one.id === cell.id));
  warn(odd);
}

// Put a reading on its way; what is on its way already keeps the version that it set out from. What goes along is
// told of on whatever page it waits.
function change(address, record, wanted) {
  const told = { kind: grid.kind, frame: data.frame, speedUnit: grid.speed_unit, where: data.where, page: data.page };
  byId("bench-state").dataset.address = address;
  put(address, { ...wanted, version: record?.isPending ? undefined : record?.version ?? null, ...told });
}

function warn(odd) {
  const place = byId("bench-unusual");
  place.textContent = odd;
  place.hidden = !odd;
}

function say(why) {
  const place = byId("bench-wrong");
  place.textContent = why;
  place.hidden = !why;
  if (why) input.setAttribute("aria-invalid", "true");
  else input.removeAttribute("aria-invalid");
}

// What is refused stays to be read, and the next digit begins anew: on the pad (see edited) and on a keyboard.
function refuse(why) {
  say(why);
  if (document.activeElement === input) input.select();
}

// A row that no preset has

function askForRow() {
  isAsking = true;
  write("");
  render();
  if (document.activeElement?.matches("[data-other]")) input.focus({ preventScroll: true }); // it was asked for by keys
}

function addRow() {
  const { number, why } = taken(input.value, ruleOfRow(grid, unit));
  if (why) return refuse(why);
  isAsking = false;
  warn("");
  choose(cells.addRow(number * (unit?.kpa ?? 1)));
}

// Going about in the grid

function choose(cell, text = "") {
  isAsking = false;
  cells.select(cell);
  write(text);
  render();
}

function open(kind) {
  warn("");
  grid = data.grids.find((one) => one.kind === kind);
  openIn(grid.units[0] ?? null);
}

function openIn(measured) {
  unit = measured;
  cells.show(grid, unit);
  choose(cells.selected);
}

function key(event) {
  if (event.altKey || event.ctrlKey || event.metaKey || event.defaultPrevented) return;
  const { target } = event, isOurs = target === input;
  if (!isOurs && target.matches("input, select, textarea")) return;
  const acts = Boolean(target.closest("button, a, summary") && !target.closest("[data-cell]"));
  const meant = meantBy(event.key, { isOurs, acts, isAsking, text: input.value });
  if (!meant) return;
  event.preventDefault();
  if (meant.move) choose(cells.moved(...meant.move));
  else if (meant.keep) keep();
  else if (meant.leave) choose(cells.selected);
  else if (meant.clear) write("");
  else press(meant.press);
}

// Taking back the last

function undo() {
  warn("");
  const last = history.pop() ?? newest();
  if (!last) return;
  const record = records.list(last.kind).find((one) => one.address === last.address);
  if (!record) return render();
  if (grid.kind !== last.kind) open(last.kind);
  const text = plain(record.values[grid.value]);
  const id = cells.all.find((cell) => cell.record?.address === last.address)?.id;
  change(last.address, record, last.before ? { values: last.before, gone: false } : { values: spoken(record.values), gone: true });
  cells.lay();
  curve.draw(records);
  choose(cells.all.find((cell) => cell.id === id) ?? cells.selected, text);
}

// After a reload: the last that the run holds.
function newest() {
  const record = records.list(grid.kind).at(-1);
  return record && { address: record.address, kind: record.kind, before: null };
}

function retype(entry) {
  if (grid.kind !== entry.kind) open(entry.kind);
  const cell = cells.all.find((one) => one.record?.address === entry.address) ?? cells.selected;
  choose(cell, records.typed(entry, grid.value));
  input.focus();
}

// What the server knows

async function refresh() {
  if (document.hidden || !navigator.onLine) return;
  try {
    const answer = await fetch(`${data.readings}?seen=${curve.served.version}`, { redirect: "manual" });
    isOut = answer.type === "opaqueredirect";
    if (answer.status === 200) adopt(await answer.json());
    else if (isOut) render();
  } catch {
    // Out of reach: the outbox says so as soon as anything waits.
  }
}

function adopt(state) {
  isStale = state.frame !== data.frame;
  if (isStale) return panel.renderSending(shown());
  if (!records.adopt(state)) return;
  const isPast = records.waiting.length > 0;
  curve.adopt(state);
  if (isPast) curve.draw(records);
  byId("bench-checks").innerHTML = state.checks;
  if (byId("bench-headline").innerHTML !== state.headline) byId("bench-headline").innerHTML = state.headline; // read aloud once
  cells.lay();
  render();
}

function render() {
  table.render();
  panel.render(shown());
  showTrouble(part("trouble"), records, data.grids, retype);
}

// The start

panel.renderTabs("grid", data.grids.length > 1 ? data.grids : [], (one) => one.kind);
panel.renderTabs("unit", units, (one) => one.key);
records.adopt(data.state);
curve.read(data.state.version);
cells.show(grid, unit);
for (const live of root.querySelectorAll("[data-bench-live]")) live.hidden = false;
part("plain").hidden = true;
if (records.waiting.length) curve.draw(records);
render();
send();
setInterval(refresh, POLL_MS);
if (!isCoarse()) input.focus({ preventScroll: true });

// What is typed after a choice is the next reading: Enter keeps it, and does not choose once more. A tablet keeps its
// own keyboard down.
const readOn = (button) => (isCoarse() ? button.blur() : input.focus({ preventScroll: true }));

document.addEventListener("keydown", key);
input.addEventListener("input", () => say(""));
root.addEventListener("click", ({ target }) => {
  const pressed = target.closest("[data-key]"), asked = target.closest("[data-grid]"), measured = target.closest("[data-unit]");
  if (pressed) press(pressed.dataset.key);
  if (asked) open(asked.dataset.grid);
  if (measured) openIn(grid.units.find((one) => one.key === measured.dataset.unit));
  if (asked ?? measured) readOn(asked ?? measured);
});
// A key of the pad leaves the focus where it is: in the reading, or nowhere on a tablet.
part("pad").addEventListener("pointerdown", (event) => event.preventDefault());
part("undo").addEventListener("click", undo);
part("again").addEventListener("click", () => choose(cells.readAgain()));
document.addEventListener("outbox:changed", () => { cells.lay(); if (!cells.selected) cells.select(cells.following(null) ?? cells.all[0]); render(); });
document.addEventListener("outbox:saved", ({ detail }) => {
  if (detail.frame === data.frame) records.saved(detail);
  else isStale = true;
  cells.lay();
  render();
  if (!records.waiting.some((entry) => !entry.refusal)) refresh();
});
document.addEventListener("bench:read", ({ detail }) => {
  if (grid.kind !== "reading") open("reading");
  const here = cells.all.filter((one) => one.at.speed_rpm === detail.speed_rpm && one.at.falling === detail.falling);
  const cell = here.find((one) => !one.record) ?? here[0];
  if (cell) choose(cell, plain(detail.advance_deg));
});
