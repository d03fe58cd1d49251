// After a part of the page was replaced: the focus goes where the work goes on, and the change is read aloud.
const said = document.getElementById("said");

document.addEventListener("htmx:afterSettle", ({ detail }) => {
  if (!detail.requestConfig?.triggeringEvent) return; // nobody asked: it loaded with the page
  const part = detail.elt;
  const wanted = part.matches?.("[data-focus]") ? part : part.querySelector?.("[data-focus], [autofocus]");
  const lost = !document.activeElement || document.activeElement === document.body;
  if (wanted) wanted.focus();
  else if (lost) focusHeading(part);
  const news = part.querySelector?.("[data-say]");
  if (news && said) said.textContent = news.dataset.say || news.textContent.trim();
});

function focusHeading(part) {
  const heading = part.querySelector?.("h1, h2, h3") ?? part;
  heading.setAttribute?.("tabindex", "-1");
  heading.focus?.({ preventScroll: true });
}
