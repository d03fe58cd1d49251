// Draws the grid of cells, one row for each speed or step, one column for each direction; a tap chooses one.
import { plain } from "../numbers.js";

export class CellTable {
  constructor(place, cells, onSelect) {
    this.place = place;
    this.cells = cells;
    place.addEventListener("click", ({ target }) => {
      const button = target.closest("[data-cell]");
      if (button) onSelect(cells.all.find((cell) => cell.id === button.dataset.cell));
      else if (target.closest("[data-other]")) onSelect(null);
    });
  }

  render() {
    const focus = this.place.contains(document.activeElement) ? document.activeElement : null;
    const wanted = focus?.matches("[data-other]") ? "[data-other]" : focus?.matches("[data-cell]") ? "[aria-pressed='true']" : null;
    const table = make("table");
    table.append(make("caption", "sr", `${this.cells.grid.name}, ${this.cells.grid.unit}`), this.head(), this.body());
    const top = this.place.scrollTop;
    this.place.replaceChildren(table);
    if (this.cells.grid.other) this.place.append(this.otherButton());
    this.place.scrollTop = top;
    const button = this.place.querySelector("[aria-pressed='true']");
    if (wanted) this.place.querySelector(wanted)?.focus({ preventScroll: true });
    if (button) keepInView(this.place, button);
  }

  head() {
    const row = make("tr");
    for (const text of [this.cells.grid.heading, ...this.cells.grid.columns.map((column) => column.label)]) {
      const cell = make("th", "", text);
      cell.scope = "col";
      row.append(cell);
    }
    const head = make("thead");
    head.append(row);
    return head;
  }

  body() {
    const body = make("tbody");
    for (const line of this.cells.lines) {
      const row = make("tr"), heading = make("th", "", line.label);
      heading.scope = "row";
      row.append(heading, ...line.cells.map((cell) => this.cell(cell)));
      body.append(row);
    }
    return body;
  }

  cell(cell) {
    const holder = make("td"), button = make("button", "cell");
    const isSelected = cell.id === this.cells.chosen;
    button.type = "button";
    button.dataset.cell = cell.id;
    button.setAttribute("aria-pressed", String(isSelected));
    button.tabIndex = isSelected ? 0 : -1;
    button.append(make("span", "sr", `${cell.rowName} ${cell.columnName}: `));
    if (cell.record) {
      const state = make("span", "state", cell.record.words);
      state.dataset.state = cell.record.state;
      button.append(make("b", "", plain(cell.record.values[this.cells.grid.value])), " ", state);
    } else button.append(make("span", isSelected ? "cell-now" : "cell-open", isSelected ? "now" : "–"));
    holder.append(button);
    return holder;
  }

  otherButton() {
    const button = make("button", "btn bench-other", `Another ${this.cells.grid.other.name.toLowerCase()}`);
    button.type = "button";
    button.dataset.other = "";
    return button;
  }
}

export function make(name, className = "", text = "") {
  const element = document.createElement(name);
  if (className) element.className = className;
  if (text) element.textContent = text;
  return element;
}

// Scrolls the grid alone: the page must not move under a finger.
function keepInView(place, button) {
  const { top, bottom } = place.getBoundingClientRect(), box = button.getBoundingClientRect();
  if (box.top < top) place.scrollTop += box.top - top;
  else if (box.bottom > bottom) place.scrollTop += box.bottom - bottom;
}
