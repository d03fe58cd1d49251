// On every page: bench readings that still wait on this tablet are sent on, and said while they can't be.
import { waiting, waitingForOthers, whyWaiting } from "./outbox.js";

const many = (count) => (count === 1 ? "1 bench reading waits" : `${count} bench readings wait`);

function show() {
  if (document.querySelector("[data-bench]")) return; // the bench says it itself, reading by reading
  document.querySelector("[data-waiting]")?.remove();
  const [first] = waiting();
  const lines = waitingForOthers().map(([name, count]) => `${many(count)} on this tablet for ${name} to log in.`);
  if (first && (whyWaiting() || first.refusal)) lines.unshift(`${many(waiting().length)} on this tablet, the first from ${first.where}. ${first.refusal?.why ?? whyWaiting().text}`);
  if (!lines.length) return;
  const note = document.createElement("p");
  note.className = "note";
  note.dataset.waiting = "";
  note.dataset.state = "waiting";
  note.textContent = `${lines.join(" ")} `;
  if (first) note.append(link(first));
  document.getElementById("main").prepend(note);
}

function link({ page, where }) {
  const anchor = document.createElement("a");
  anchor.href = page;
  anchor.textContent = `To ${where} at the bench`;
  return anchor;
}

document.addEventListener("outbox:changed", show);
show();
