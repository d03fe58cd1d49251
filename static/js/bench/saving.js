// How far what was typed is saved, in words: of everything that waits on this tablet, and of one run.

// Of everything that this person typed on this tablet, whatever run it belongs to: only then is all saved.
export function sendingOf(waiting, { isOut, trouble, hasReadings }) {
  const refused = countRefused(waiting), count = waiting.length - refused;
  if (!waiting.length && !isOut) return hasReadings ? { state: "saved", words: "All saved." } : { state: "empty", words: "" };
  const words = [refused && `${refused} not saved.`, (count || isOut) && `${count} waiting. ${trouble?.text ?? ""}`];
  return { state: refused ? "failed" : "waiting", words: words.filter(Boolean).join(" ") };
}

// Why no verdict stands on a run of which these readings wait; an empty text where one does.
export function unjudged(waiting, { isBehind, isStale }) {
  const refused = countRefused(waiting), sent = waiting.length - refused;
  return [
    sent && `${many(sent)} ${sent === 1 ? "waits" : "wait"} to be saved`,
    refused && `${many(refused)} ${refused === 1 ? "is" : "are"} not saved`,
    !waiting.length && isStale && "it is read in another frame by now",
    !waiting.length && isBehind && "the last reading is being looked at",
  ].filter(Boolean).join(", ");
}

const countRefused = (waiting) => waiting.filter((entry) => entry.refusal).length;

const many = (count) => `${count} ${count === 1 ? "reading" : "readings"}`;
