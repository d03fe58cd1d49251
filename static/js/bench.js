// The bench screen: digits go into the cell that is read now, and each reading is kept, drawn and sent by itself.
//
// A simulated needle fills a reading in with a "bench:read" event on the document, {speed_rpm, falling,
// advance_deg}; what is read now stands in the screen's data-speed and data-falling,
// both empty but for the sweep.
import { Cells, make, starting, whereOf } from "./benchcells.js";
import { outside, withPoints } from "./benchfigure.js";
import { doneWords, leftOf, stepWords } from "./benchnext.js";
import { plain, Records } from "./benchrecords.js";
import { showTrouble } from "./benchtrouble.js";
import { showUnjudged } from "./benchunjudged.js";
import { show } from "./draw.js";
import { plainly, understood } from "./numbers.js";
import { newKey, put, send, waiting, whyWaiting } from "./outbox.js";

const POLL_MS = 3000;
const TYPED = /^[0-9.,]$/;

const root = document.querySelector("[data-bench]");
const part = (name) => root.querySelector(`[data-bench-${name}]`);
const byId = (id) => document.getElementById(id);
const data = JSON.parse(byId("bench-data").textContent);
const input = byId("bench-value"), chart = byId("run-chart");
const units = data.grids.flatMap((grid) => grid.units);
const records = new Records(data, new Map(units.map((unit) => [unit.key, unit.kpa])));
const cells = new Cells(part("cells"), records, (cell) => (cell ? choose(cell) : askForRow()));
const history = []; // what was typed here, for taking it back: address, kind, and the values before
let grid = data.grids[0], unit = null, isAsking = false, served = null, isOut = false, isStale = false;

// What is typed

function write(text) {
  input.value = text;
  say("");
}

function press(key) {
  if (key === "Enter") return keep();
  if (key === "Backspace") return write(input.value.slice(0, -1));
  if (key === "-") return write(/^[-−]/.test(input.value) ? input.value.slice(1) : `−${input.value}`);
  write((isRefused() ? "" : input.value) + key);
}

const isRefused = () => input.hasAttribute("aria-invalid");

function keep() {
  if (isAsking) return addRow();
  const cell = cells.selected;
  if (!input.value.trim()) return choose(cells.following(cell) ?? cell);
  const { number, text, why } = taken(input.value, { name: grid.value_name, unit: grid.unit, limits: grid.limits, beside: grid.beside });
  if (why) return refuse(why);
  const odd = oddness(cell, number);
  const values = { ...spoken(cell.at), [grid.value]: text };
  const { record } = cell;
  const address = record?.address ?? records.address(newKey());
  history.push({ address, kind: grid.kind, before: record ? spoken(record.values) : null });
  put(address, { values, gone: false, version: versionFor(record), ...told() });
  byId("bench-state").dataset.address = address;
  cells.again = null;
  cells.lay();
  draw();
  choose(cells.following(cells.all.find((one) => one.id === cell.id)) ?? cells.all.find((one) => one.id === cell.id));
  warn(odd);
}

// What goes with each reading typed into this grid, to be told of on whatever page it waits.
const told = () => ({ kind: grid.kind, frame: data.frame, speedUnit: grid.speed_unit, where: data.where, page: data.page });

// What is on its way keeps the version that it set out from.
const versionFor = (record) => (record?.isPending ? undefined : record?.version ?? null);

// Numbers as they are sent: as text, like what is typed.
const spoken = (values) => Object.fromEntries(Object.entries(values).map(([name, value]) => [name, typeof value === "number" ? plainly(value) : value]));

// What is kept all the same, and told at the pad until the next reading.
function oddness(cell, number) {
  if (!grid.usual || (number >= grid.usual[0] && number <= grid.usual[1])) return "";
  const [low, high] = grid.usual.map(plain);
  return `${starting(cell.name)}: ${plain(number)} ${grid.unit} is unusual, ${low} to ${high} is what most units show. Kept; if it was mistyped, take it back.`;
}

