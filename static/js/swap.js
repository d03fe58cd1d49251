// After a part of the page was replaced: the focus goes where the work goes on, and the change is read aloud.
const said = document.getElementById("said");
let workedIn = null; // the id of the part being replaced, if the person was at work in it

document.addEventListener("htmx:beforeSwap", ({ detail }) => {
  workedIn = detail.target.contains(document.activeElement) ? detail.target.id : null;
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
  else if (lost && part.id === workedIn) focusWork(part); // not in what else of the page changed, which settles first
  const news = part.querySelector?.("[data-say]");
  if (news && said) said.textContent = news.dataset.say || news.textContent.trim().replace(/\s+/g, " ");
});

function focusWork(part) {
  const field = part.querySelector?.("[autofocus]");
  if (field) return field.focus();
  const heading = part.querySelector?.("h1, h2, h3") ?? part;
  heading.setAttribute?.("tabindex", "-1");
  heading.focus?.({ preventScroll: true });
  const { bottom, top } = heading.getBoundingClientRect();
  if (bottom < 0 || top > innerHeight) heading.scrollIntoView({ block: "start" }); // the form was longer than what took its place
}
