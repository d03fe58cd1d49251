// The grid of cells: keys move in it, rows come by themselves, a paste fills it, and one JSON field carries it.
const grids = new WeakMap();

class Grid {
  constructor(root) {
    this.root = root;
    this.body = root.querySelector("tbody");
    this.blank = root.querySelector("template[data-row]");
    this.form = root.closest("form");
    this.carrier = this.form.querySelector("[data-grid-json]");
    this.keys = [...this.blank.content.querySelectorAll("[data-cell]")].map((cell) => cell.dataset.cell);
    root.hidden = false;
    root.addEventListener("keydown", (event) => this.key(event));
    root.addEventListener("paste", (event) => this.paste(event));
    root.addEventListener("click", (event) => this.clear(event));
    // Before anyone else hears of it, so that what is kept through a reload is the present grid.
    root.addEventListener("input", (event) => this.typed(event.target), { capture: true });
    root.addEventListener("change", (event) => this.typed(event.target), { capture: true });
    this.form.addEventListener("bobweight:restored", () => this.fill(parsed(this.carrier.value)));
    this.leaveLines();
    // A form that came back from the server shows its own rows; in any other, what is carried was kept here.
    if (this.carrier.value && !this.form.matches("[data-bound]")) this.fill(parsed(this.carrier.value));
    this.grow();
    this.carry();
  }

  get rows() { return [...this.body.rows]; }

  cells(row) { return [...row.querySelectorAll("[data-cell]")]; }

  // The box for plain lines says what the grid says: with the grid it is only for pasting into.
  leaveLines() {
    const box = this.form.querySelector("[data-lines]");
    if (!box || box.hasAttribute("data-wanted")) return;
    box.open = false;
    box.querySelector("textarea").value = "";
  }

  isBlank(row) {
    return this.cells(row).every((cell) => cell.type === "checkbox" || !cell.value.trim());
  }

  grow() {
    const last = this.rows.at(-1);
    if (last && this.isBlank(last)) return;
    const row = this.blank.content.cloneNode(true).firstElementChild;
    const number = this.rows.length + 1;
    for (const cell of this.cells(row)) cell.setAttribute("aria-label", `${cell.getAttribute("aria-label")}, row ${number}`);
    row.querySelector("[data-clear]").setAttribute("aria-label", `Clear row ${number}`);
    this.body.append(row);
    this.followAbove();
  }

  // The blank row at the end begins with what the row above holds.
  followAbove() {
    const [above, row] = this.rows.slice(-2);
    if (!row || !this.isBlank(row)) return;
    this.cells(row).forEach((cell, at) => {
      const model = this.cells(above)[at];
      if (!cell.hasAttribute("data-follows")) return;
      if (cell.type === "checkbox") cell.checked = model.checked;
      else cell.placeholder = model.value || model.placeholder;
    });
  }

  typed(cell) {
    cell.removeAttribute("aria-invalid");
    cell.parentElement.querySelector(".wrong")?.remove();
    this.follow(cell);
    this.grow();
    if (cell.closest("tr") !== this.rows.at(-1)) this.followAbove();
    this.carry();
    this.form.dispatchEvent(new CustomEvent("grid:changed", { bubbles: true }));
  }

  // A row that is begun takes over what follows the row above.
  follow(cell) {
    for (const other of this.cells(cell.closest("tr"))) {
      if (other !== cell && other.placeholder && !other.value) other.value = other.placeholder;
    }
  }

  carry() {
    const rows = this.rows.filter((row) => !this.isBlank(row)).map((row) =>
      Object.fromEntries(this.cells(row).map((cell) => [cell.dataset.cell, textOf(cell)])));
    this.carrier.value = JSON.stringify(rows);
  }

  fill(rows) {
    this.body.replaceChildren();
    for (const values of rows) {
      this.grow();
      for (const cell of this.cells(this.rows.at(-1))) write(cell, values[cell.dataset.cell] ?? "");
    }
    this.grow();
    this.carry();
    this.form.dispatchEvent(new CustomEvent("grid:changed", { bubbles: true }));
  }