function warn(odd) {
  const place = byId("bench-unusual");
  place.textContent = odd;
  place.hidden = !odd;
}

// What was typed as { number, text }, the text with one mark at most; or { why } it can't be kept.
function taken(typed, { name, unit: unitName, limits, beside, decimals = null }) {
  const { number, why } = understood(typed, { limits, decimals }), [low, high] = limits;
  if (why) return { why };
  if (number < low || number > high) return { why: `${name} of ${plain(number)} ${unitName} is not possible: write ${plain(low)} to ${plain(high)}. ${beside}`.trim() };
  return { number, text: AS_IT_IS.test(typed.trim()) ? typed.trim() : plainly(number) };
}

const AS_IT_IS = /^[+−-]?(\d+([.,]\d{1,2})?|[.,]\d+)$/; // means the same to everyone

function say(why) {
  const place = byId("bench-wrong");
  place.textContent = why;
  place.hidden = !why;
  if (why) input.setAttribute("aria-invalid", "true");
  else input.removeAttribute("aria-invalid");
}

// What is refused stays to be read, and the next digit begins anew: on the pad (see press) and on a keyboard.
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
  const { other } = grid, factor = unit?.kpa ?? 1;
  const asked = { ...other, unit: unit?.name ?? other.unit, limits: other.limits.map((limit) => Math.round((limit / factor) * 10) / 10) };
  const { number, why } = taken(input.value, asked);
  if (why) return refuse(why);
  isAsking = false;
  warn("");
  choose(cells.addRow(number * factor));
}

// What is typed after a choice is the next reading: Enter keeps it, and does not choose once more. A tablet
// keeps its own keyboard down.
function readOn(button) {
  if (matchMedia("(pointer: coarse)").matches) button.blur();
  else input.focus({ preventScroll: true });
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
  unit = grid.units[0] ?? null;
  cells.show(grid, unit);
  choose(cells.selected);
}

const ARROWS = { ArrowDown: [1, 0], ArrowUp: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1] };

