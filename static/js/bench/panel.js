// What stands around the reading: what is read now, what comes next, how far it is saved, what the band says.
import { plain } from "../numbers.js";
import { waiting, whyWaiting } from "../outbox.js";
import { starting, whereOf } from "./cells.js";
import { doneWords, leftOf, stepWords } from "./next.js";
import { sendingOf } from "./saving.js";
import { make } from "./table.js";
import { showUnjudged } from "./unjudged.js";
import { verdictOn } from "./verdict.js";

export class Panel {
  constructor(root, data, { records, cells, curve }) {
    Object.assign(this, { root, data, records, cells, curve });
    this.input = root.querySelector("#bench-value");
    this.state = root.querySelector("#bench-state");
  }

  part(name) { return this.root.querySelector(`[data-bench-${name}]`); }

  // What is shown follows the screen: its grid, unit, isAsking, isOut, isStale, canUndo.
  render(screen) {
    const { grid, unit, isAsking, canUndo } = screen, cell = this.cells.selected;
    this.part("what").textContent = isAsking ? grid.other.name : grid.value_name;
    this.part("unit").textContent = isAsking ? unit?.name ?? grid.other.unit : grid.unit;
    this.part("row").textContent = isAsking ? "?" : cell.rowName;
    this.part("rowunit").textContent = isAsking || unit ? "" : grid.kind === "spark" ? "cylinder," : `${grid.speed_unit},`;
    this.part("column").textContent = isAsking ? "" : cell.columnName.toLowerCase();
    this.input.placeholder = !isAsking && cell.record ? plain(cell.record.values[grid.value]) : "";
    const sweep = grid.kind === "reading" && !isAsking;
    Object.assign(this.root.dataset, { speed: sweep ? cell.at.speed_rpm : "", falling: sweep ? cell.at.falling : "" });
    this.renderNext(screen, cell);
    this.renderState(screen);
    this.press("[data-grid]", (button) => button.dataset.grid === grid.kind, this.part("grids"));
    this.press("[data-unit]", (button) => button.dataset.unit === unit?.key);
    this.part("units").hidden = !unit;
    this.part("undo").disabled = !canUndo;
    this.part("again").disabled = !cell.record;
  }

  press(buttons, isPressed, within = this.root) {
    for (const button of within.querySelectorAll(buttons)) button.setAttribute("aria-pressed", String(isPressed(button)));
  }

  renderNext({ grid, isAsking }, cell) {
    const { data, records, cells } = this;
    const isDone = cells.isRead && !isAsking && Boolean(cell.record);
    const left = isDone ? leftOf(data.grids, grid, records, cells) : { begun: [], open: [] };
    const words = isAsking ? `Type the ${grid.other.name.toLowerCase()}, then Keep.` : isDone ? doneWords(grid, left) : stepWords(grid, cell);
    if (this.part("next").textContent !== words) this.part("next").textContent = words;
    const [begun] = left.begun, on = this.part("on");
    on.hidden = !begun;
    on.textContent = begun ? `On with ${begun.name.toLowerCase()}` : "";
    on.dataset.grid = begun?.kind ?? "";
    this.part("done").hidden = !isDone;
    this.part("done").classList.toggle("btn-go", !begun);
    this.root.querySelector(".pad-keep").classList.toggle("btn-go", !isDone);
  }

  // What is said under the reading is of the cell that is named above it; while nothing is typed there, of what was
  // typed last, by its name. What the band says of the last is named there too.
  renderState(screen) {
    const own = screen.isAsking ? null : this.cells.selected.record, last = this.last;
    const words = own ? own.words : last ? `${starting(this.nameOf(last))}: ${lower(last.words)}` : "Nothing typed yet";
    set(this.state, (own ?? last)?.state ?? "empty", words);
    this.judge(last);
    this.renderSending(screen);
  }

  get last() {
    const all = this.data.grids.flatMap((one) => this.records.list(one.kind));
    return all.find((one) => one.address === this.state.dataset.address);
  }

  nameOf(record) {
    const cell = this.cells.all.find((one) => one.record?.address === record.address);
    return cell?.name ?? whereOf(this.data.grids.find((one) => one.kind === record.kind), record.values);
  }

  judge(record) {
    const place = this.part("verdict"), { kind, words } = verdictOn(record, this.curve.served.band, this.data);
    place.dataset.kind = kind;
    if (place.textContent !== words) place.textContent = words; // read aloud once
  }

  renderSending({ isOut, isStale }) {
    const { records, curve } = this, place = this.part("sending");
    showUnjudged(this.root, records, { isBehind: curve.served.version < records.version, isStale });
    if (isStale) return this.renderStale(place);
    const trouble = isOut ? { text: "You are logged out.", login: true } : whyWaiting();
    const { state, words } = sendingOf(waiting(), { isOut, trouble, hasReadings: records.rows.size > 0 });
    set(place, state, words);
    if (trouble?.login) place.append(" ", link("Log in again", `/login/?next=${encodeURIComponent(this.data.page)}`));
  }

  // The frame was changed elsewhere: what is typed here still goes as what it was typed as.
  renderStale(place) {
    if (place.querySelector("a")) return;
    set(place, "failed", `This run is no longer read in ${this.data.frame_name} degrees: `);
    place.append(link("Show it as it is read now", this.data.page));
  }

  renderTabs(name, things, keyOf) {
    this.part(`${name}s`).append(...things.map((thing) => {
      const button = make("button", "btn", thing.name);
      button.type = "button";
      button.dataset[name] = keyOf(thing);
      return button;
    }));
  }
}

const lower = (words) => words[0].toLowerCase() + words.slice(1);

function set(place, state, words) {
  place.dataset.state = state;
  if (place.textContent !== words) place.textContent = words;
}

function link(words, address) {
  const anchor = make("a", "btn", words);
  anchor.href = address;
  return anchor;
}
