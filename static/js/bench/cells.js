// The grid of cells, without its drawing: which rows there are, which cell is read now, and which is due next.
import { plain } from "../numbers.js";

const ROW_FIELD = { reading: "speed_rpm", spark: "cylinder", dwell: "speed_rpm", vacuum: "vacuum_kpa" };
const NEAR = 0.05; // as fine as any of these is read

const tenths = (value) => Math.round(value * 10);

const fits = (values, at) => Object.entries(at).every(([name, wanted]) => (typeof wanted === "number" ? Math.abs(values[name] - wanted) < NEAR : values[name] === wanted));

// Where a reading stands, in words: its speed with the frame that it is told in.
export function whereOf(grid, at) {
  const speed = `${plain(at.speed_rpm)} ${grid.speed_unit}`;
  if (grid.kind === "reading") return `${speed}, ${at.falling ? "falling" : "rising"}`;
  if (grid.kind === "spark") return `cylinder ${at.cylinder} at ${speed}`;
  return grid.kind === "dwell" ? speed : `vacuum of ${plain(at.vacuum_kpa)} kPa`;
}

function labelled(value, unit) {
  return unit ? `${plain(Math.round((value / unit.kpa) * 10) / 10)} ${unit.name}` : plain(value);
}

// The lines of one row: one for each time that it was read, and one more while it is read again.
function linesOf(row, { grid, unit, records, isAgain }) {
  const value = row.at[ROW_FIELD[grid.kind]];
  const columns = grid.columns.map((column) => records.filter((record) => fits(record.values, { ...row.at, ...column.at })));
  const slots = Math.max(1, ...columns.map((found) => found.length + (isAgain && found.length ? 1 : 0)));
  return Array.from({ length: slots }, (_, slot) => ({
    label: slot ? "again" : row.label,
    cells: grid.columns.map((column, at) => ({
      id: `${value}/${at}/${slot}`,
      row: value,
      column: at,
      slot,
      at: { ...row.at, ...column.at },
      name: unit ? row.label : whereOf(grid, { ...row.at, ...column.at }),
      rowName: row.label,
      columnName: column.label,
      record: columns[at][slot] ?? null,
    })),
  }));
}

export class Cells {
  constructor(records) {
    this.records = records;
    this.chosen = null;
    this.added = new Map(); // rows asked for here, by grid: what other speeds are read at
    this.again = null; // the row that is read once more
  }

  show(grid, unit) {
    this.grid = grid;
    this.unit = unit;
    this.again = null;
    this.lay();
    this.select(this.following(null) ?? this.all.find((cell) => cell.record) ?? this.all[0]);
  }

  // The rows as they are to be shown now, each with its cells.
  lay() {
    this.lines = this.linesFor(this.grid, this.unit, this.again);
    this.all = this.lines.flatMap((line) => line.cells);
  }

  linesFor(grid, unit, again) {
    const field = ROW_FIELD[grid.kind];
    const records = this.records.list(grid.kind);
    const rows = [...(unit?.rows ?? grid.rows)];
    const known = (value) => rows.some((row) => Math.abs(row.at[field] - value) < NEAR);
    for (const value of [...(this.added.get(grid.kind) ?? []), ...records.map((record) => record.values[field])]) {
      if (!known(value)) rows.push({ label: labelled(value, unit), at: { [field]: value } });
    }
    rows.sort((a, b) => a.at[field] - b.at[field]);
    return rows.flatMap((row) => linesOf(row, { grid, unit, records, isAgain: again === row.at[field] }));
  }

  get selected() { return this.all.find((cell) => cell.id === this.chosen); }

  select(cell) { this.chosen = cell?.id ?? null; }

  // All cells in the order of the work: each column down, the one that is read backwards up.
  get walk() {
    return this.grid.columns.flatMap((_, column) => {
      const cells = this.all.filter((cell) => cell.column === column);
      return column === this.grid.back ? cells.reverse() : cells;
    });
  }

  // The next cell after this one that is still to be read; from null on, the first of all.
  following(from) {
    const walk = this.walk;
    const start = from ? walk.findIndex((cell) => cell.id === from.id) + 1 : 0;
    return walk.slice(start).find((cell) => this.isDue(cell));
  }

  get isRead() { return !this.all.some((cell) => this.isDue(cell)); }

  // Whether a grid, shown or not, is read to the end: so many rows of it as the shop's checks ask for, in one
  // column; a sweep, where nothing is due.
  isToTheEnd(grid) {
    if (!grid.enough) {
      const all = this.linesFor(grid, null, null).flatMap((line) => line.cells);
      return !all.some((cell) => this.isDue(cell, all, grid));
    }
    const [across] = Object.keys(grid.columns[0].at), down = ROW_FIELD[grid.kind], read = new Map();
    for (const { values } of this.records.list(grid.kind)) {
      const column = tenths(values[across] ?? 0);
      read.set(column, (read.get(column) ?? new Set()).add(tenths(values[down])));
    }
    return [...read.values()].some((rows) => rows.size >= grid.enough);
  }

  // Whether a cell is still to be read. A sweep goes one way in each direction: what it has gone past is left,
  // and it need not come down below where it set out; only a speed that was asked for is wanted both ways.
  isDue(cell, all = this.all, grid = this.grid) {
    if (cell.record || cell.slot) return false;
    if (grid.kind !== "reading" || this.added.get("reading")?.includes(cell.row)) return true;
    const read = (column) => all.filter((one) => one.record && one.column === column).map((one) => one.row);
    const isBack = cell.column === grid.back;
    if (!isBack) return read(cell.column).every((row) => row < cell.row);
    const up = read(0);
    return read(cell.column).every((row) => row > cell.row) && (!up.length || cell.row >= Math.min(...up));
  }

  moved(down, across) {
    const cell = this.selected;
    const line = this.lines.findIndex((one) => one.cells.includes(cell));
    const to = this.lines[Math.min(Math.max(line + down, 0), this.lines.length - 1)];
    return to.cells[Math.min(Math.max(cell.column + across, 0), to.cells.length - 1)];
  }

  // Ask for one more cell in the row of the selected one, and give it.
  readAgain() {
    const cell = this.selected;
    this.again = cell.row;
    this.lay();
    return this.all.findLast((one) => one.row === cell.row && one.column === cell.column && !one.record);
  }

  addRow(value) {
    this.added.set(this.grid.kind, [...(this.added.get(this.grid.kind) ?? []), value]);
    this.lay();
    return this.all.find((cell) => Math.abs(cell.row - value) < NEAR && cell.column === 0);
  }
}

export const starting = (words) => words[0].toUpperCase() + words.slice(1);
