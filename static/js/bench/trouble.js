// What could not be saved as it was typed: each with its cause, both values where there are two, and the ways out.
import { plain } from "../numbers.js";
import { drop, newKey, put } from "../outbox.js";
import { starting, whereOf } from "./cells.js";
import { make } from "./table.js";

export function showTrouble(place, records, grids, retype) {
  const troubled = records.waiting.filter((entry) => entry.refusal);
  const key = JSON.stringify(troubled.map((entry) => [entry.address, entry.turn, entry.refusal]));
  if (place.dataset.shown === key) return; // read aloud once, and the focus stays
  place.dataset.shown = key;
  place.replaceChildren(...troubled.map((entry) => panel(entry, grids.find((grid) => grid.kind === entry.kind), records, retype)));
}

function panel(entry, grid, records, retype) {
  const box = make("div", "conflict");
  box.setAttribute("role", "alert");
  const { refusal } = entry;
  const what = starting(whereOf(grid, records.numbers(entry)));
  const typed = records.typed(entry, grid.value);
  const mine = entry.gone ? "it was taken back here" : `you typed ${typed}`;
  box.append(make("h2", "", refusal.status === 409 ? `${what}: two values` : `${what}: not saved`));
  const ways = make("p", "actions");
  if (refusal.status === 409 && refusal.stands) {
    const theirs = plain(refusal.stands.values[grid.value]);
    box.append(make("p", "", `Here ${mine}; meanwhile ${theirs} was saved elsewhere. Pick the one that holds.`));
    ways.append(
      way(entry.gone ? "Take it back" : `Keep ${typed}`, () => put(entry.address, { version: refusal.stands.version })),
      way(`Keep ${theirs}`, () => { records.rows.set(refusal.stands.key, refusal.stands); drop(entry.address); }),
    );
  } else if (refusal.status === 409) {
    box.append(make("p", "", `Here ${mine}; meanwhile the reading was taken back elsewhere.`));
    ways.append(way(`Put back ${typed}`, () => putBack(entry, records)), way("Leave it off", () => letGo(entry, records)));
  } else {
    box.append(make("p", "", `Here ${mine}. ${refusal.why}`));
    ways.append(refusal.status === 422 ? way("Type it again", () => retype(entry)) : way("Send it again", () => put(entry.address, {})), way("Let it go", () => drop(entry.address)));
  }
  box.append(ways);
  return box;
}

function letGo(entry, records) {
  records.rows.delete(entry.address.slice(records.base.length, -1));
  drop(entry.address);
}

// What was taken back stays so under its key: put back, it is a reading of its own.
function putBack({ address, kind, frame, values, speedUnit, where, page }, records) {
  letGo({ address }, records);
  put(records.address(newKey()), { kind, frame, values, speedUnit, gone: false, version: null, where, page });
}

function way(words, act) {
  const button = make("button", "btn", words);
  button.type = "button";
  button.addEventListener("click", act);
  return button;
}
