// The simulated needle: at a press it is read at the speed the bench screen asks for, and fills the reading in.
const button = document.querySelector("[data-practice-read]");
const wrong = document.querySelector("[data-practice-wrong]");
const reading = document.getElementById("bench-value");
const screen = document.querySelector("[data-bench]");

async function look() {
  const { speed, falling } = screen.dataset;
  if (!speed) return say("The practice bench only shows the sweep: choose a speed of it.");
  try {
    const query = new URLSearchParams({ speed, falling: falling === "true" ? 1 : 0 });
    const answer = await fetch(`${button.dataset.practiceRead}?${query}`, { redirect: "manual" });
    if (!answer.ok) return say("The needle can't be read now: load the page again.");
    say("");
    document.dispatchEvent(new CustomEvent("bench:read", { detail: await answer.json() }));
  } catch {
    say("The needle is out of reach: try again when the connection is back.");
  }
}

function say(why) {
  wrong.textContent = why;
  wrong.hidden = !why;
}

button.hidden = false;
button.addEventListener("click", look);
// The key is free in a field that takes digits, so it asks nothing of anyone who is elsewhere on the page.
reading.addEventListener("keydown", (event) => {
  if (event.key.toLowerCase() !== "n" || event.ctrlKey || event.altKey || event.metaKey) return;
  event.preventDefault();
  look();
});
