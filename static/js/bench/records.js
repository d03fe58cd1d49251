// What is known of a run here: the readings that the server has, and over them those that are on their way.
import { plain } from "../numbers.js";

export class Records {
  constructor(run, factors, outbox) {
    this.run = run; // its frame, and how many of the other frame's degrees make one of it
    this.base = run.readings; // a reading's address is this and its key
    this.factors = factors; // kPa in one of each unit of vacuum
    this.outbox = outbox; // what is on its way: {find, waiting}
    this.rows = new Map();
    this.version = 0;
    this.times = new Map(); // when what was typed here was saved
  }

  address(key) { return `${this.base}${key}/`; }

  // Take over what the server knows; an answer older than one already taken is left.
  adopt({ version, rows }) {
    if (version < this.version) return false;
    this.version = version;
    this.rows = new Map(rows.map((row) => [row.key, row]));
    return true;
  }

  saved({ entry, reading, version, at }) {
    if (!entry.address.startsWith(this.base)) return;
    this.version = Math.max(this.version, version);
    const key = entry.address.slice(this.base.length, -1);
    if (reading) this.rows.set(key, reading);
    else this.rows.delete(key);
    this.times.set(key, at);
  }

  get waiting() { return this.outbox.waiting().filter((entry) => entry.address.startsWith(this.base)); }

  // Every reading of a kind as it stands here, in the order in which it was read.
  list(kind) {
    const known = [...this.rows.values()].filter((row) => row.kind === kind).map((row) => this.shown(row.key, row));
    const fresh = this.waiting.map((entry) => entry.address.slice(this.base.length, -1)).filter((key) => !this.rows.has(key));
    return [...known, ...fresh.map((key) => this.shown(key))].filter((record) => record && record.kind === kind);
  }

  shown(key, row) {
    const address = this.address(key), entry = this.outbox.find(address);
    const plain = { key, address, version: row?.version ?? null, isPending: Boolean(entry) };
    if (!entry) return { ...plain, kind: row.kind, values: row.values, state: "saved", words: this.times.has(key) ? `Saved ${this.times.get(key)}` : "Saved" };
    if (entry.gone && !entry.refusal) return null;
    const values = entry.gone ? row?.values : this.numbers(entry);
    if (!values) return null;
    return { ...plain, kind: entry.kind, values, entry, state: entry.refusal ? "failed" : "waiting", words: entry.refusal ? "Not saved" : "Waiting" };
  }

  // What was typed, as it reads in the run's frame.
  typed(entry, name) {
    const isOurs = !entry.frame || entry.frame === this.run.frame;
    return isOurs ? entry.values[name] : plain(this.numbers(entry)[name]);
  }

  // What was typed, as numbers in the run's frame.
  numbers({ kind, frame, values: { unit, ...typed } }) {
    const values = {}, typedIn = frame ?? (kind === "reading" ? this.run.frame : "shaft");
    for (const [name, text] of Object.entries(typed)) {
      values[name] = typeof text === "string" ? numberOf(text) : text;
      if (typedIn !== this.run.frame && TURNS.test(name)) values[name] /= this.run.other_frame;
    }
    if (unit) values.vacuum_kpa *= this.factors.get(unit) ?? 1;
    return values;
  }
}

const TURNS = /_(rpm|deg)$/; // what differs from frame to frame

// The number in a text that the pad has kept: one mark in it is the decimal one.
const numberOf = (text) => Number(text.trim().replace("−", "-").replace(",", "."));
