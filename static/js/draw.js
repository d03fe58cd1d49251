// The chart follows the typing: what stands in the grid is sent to be drawn, and nothing is saved by it.
const PAUSE_MS = 120;
const waiting = new WeakMap();

function follow(form) {
  clearTimeout(waiting.get(form)?.timer);
  waiting.set(form, { ...waiting.get(form), timer: setTimeout(() => send(form), PAUSE_MS) });
}

async function send(form) {
  waiting.get(form)?.sent?.abort();
  const sent = new AbortController();
  waiting.set(form, { sent });
  const typed = new FormData(form);
  typed.delete("file");
  try {
    const answer = await fetch(form.dataset.follow, { method: "POST", body: typed, signal: sent.signal });
    if (answer.ok && !answer.redirected) show(document.getElementById(form.dataset.followIn), await answer.text());
  } catch {
    // Superseded, or out of reach: the drawing is of no account, and saving says what is wrong.
  }
}

// The plot that stands goes over into what comes: drawn once, it follows faster than a new one.
export function show(place, html) {
  const isOpen = place.querySelector("details")?.open;
  const plot = place.querySelector(".curve-plot");
  const fresh = document.createElement("div");
  fresh.innerHTML = html;
  const drawing = fresh.querySelector("[data-chart-drawing]");
  if (plot && drawing) {
    drawing.append(plot);
    drawing.dataset.state = "drawn";
  }
  place.replaceChildren(...fresh.childNodes);
  if (isOpen && place.querySelector("details")) place.querySelector("details").open = true;
  place.dispatchEvent(new CustomEvent("chart:new", { bubbles: true }));
}

function followOf(target) {
  const form = target.closest?.("form[data-follow]");
  if (form) follow(form);
}

for (const kind of ["grid:changed", "change"]) document.addEventListener(kind, ({ target }) => followOf(target));
// While one stays in a field too, and what is pasted before it is saved: in the box for lines, or read into the grid.
document.addEventListener("input", ({ target }) => followOf(target));
document.addEventListener("htmx:load", ({ detail }) => followOf(detail.elt));
