// Who signs vouches for the card as it was read here. A write from this page is known here, so the form to sign
// follows it, from what the card said before to what it says after; what someone else changed it does not follow.
const steps = new Map(); // answers may overtake each other
const seen = () => document.querySelector("input[name=sign-seen]");

document.addEventListener("htmx:configRequest", ({ detail }) => {
  if (seen()) detail.headers["Card-Seen"] = seen().value;
});
document.addEventListener("htmx:beforeRequest", ({ detail: { xhr } }) => {
  xhr.addEventListener("load", () => {
    const [before, after] = (xhr.getResponseHeader("Card-Seen") ?? "").split(" ");
    if (after && before !== after) steps.set(before, after);
    follow();
  });
});

function follow() {
  const field = seen();
  while (steps.has(field?.value)) {
    const before = field.value;
    field.value = steps.get(before);
    steps.delete(before);
  }
}