  key(event) {
    if (!event.target.matches("[data-cell]") || event.altKey || event.ctrlKey || event.metaKey) return;
    const move = this.moveOf(event);
    if (!move) return;
    event.preventDefault();
    move.focus();
    move.select?.();
  }

  moveOf({ key, target, shiftKey }) {
    const row = target.closest("tr");
    const at = this.cells(row).indexOf(target);
    const typing = target.type !== "checkbox";
    const edge = !typing || target.selectionStart === target.selectionEnd || target.selectionEnd - target.selectionStart === target.value.length;
    if (key === "ArrowDown") return this.cell(row.nextElementSibling, at);
    if (key === "ArrowUp") return this.cell(row.previousElementSibling, at);
    if (key === "ArrowRight" && edge && (!typing || target.selectionEnd === target.value.length)) return this.cell(row, at + 1);
    if (key === "ArrowLeft" && edge && (!typing || target.selectionStart === 0)) return this.cell(row, at - 1);
    if (key === "Enter") return shiftKey ? this.cell(row.previousElementSibling, at) : this.after(row, at);
    return null;
  }

  // Enter goes from cell to cell that is still to fill, past the ticks, then to the next row.
  after(row, at) {
    const next = this.cells(row).slice(at + 1).find((cell) => cell.type !== "checkbox" && !cell.placeholder);
    return next ?? this.cell(row.nextElementSibling, 0) ?? this.cells(row)[at];
  }

  cell(row, at) { return row ? this.cells(row)[at] ?? null : null; }

  // Cells from a spreadsheet come with tabs and line ends; anything else is typed where it is pasted.
  paste(event) {
    const text = event.clipboardData.getData("text/plain");
    const target = event.target.closest("[data-cell]");
    if (!target || !/[\t\n]/.test(text.trim())) return;
    event.preventDefault();
    const lines = text.replace(/\r\n?/g, "\n").replace(/\n+$/, "").split("\n").map((line) => line.split("\t"));
    const body = lines.filter((line, i) => i > 0 || line.some((cell) => /^\s*[-+−]?[\d.,]/.test(cell)));
    let row = target.closest("tr");
    const at = this.cells(row).indexOf(target);
    for (const line of body) {
      line.forEach((value, i) => this.cells(row)[at + i] && write(this.cells(row)[at + i], value.trim()));
      this.grow();
      row = row.nextElementSibling ?? row;
    }
    this.typed(target);
    this.cells(row)[0].focus();
  }

  clear({ target }) {
    const button = target.closest("[data-clear]");
    if (!button) return;
    const row = button.closest("tr");
    const next = row.nextElementSibling ?? row.previousElementSibling;
    if (next) row.remove();
    else this.cells(row).forEach((cell) => write(cell, ""));
    this.grow();
    this.carry();
    this.carrier.dispatchEvent(new Event("input", { bubbles: true }));
    this.form.dispatchEvent(new CustomEvent("grid:changed", { bubbles: true }));
    (next ?? this.rows[0]).querySelector("[data-cell]").focus();
  }
}

const textOf = (cell) => (cell.type === "checkbox" ? (cell.checked ? "1" : "") : cell.value);
const TICKED = /^(1|x|yes|y|true|falling|fall|down|f|d)$/i;

function write(cell, text) {
  if (cell.type === "checkbox") cell.checked = TICKED.test(text.trim());
  else cell.value = text;
}

function parsed(text) {
  try {
    return JSON.parse(text || "[]");
  } catch {
    return [];
  }
}

function start(part) {
  const found = part.matches?.("[data-grid]") ? [part] : part.querySelectorAll?.("[data-grid]") ?? [];
  for (const root of found) if (!grids.has(root)) grids.set(root, new Grid(root));
}

document.addEventListener("htmx:load", ({ detail }) => start(detail.elt));
start(document);
