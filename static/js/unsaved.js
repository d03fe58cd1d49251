// Says that a form[data-keep] holds something not saved yet, and asks before the page is left with it.
const changed = new Set();

function mark(form) {
  changed.add(form);
  const state = form.querySelector("[data-unsaved]");
  if (state) state.hidden = false;
}

for (const kind of ["input", "bobweight:restored"]) {
  document.addEventListener(kind, ({ target }) => {
    const form = target.closest("form[data-keep]");
    if (form) mark(form);
  });
}
for (const kind of ["submit", "reset"]) {
  document.addEventListener(kind, ({ target }) => changed.delete(target));
}
document.addEventListener("click", ({ target }) => {
  const form = target.closest("[data-forget]")?.closest("form");
  if (form) changed.delete(form);
});
for (const kind of ["htmx:responseError", "htmx:sendError"]) {
  document.addEventListener(kind, ({ detail }) => {
    const form = detail.elt.closest?.("form[data-keep]");
    if (form) mark(form);
  });
}
// A form that came back refused holds what is still not saved.
const markRefused = (root) => root.querySelectorAll?.("form[data-keep][data-bound]").forEach(mark);
document.addEventListener("htmx:load", ({ detail }) => markRefused(detail.elt));
markRefused(document);

window.addEventListener("beforeunload", (event) => {
  if ([...changed].some((form) => form.isConnected)) event.preventDefault();
});
