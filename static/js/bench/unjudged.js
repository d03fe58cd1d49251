// The verdict on a run is of what is saved: while a reading of it is not, or was saved after the verdict, none stands.
import { unjudged } from "./saving.js";

export function showUnjudged(root, records, { isBehind, isStale }) {
  const words = unjudged(records.waiting, { isBehind, isStale });
  root.toggleAttribute("data-unjudged", Boolean(words));
  for (const place of root.querySelectorAll("[data-bench-unjudged]")) {
    place.hidden = !words;
    place.querySelector(".state").textContent = words && `Not judged yet: ${words}`;
  }
}
