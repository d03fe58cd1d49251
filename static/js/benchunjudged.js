// The verdict on a run is of what is saved: while a reading of it is not, or was saved after the verdict, none stands.
export function showUnjudged(root, records, { isBehind, isStale }) {
  const left = records.waiting, refused = left.filter((entry) => entry.refusal).length, sent = left.length - refused;
  const words = [
    sent && `${many(sent)} ${sent === 1 ? "waits" : "wait"} to be saved`,
    refused && `${many(refused)} ${refused === 1 ? "is" : "are"} not saved`,
    !left.length && isStale && "it is read in another frame by now",
    !left.length && isBehind && "the last reading is being looked at",
  ].filter(Boolean).join(", ");
  root.toggleAttribute("data-unjudged", Boolean(words));
  for (const place of root.querySelectorAll("[data-bench-unjudged]")) {
    place.hidden = !words;
    place.querySelector(".state").textContent = words && `Not judged yet: ${words}`;
  }
}

const many = (count) => `${count} ${count === 1 ? "reading" : "readings"}`;
