// Readings on their way to the server: each is kept on this tablet, under the name of who typed it, until the
// server says that it has it. They go in the order in which they were typed; one sent twice is taken once.
const PREFIX = "bobweight:bench:";
const FIRST_PAUSE_MS = 1000, LONGEST_PAUSE_MS = 15000, PATIENCE_MS = 15000;

const person = Number(document.body.dataset.person);
const personName = document.body.dataset.personName;
const unkept = new Map(); // where the browser has no storage or no room left
let pause = FIRST_PAUSE_MS, timer = 0, isSending = false, trouble = null;

// What the outbox says aloud: outbox:changed whenever it does, outbox:saved with what the server answered.
const tell = (name, detail) => document.dispatchEvent(new CustomEvent(`outbox:${name}`, { detail }));

export const whyWaiting = () => trouble;

// Not crypto.randomUUID: a shop's own address without TLS is no secure context.
export function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [8, 12, 16, 20].reduceRight((text, at) => `${text.slice(0, at)}-${text.slice(at)}`, hex);
}

// Everything that waits here by this person, oldest first.
export const waiting = () => all().filter((entry) => entry.person === person).sort((a, b) => a.order - b.order);

// Who else's readings wait on this tablet: they go when that person logs in.
export function waitingForOthers() {
  const counts = new Map();
  for (const entry of all()) if (entry.person !== person) counts.set(entry.personName, (counts.get(entry.personName) ?? 0) + 1);
  return [...counts];
}

export const find = (address) => read(keyOf(address));

// Put a reading on its way, or change what is on its way already: {kind, frame, values, gone, version, where, page}.
export function put(address, wanted) {
  const before = find(address);
  if (before && wanted.gone && !before.tried && before.version === null) return drop(address);
  const order = before?.order ?? Math.max(0, ...all().map((entry) => entry.order)) + 1;
  const version = before && wanted.version === undefined ? before.version : wanted.version ?? null;
  write({ ...before, ...wanted, version, address, order, person, personName, refusal: null, turn: (before?.turn ?? 0) + 1 });
  tell("changed");
  send();
}

export function drop(address) {
  localStorage.removeItem(keyOf(address));
  unkept.delete(keyOf(address));
  tell("changed");
}

export function send() {
  clearTimeout(timer);
  if (isSending || !person) return;
  isSending = true;
  // With several tabs open, one sends at a time, where the browser can tell them so.
  const work = navigator.locks ? navigator.locks.request(`${PREFIX}sending`, sendAll) : sendAll();
  work.finally(() => {
    isSending = false;
    tell("changed");
    if (trouble?.again && waiting().some((entry) => !entry.refusal)) {
      timer = setTimeout(send, pause);
      pause = Math.min(pause * 2, LONGEST_PAUSE_MS);
    }
  });
}

async function sendAll() {
  for (let entry = next(); entry; entry = next()) {
    if (!navigator.onLine) return void (trouble = { text: "No network: it is sent when the network is back.", again: true });
    write({ ...entry, tried: true });
    const answer = await post(entry);
    if (answer.trouble) return void (trouble = answer.trouble);
    [trouble, pause] = [null, FIRST_PAUSE_MS];
    settle(entry, answer);
    tell("changed");
  }
  trouble = null;
}

const next = () => waiting().find((entry) => !entry.refusal);

// What was changed again while it was on its way goes once more, from the version that is saved now.
function settle(entry, answer) {
  const now = find(entry.address);
  const isSame = now?.turn === entry.turn;
  if (answer.refusal) return void (now && isSame && write({ ...now, refusal: answer.refusal }));
  if (isSame) drop(entry.address);
  else if (now) write({ ...now, version: answer.said.reading?.version ?? null });
  tell("saved", { entry, ...answer.said });
}

async function post({ address, kind, frame, values, version, gone }) {
  let answer;
  try {
    answer = await fetch(address, {
      method: "POST",
      redirect: "manual",
      signal: AbortSignal.timeout(PATIENCE_MS),
      headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
      body: JSON.stringify({ person, kind, frame, values, version, gone: Boolean(gone) }),
    });
  } catch {
    return { trouble: { text: "The server can't be reached: it is sent again by itself.", again: true } };
  }
  const said = await answer.json().catch(() => null);
  if (answer.ok && said) return { said };
  if (answer.type === "opaqueredirect" || answer.status === 401 || (answer.status === 403 && !said)) {
    return { trouble: { text: said?.why ?? "You are logged out: log in again, and what waits is sent.", login: true } };
  }
  if (answer.status >= 500 || !said) return { trouble: { text: "The server could not save it: it is sent again by itself.", again: true } };
  return { refusal: { status: answer.status, why: said.why, stands: said.stands } };
}

// The cookie is the newer one when someone has logged in again in another tab.
function token() {
  const cookie = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/)?.[1];
  return cookie ?? JSON.parse(document.body.getAttribute("hx-headers"))["X-CSRFToken"];
}

const keyOf = (address) => `${PREFIX}${person}:${address}`;

function all() {
  const kept = Object.keys(localStorage).filter((key) => key.startsWith(PREFIX)).map(read);
  return [...kept, ...unkept.values()].filter(Boolean);
}

function read(key) {
  try {
    return unkept.get(key) ?? JSON.parse(localStorage.getItem(key));
  } catch {
    return null;
  }
}

function write(entry) {
  const key = keyOf(entry.address);
  try {
    localStorage.setItem(key, JSON.stringify(entry));
    unkept.delete(key);
  } catch {
    unkept.set(key, entry);
  }
}

addEventListener("online", () => { pause = FIRST_PAUSE_MS; send(); });
addEventListener("storage", ({ key }) => key?.startsWith(PREFIX) && tell("changed"));
document.addEventListener("visibilitychange", () => document.hidden || send());
addEventListener("beforeunload", (event) => { if (unkept.size) event.preventDefault(); });
if (waiting().length) send();
