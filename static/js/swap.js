// After a part of the page was replaced: the focus goes where the work goes on, and the change is read aloud.
const said = document.getElementById("said");
let worked = false; // whether the person was at work in the part that is being replaced

document.addEventListener("htmx:beforeSwap", ({ detail }) => {
  worked = detail.target.contains(document.activeElement);
});

// At once: htmx does it some frames later, under the fingers of who goes on already.
document.addEventListener("htmx:afterSwap", ({ target }) => {
  const field = target.matches?.("[autofocus]") ? target : target.querySelector?.("[autofocus]");
  field?.focus();
  field?.removeAttribute("autofocus");
});

document.addEventListener("htmx:afterSettle", ({ detail }) => {
  if (!detail.requestConfig?.triggeringEvent) return; // nobody asked: it loaded with the page
  const part = detail.elt;
  const urgent = part.matches?.("[data-focus]") ? part : part.querySelector?.("[data-focus]");
  const lost = !document.activeElement || document.activeElement === document.body;
  if (urgent) urgent.focus();
  else if (worked && lost) focusWork(part);
  const news = part.querySelector?.("[data-say]");
  if (news && said) said.textContent = news.dataset.say || news.textContent.trim();
});

function focusWork(part) {
  const field = part.querySelector?.("[autofocus]");
  if (field) return field.focus();
  const heading = part.querySelector?.("h1, h2, h3") ?? part;
  heading.setAttribute?.("tabindex", "-1");
  heading.focus?.({ preventScroll: true });
}