function key(event) {
  if (event.altKey || event.ctrlKey || event.metaKey || event.defaultPrevented) return;
  const { target } = event, isOurs = target === input;
  if (!isOurs && target.matches("input, select, textarea")) return;
  const acts = target.closest("button, a, summary") && !target.closest("[data-cell]");
  const arrow = ARROWS[event.key];
  if (arrow && !acts && !(isOurs && arrow[1] && input.value)) choose(cells.moved(...arrow));
  else if (event.key === "Enter" && !acts) keep();
  else if (event.key === "Escape" && isAsking) choose(cells.selected);
  else if (event.key === "Escape" && input.value) write("");
  else if (!isOurs && (TYPED.test(event.key) || event.key === "-" || (event.key === "Backspace" && !acts))) press(event.key);
  else return;
  event.preventDefault();
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
  const change = last.before ? { values: last.before, gone: false } : { values: spoken(record.values), gone: true };
  byId("bench-state").dataset.address = last.address;
  put(last.address, { ...change, version: versionFor(record), ...told() });
  cells.lay();
  draw();
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

// The curve, and what a reading is to the band

const points = () => records.list("reading").map(({ values }) => ({
  crank_rpm: values.speed_rpm * data.to_crank,
  crank_deg: values.advance_deg * data.to_crank,
  falling: values.falling,
}));

function draw() {
  const holder = chart.querySelector("script[type='application/json']");
  holder.textContent = JSON.stringify(withPoints(served, points(), data));
  chart.dispatchEvent(new CustomEvent("chart:new", { bubbles: true }));
}

function judge(record) {
  const place = part("verdict"), { frame_name: frame, to_crank: ratio } = data;
  const { speed_rpm: rpm, advance_deg: deg } = record?.values ?? {};
  const out = record?.kind === "reading" ? outside(served.band, rpm * ratio, deg * ratio) : null;
  const far = out && `${Math.abs(out / ratio).toFixed(1)} ${frame} deg ${out > 0 ? "over" : "under"} the band`;
  const words = out ? far : out === 0 ? "in the band" : "";
  const judged = words && `${plain(rpm)} ${frame} rpm, ${deg.toFixed(1).replace("-", "−")} ${frame} deg: ${words}`;
  place.dataset.kind = out ? "out" : out === 0 ? "in" : "none";
  if (place.textContent !== judged) place.textContent = judged; // read aloud once
}

// What the server knows

async function refresh() {
  if (document.hidden || !navigator.onLine) return;
  try {
    const answer = await fetch(`${data.readings}?seen=${served.version}`, { redirect: "manual" });
    isOut = answer.type === "opaqueredirect";
    if (answer.status === 200) adopt(await answer.json());
    else if (isOut) render();
  } catch {
    // Out of reach: the outbox says so as soon as anything waits.
  }
}

function adopt(state) {
  isStale = state.frame !== data.frame;
  if (isStale) return renderSending();
  if (!records.adopt(state)) return;
  const isPast = records.waiting.length > 0;
  show(chart, state.chart);
  read(state.version);
  if (isPast) draw();
  byId("bench-checks").innerHTML = state.checks;
  if (byId("bench-headline").innerHTML !== state.headline) byId("bench-headline").innerHTML = state.headline; // read aloud once
  cells.lay();
  render();
}

// The figure as the server drew it: what is typed since is drawn over it.
function read(version) {
  served = { ...JSON.parse(chart.querySelector("script[type='application/json']").textContent), version };
}

// What is shown

function render() {
  const cell = cells.selected;
  part("what").textContent = isAsking ? grid.other.name : grid.value_name;
  part("unit").textContent = isAsking ? unit?.name ?? grid.other.unit : grid.unit;
  part("row").textContent = isAsking ? "?" : cell.rowName;
  part("rowunit").textContent = isAsking || unit ? "" : grid.kind === "spark" ? "cylinder," : `${grid.speed_unit},`;
  part("column").textContent = isAsking ? "" : cell.columnName.toLowerCase();
  input.placeholder = !isAsking && cell.record ? plain(cell.record.values[grid.value]) : "";
  const sweep = grid.kind === "reading" && !isAsking;
  Object.assign(root.dataset, { speed: sweep ? cell.at.speed_rpm : "", falling: sweep ? cell.at.falling : "" });
  cells.render();
  renderNext(cell);
  renderState();
  showTrouble(part("trouble"), records, data.grids, retype);
  for (const button of part("grids").children) button.setAttribute("aria-pressed", String(button.dataset.grid === grid.kind));
  for (const button of root.querySelectorAll("[data-unit]")) button.setAttribute("aria-pressed", String(button.dataset.unit === unit?.key));
  part("units").hidden = !unit;
  part("undo").disabled = !history.length && !newest();
  part("again").disabled = !cell.record;
}

function renderNext(cell) {
  const isDone = cells.isRead && !isAsking && Boolean(cell.record);
  const left = isDone ? leftOf(data.grids, grid, records, cells) : { begun: [], open: [] };
  const words = isAsking ? `Type the ${grid.other.name.toLowerCase()}, then Keep.` : isDone ? doneWords(grid, left) : stepWords(grid, cell);
  if (part("next").textContent !== words) part("next").textContent = words;
  const [begun] = left.begun, on = part("on");
  on.hidden = !begun;
  on.textContent = begun ? `On with ${begun.name.toLowerCase()}` : "";
  on.dataset.grid = begun?.kind ?? "";
  part("done").hidden = !isDone;
  part("done").classList.toggle("btn-go", !begun);
  root.querySelector(".pad-keep").classList.toggle("btn-go", !isDone);
}

// What is said under the reading is of the cell that is named above it; while nothing is typed there, of what was
// typed last, by its name. What the band says of the last is named there too.
function renderState() {
  const place = byId("bench-state"), own = isAsking ? null : cells.selected.record;
  const last = data.grids.flatMap((one) => records.list(one.kind)).find((one) => one.address === place.dataset.address);
  const words = own ? own.words : last ? `${starting(nameOf(last))}: ${lower(last.words)}` : "Nothing typed yet";
  set(place, (own ?? last)?.state ?? "empty", words);
  judge(last);
  renderSending();
}

const lower = (words) => words[0].toLowerCase() + words.slice(1);

function nameOf(record) {
  const cell = cells.all.find((one) => one.record?.address === record.address);
  return cell?.name ?? whereOf(data.grids.find((one) => one.kind === record.kind), record.values);
}

// Of everything that this person typed on this tablet, whatever run it belongs to: only then is all saved.
function renderSending() {
  showUnjudged(root, records, { isBehind: served.version < records.version, isStale });
  const left = waiting(), refused = left.filter((entry) => entry.refusal).length, count = left.length - refused;
  if (isStale) return stale();
  const trouble = isOut ? { text: "You are logged out.", login: true } : whyWaiting();
  const words = [refused && `${refused} not saved.`, (count || isOut) && `${count} waiting. ${trouble?.text ?? ""}`];
  if (left.length || isOut) set(part("sending"), refused ? "failed" : "waiting", words.filter(Boolean).join(" "));
  else set(part("sending"), records.rows.size ? "saved" : "empty", records.rows.size ? "All saved." : "");
  if (trouble?.login) part("sending").append(" ", login());
}

// The frame was changed elsewhere: what is typed here still goes as what it was typed as.
function stale() {
  if (part("sending").querySelector("a")) return;
  set(part("sending"), "failed", `This run is no longer read in ${data.frame_name} degrees: `);
  const again = make("a", "btn", "Show it as it is read now");
  again.href = data.page;
  part("sending").append(again);
}

function set(place, state, words) {
  place.dataset.state = state;
  if (place.textContent !== words) place.textContent = words;
}

function login() {
  const anchor = make("a", "btn", "Log in again");
  anchor.href = `/login/?next=${encodeURIComponent(data.page)}`;
  return anchor;
}

function tabs(place, things, name, keyOf) {
  place.append(...things.map((thing) => {
    const button = make("button", "btn", thing.name);
    button.type = "button";
    button.dataset[name] = keyOf(thing);
    return button;
  }));
}

// The start

tabs(part("grids"), data.grids.length > 1 ? data.grids : [], "grid", (one) => one.kind);
tabs(part("units"), units, "unit", (one) => one.key);
records.adopt(data.state);
read(data.state.version);
cells.show(grid, unit);
for (const live of root.querySelectorAll("[data-bench-live]")) live.hidden = false;
part("plain").hidden = true;
if (records.waiting.length) draw();
render();
send();
setInterval(refresh, POLL_MS);
if (!matchMedia("(pointer: coarse)").matches) input.focus({ preventScroll: true });

document.addEventListener("keydown", key);
input.addEventListener("input", () => say(""));
root.addEventListener("click", ({ target }) => {
  const pressed = target.closest("[data-key]"), asked = target.closest("[data-grid]"), measured = target.closest("[data-unit]");
  if (pressed) press(pressed.dataset.key);
  if (asked) open(asked.dataset.grid);
  if (measured) {
    unit = grid.units.find((one) => one.key === measured.dataset.unit);
    cells.show(grid, unit);
    choose(cells.selected);
  }
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
  const cell = cells.all.find((one) => one.at.speed_rpm === detail.speed_rpm && one.at.falling === detail.falling && !one.record)
    ?? cells.all.find((one) => one.at.speed_rpm === detail.speed_rpm && one.at.falling === detail.falling);
  if (cell) choose(cell, plain(detail.advance_deg));
});
