// On every page: bench readings that are still on this tablet, waiting or refused, and the way to them. The bench
// says those of its own run itself, reading by reading.
import { drop, waiting, waitingForOthers, whyWaiting } from "./outbox.js";

const bench = document.getElementById("bench-data");
const here = bench && JSON.parse(bench.textContent).readings;
const many = (count) => `${count} bench ${count === 1 ? "reading" : "readings"}`;
const wait = (count) => `${many(count)} ${count === 1 ? "waits" : "wait"} on this tablet`;

function show() {
  const left = waiting().filter(({ address }) => !here || !address.startsWith(here));
  const refused = left.filter((entry) => entry.refusal), sent = left.filter((entry) => !entry.refusal);
  const lines = waitingForOthers().map(([name, count]) => ["waiting", `${wait(count)} for ${name} to log in.`]);
  if (sent.length && whyWaiting()) lines.unshift(["waiting", `${wait(sent.length)}, the first from ${sent[0].where}. ${whyWaiting().text}`, sent[0]]);
  if (refused.length) lines.unshift(["failed", `${many(refused.length)} not saved, the first (${typed(refused[0])}) from ${refused[0].where}. ${refused[0].refusal.why}`, refused[0]]);
  lay(lines);
}

function lay(lines) {
  const before = document.querySelector("[data-waiting]"), shown = JSON.stringify(lines);
  if (before?.dataset.shown === shown) return; // the focus stays
  before?.remove();
  if (!lines.length) return;
  const place = document.createElement("div");
  place.dataset.waiting = "";
  place.dataset.shown = shown;
  place.append(...lines.map(note));
  document.getElementById("main").prepend(place);
}

function note([state, words, entry]) {
  const paragraph = document.createElement("p");
  paragraph.className = "note";
  paragraph.dataset.state = state;
  paragraph.textContent = `${words} `;
  if (entry) paragraph.append(link(entry));
  if (entry?.refusal) paragraph.append(" ", letGo(entry)); // its bench is out of reach once the card is closed
  return paragraph;
}

// What was typed, after the speed it was read at.
function typed({ speedUnit = "rpm", values: { speed_rpm: speed, falling, ...typedIn } }) {
  return [speed && `${speed} ${speedUnit}`, ...Object.values(typedIn)].filter(Boolean).join(", ");
}

function letGo({ address }) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "btn";
  button.textContent = "Let it go";
  button.addEventListener("click", () => drop(address));
  return button;
}

function link({ page, where }) {
  const anchor = document.createElement("a");
  anchor.href = page;
  anchor.textContent = `To ${where} at the bench`;
  return anchor;
}

document.addEventListener("outbox:changed", show);
show();
