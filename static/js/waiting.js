// On every page: bench readings that are still on this tablet, waiting or refused, and the way to them. The bench
// says those of its own run itself, reading by reading.
import { drop, put, waiting, waitingForOthers, whyWaiting } from "./outbox.js";

const bench = document.getElementById("bench-data");
const here = bench && JSON.parse(bench.textContent).readings;
const many = (count) => `${count} bench ${count === 1 ? "reading" : "readings"}`;
let letGoLast = null; // can be put back until the page is left
const wait = (count) => `${many(count)} ${count === 1 ? "waits" : "wait"} on this tablet`;

function show() {
  const left = waiting().filter(({ address }) => !here || !address.startsWith(here));
  const refused = left.filter((entry) => entry.refusal), sent = left.filter((entry) => !entry.refusal);
  const lines = waitingForOthers().map(([name, count]) => ["waiting", `${wait(count)} for ${name} to log in.`]);
  if (sent.length && whyWaiting()) lines.unshift(["waiting", `${wait(sent.length)}, the first from ${sent[0].where}. ${whyWaiting().text}`, sent[0]]);
  if (refused.length) lines.unshift(["failed", `${many(refused.length)} not saved, the first (${typed(refused[0])}) from ${refused[0].where}. ${refused[0].refusal.why}`, refused[0]]);
  if (letGoLast) lines.push(["waiting", `Let go: ${typed(letGoLast)} from ${letGoLast.where}.`, null, letGoLast]);
  lay(lines);
}

function lay(lines) {
  const before = document.querySelector("[data-waiting]"), shown = JSON.stringify(lines);
  if (before?.dataset.shown === shown) return; // the focus stays
  const hadFocus = before?.contains(document.activeElement);
  before?.remove();
  if (!lines.length) return;
  const place = document.createElement("div");
  place.dataset.waiting = "";
  place.dataset.shown = shown;
  place.append(...lines.map(note));
  document.getElementById("main").prepend(place);
  if (hadFocus) (place.querySelector("button") ?? place.querySelector("a")).focus();
}

function note([state, words, entry, gone]) {
  const paragraph = document.createElement("p");
  paragraph.className = "note";
  paragraph.dataset.state = state;
  paragraph.textContent = `${words} `;
  if (entry) paragraph.append(link(entry));
  if (entry?.refusal) paragraph.append(" ", button("Let it go", () => letGo(entry))); // a closed card's bench is out of reach
  if (gone) paragraph.append(button("Put it back", () => putBack(gone)));
  return paragraph;
}

// What was typed, after the speed it was read at.
function typed({ kind, speedUnit = "rpm", values: { speed_rpm: speed, falling, ...typedIn } }) {
  const way = kind === "reading" ? ` ${falling ? "falling" : "rising"}` : "";
  return [speed && `${speed} ${speedUnit}${way}`, ...Object.values(typedIn)].filter(Boolean).join(", ");
}

function button(words, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "btn";
  made.textContent = words;
  // The second half of a double tap would fall on the next reading's button.
  made.addEventListener("click", ({ detail }) => detail > 1 || act());
  return made;
}

function letGo(entry) {
  letGoLast = entry;
  drop(entry.address);
}

function putBack({ address, kind, frame, values, gone, version, where, page, speedUnit }) {
  letGoLast = null;
  put(address, { kind, frame, values, gone, version, where, page, speedUnit });
}

function link({ page, where }) {
  const anchor = document.createElement("a");
  anchor.href = page;
  anchor.textContent = `To ${where} at the bench`;
  return anchor;
}

document.addEventListener("outbox:changed", show);
show();
