// Keeps what is being typed in a form[data-keep] through a reload, on this tablet and in this tab only.
//
// The version of the row that it was typed upon is kept with it: what was saved elsewhere meanwhile is then found
// out by the server, and never overwritten unseen. The one-time key is not: the page's own is the newer one.
const PREFIX = "bobweight:typed:";
const fields = "input:not([type=hidden], [type=password], [type=file]), select, textarea, [name=version], [name$=-version]";

const keyOf = (form) => PREFIX + (form.dataset.keep || form.getAttribute("action") || location.pathname);
const fieldsOf = (form) => [...form.querySelectorAll(fields)].filter((field) => field.name);

function save(form) {
  const typed = fieldsOf(form).map((field) => [field.name, field.value, field.checked ?? false]);
  try {
    sessionStorage.setItem(keyOf(form), JSON.stringify(typed));
  } catch {
    // No room or no storage: the form itself still holds what was typed.
  }
}

function restore(form) {
  if (form.matches("[data-bound]")) return save(form); // refused, or read in and not saved yet
  const kept = sessionStorage.getItem(keyOf(form));
  if (!kept || form.dataset.kept) return;
  form.dataset.kept = "looked";
  const typed = JSON.parse(kept);
  for (const field of fieldsOf(form)) {
    const match = typed.findIndex(([name, value]) => name === field.name && (!isTick(field) || value === field.value));
    if (match < 0) continue;
    const [[, value, checked]] = typed.splice(match, 1);
    if (isTick(field)) field.checked = checked;
    else field.value = value;
    const fold = form.closest("details");
    if (fold) fold.open ||= field.value !== field.defaultValue;
  }
  form.dispatchEvent(new CustomEvent("bobweight:restored", { bubbles: true }));
}

const isTick = (field) => field.type === "checkbox" || field.type === "radio";
const forget = (form) => sessionStorage.removeItem(keyOf(form));
const restoreAll = (root) => root.querySelectorAll?.("form[data-keep]").forEach(restore);

document.addEventListener("input", ({ target }) => {
  const form = target.closest("form[data-keep]");
  if (form) save(form);
});
document.addEventListener("submit", ({ target }) => {
  if (target.matches("form[data-keep]:not([hx-post])")) forget(target);
});
document.addEventListener("click", ({ target }) => {
  const form = target.closest("[data-forget]")?.closest("form[data-keep]");
  if (form) forget(form);
});
document.addEventListener("htmx:afterRequest", ({ detail }) => {
  // The form itself may be gone by now: what was saved has taken its place.
  const form = detail.requestConfig.elt;
  const taken = detail.xhr.status >= 200 && detail.xhr.status < 400;
  if (form.matches("form[data-keep]") && taken) forget(form);
});
document.addEventListener("htmx:afterSettle", ({ target }) => {
  // A part of the form was filled in: that is what a reload is to find.
  const form = target.closest?.("form[data-keep]");
  if (form && target !== form) save(form);
});
document.addEventListener("htmx:load", ({ detail }) => restoreAll(detail.elt));
restoreAll(document);
