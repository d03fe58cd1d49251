// The target's points on the chart: dragged by mouse or finger, stepped by keys; the grid beside it holds them.
import { understood } from "./numbers.js";

const STEP = { rpm: 50, deg: 0.5 }, FINE = { rpm: 10, deg: 0.1 };
const MOST = { rpm: 20000, deg: 60 };
let focused = null; // the row whose point had the focus, while the chart is replaced

const place = () => document.getElementById("target-chart");
const rows = () => [...document.querySelectorAll("#target-form [data-grid] tbody tr")];
const cell = (row, name) => row.querySelector(`[data-cell="${name}"]`);
const CELLS = { speed: { limits: [0, MOST.rpm], decimals: 1 }, advance: { limits: [0, MOST.deg] } };
const read = (row, name) => understood(cell(row, name)?.value ?? "", CELLS[name]).number ?? NaN;
const points = () => rows().map((row, index) => ({ index, row, rpm: read(row, "speed"), deg: read(row, "advance") }))
  .filter(({ rpm, deg }) => Number.isFinite(rpm) && Number.isFinite(deg));
const within = (value, most) => Math.min(Math.max(value, 0), most);
const snapped = (value, step) => Math.round(Math.round(value / step) * step * 1000) / 1000;

// Where a value lies in the drawing, in shares of it, and back.
function scales(figure) {
  const { left, right, top, bottom, width, height } = Object.fromEntries(Object.entries(figure.dataset).map(([name, value]) => [name, Number(value)]));
  const [x0, x1] = figure.dataset.x.split(" ").map(Number), [y0, y1] = figure.dataset.y.split(" ").map(Number);
  return {
    x: (rpm) => (left + ((rpm - x0) / (x1 - x0)) * (right - left)) / width,
    y: (deg) => (bottom - ((deg - y0) / (y1 - y0)) * (bottom - top)) / height,
    rpm: (share) => x0 + ((share * width - left) / (right - left)) * (x1 - x0),
    deg: (share) => y0 + ((bottom - share * height) / (bottom - top)) * (y1 - y0),
  };
}

function draw() {
  const figure = place()?.querySelector("[data-target-chart]");
  if (!figure || figure.querySelector("[data-held]")) return; // not under a finger
  figure.querySelector("[data-needs-script]").hidden = false;
  const board = document.createElement("div");
  board.className = "target-points";
  board.innerHTML = '<svg class="target-line" viewBox="0 0 100 100" preserveAspectRatio="none" aria-hidden="true"><polyline vector-effect="non-scaling-stroke"/></svg><p class="target-said" aria-hidden="true" hidden></p>';
  const drawing = figure.querySelector(".curve-drawing");
  drawing.querySelector(".target-points")?.remove();
  drawing.append(board);
  for (const point of points()) board.append(handle(point));
  settle(board);
  if (focused !== null) board.querySelector(`[data-row="${focused}"]`)?.focus();
}

function handle({ index }) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "target-point";
  button.dataset.row = index;
  button.setAttribute("role", "slider");
  button.setAttribute("aria-orientation", "vertical");
  button.setAttribute("aria-valuemin", 0);
  button.setAttribute("aria-valuemax", MOST.deg);
  return button;
}

// Every point where its row says, the line through them, and what each says aloud.
function settle(board) {
  const scale = scales(board.closest("[data-target-chart]"));
  const there = points();
  for (const { index, rpm, deg } of there) {
    const button = board.querySelector(`[data-row="${index}"]`);
    if (!button) continue;
    button.style.left = `${scale.x(rpm) * 100}%`;
    button.style.top = `${scale.y(deg) * 100}%`;
    button.setAttribute("aria-label", `Point ${index + 1} of the target`);
    button.setAttribute("aria-valuenow", deg);
    button.setAttribute("aria-valuetext", `${deg} crank degrees at ${rpm} crank rpm`);
  }
  const line = there.toSorted((a, b) => a.rpm - b.rpm).map(({ rpm, deg }) => `${scale.x(rpm) * 100},${scale.y(deg) * 100}`);
  board.querySelector("polyline").setAttribute("points", line.join(" "));
}

function write(index, rpm, deg, step) {
  const row = rows()[index];
  cell(row, "speed").value = snapped(within(rpm, MOST.rpm), step.rpm);
  cell(row, "advance").value = snapped(within(deg, MOST.deg), step.deg);
}

// The grid hears of it as of any typing: it carries the rows, and the server looks at them.
const tell = (index) => cell(rows()[index], "advance").dispatchEvent(new Event("input", { bubbles: true }));

function drag(event) {
  const button = event.target.closest?.(".target-point");
  if (!button || event.button) return;
  const board = button.parentElement, box = board.getBoundingClientRect();
  const scale = scales(board.closest("[data-target-chart]"));
  const index = Number(button.dataset.row), said = board.querySelector(".target-said");
  const start = { x: event.clientX, y: event.clientY, rpm: read(rows()[index], "speed"), deg: read(rows()[index], "advance") };
  const from = { x: scale.x(start.rpm), y: scale.y(start.deg) };
  button.setPointerCapture(event.pointerId);
  button.focus();
  button.dataset.held = "";
  const move = ({ clientX, clientY }) => {
    write(index, scale.rpm(from.x + (clientX - start.x) / box.width), scale.deg(from.y + (clientY - start.y) / box.height), STEP);
    settle(board);
    said.hidden = false;
    said.textContent = button.getAttribute("aria-valuetext");
  };
  const end = () => {
    button.removeEventListener("pointermove", move);
    delete button.dataset.held;
    said.hidden = true;
    tell(index);
  };
  button.addEventListener("pointermove", move);
  button.addEventListener("lostpointercapture", end, { once: true });
}

function step(event) {
  const button = event.target.closest?.(".target-point");
  const way = { ArrowUp: [0, 1], ArrowDown: [0, -1], ArrowRight: [1, 0], ArrowLeft: [-1, 0] }[event.key];
  if (!button || !way || event.altKey || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  const index = Number(button.dataset.row), by = event.shiftKey ? FINE : STEP;
  const row = rows()[index];
  write(index, read(row, "speed") + way[0] * by.rpm, read(row, "advance") + way[1] * by.deg, FINE);
  settle(button.parentElement);
  tell(index);
}

document.addEventListener("pointerdown", drag);
document.addEventListener("keydown", step);
document.addEventListener("focusin", ({ target }) => { focused = target.matches(".target-point") ? target.dataset.row : null; });
document.addEventListener("chart:new", draw);
document.addEventListener("grid:changed", draw);
document.addEventListener("htmx:load", ({ detail }) => { if (detail.elt.querySelector?.("[data-grid]") || detail.elt.matches?.("#target-form")) draw(); });
draw();
