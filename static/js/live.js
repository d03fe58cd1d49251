// Tells the server with each request which parts of this page follow every write, and how they stand; those that
// changed come along with the answer (shop/live.py). A part in which something is being typed is not told of: it
// stays as it is, and the parts within it follow by themselves.
document.addEventListener("htmx:configRequest", ({ detail }) => {
  const parts = [...document.querySelectorAll("[data-stands]")].filter((part) => !isInUse(part));
  if (parts.length) detail.headers["Live-Parts"] = parts.map((part) => `${part.id}=${part.dataset.stands}`).join(" ");
});

// Answers may overtake each other: one that is older than what stands does not replace it.
let newest = 0, isLate = false;
const replaced = new Map(); // as of when, by the part's id

function mayReplace(target, xhr) {
  const asOf = Number(xhr.getResponseHeader("As-Of") ?? NaN), stands = replaced.get(target.id);
  isLate = asOf < newest;
  if (asOf < stands) return false;
  if (!Number.isNaN(asOf)) replaced.set(target.id, asOf);
  newest = Math.max(newest, asOf || 0);
  return true;
}

document.addEventListener("htmx:beforeSwap", ({ detail }) => {
  if (isLeftAlone(detail) || !mayReplace(detail.target, detail.xhr)) detail.shouldSwap = false;
});

// A part that asks for itself, by the clock or after a write, leaves alone what is at work in it; then it asks again.
const leftAlone = new Set();

function isLeftAlone({ target, requestConfig: { elt, triggeringEvent } }) {
  const isByItself = elt === target && (triggeringEvent?.type ?? "written") === "written";
  if (!isByItself || !isAtWork(target)) return false;
  leftAlone.add(target.id);
  return true;
}

const isAtWork = (part) => Boolean(part.querySelector("details[open] form")) || isTypedIn(part);

for (const kind of ["toggle", "focusout", "change"]) {
  document.addEventListener(kind, () => {
    const free = [...leftAlone].filter((name) => !isAtWork(document.getElementById(name) ?? document.body));
    for (const name of free) leftAlone.delete(name);
    if (free.length) htmx.trigger(document.body, "written");
  }, true);
}

// A part may be replaced by one answer while the next is on its way to it: that one goes where it stands now.
document.addEventListener("htmx:beforeRequest", ({ detail: { xhr, elt, target } }) => {
  const take = xhr.onload;
  xhr.onload = () => (elt.isConnected && target.isConnected ? take() : takeLater(document.getElementById(target.id), xhr));
});

function takeLater(target, xhr) {
  if (!target) return;
  if (![200, 409, 422].includes(xhr.status)) return htmx.trigger(target, "htmx:responseError", { elt: target, xhr });
  if (mayReplace(target, xhr)) htmx.swap(target, xhr.response, { swapStyle: "outerHTML" });
  htmx.trigger(document.body, "written");
}

// What was unfolded stays unfolded.
document.addEventListener("htmx:oobBeforeSwap", ({ detail }) => {
  const { target, fragment } = detail;
  if (isLate) return void (detail.shouldSwap = false);
  replaced.set(target.id, newest);
  const before = [...target.querySelectorAll("details")], after = [...fragment.querySelectorAll("details")];
  if (before.length === after.length) after.forEach((details, place) => (details.open ||= before[place].open));
});

const isInUse = (part) => [...part.querySelectorAll("form[data-keep]")].some(isOpened) || isTypedIn(part);

// A form put in its place to be filled in is in use though nothing is typed yet; one that always lies folded is not.
const isOpened = (form) => !form.closest("details.fold");

function isTypedIn(part) {
  const fields = [...part.querySelectorAll("input:not([type=hidden]), select, textarea")];
  return fields.some((field) => field === document.activeElement || isTyped(field));
}

function isTyped(field) {
  if (field.matches("select")) return field.selectedIndex !== Math.max([...field.options].findIndex((option) => option.defaultSelected), 0);
  return field.matches("[type=checkbox], [type=radio]") ? field.checked !== field.defaultChecked : field.value !== field.defaultValue;
}
