// What is typed at the pad or a keyboard: which key means what, and what a text comes to as a reading.
import { plain, plainly, understood } from "../numbers.js";

const DIGIT = /^[0-9.,]$/;
const AS_IT_IS = /^[+−-]?(\d+([.,]\d{1,2})?|[.,]\d+)$/; // means the same to everyone
const ARROWS = { ArrowDown: [1, 0], ArrowUp: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1] };

// What a key asks for: { move }, { keep }, { leave }, { clear }, { press }; null where it is not the screen's. The
// reading has the focus (isOurs) or a button that acts by itself (acts); a row is being asked for (isAsking).
export function meantBy(key, { isOurs, acts, isAsking, text }) {
  const move = ARROWS[key];
  if (move && !acts && !(isOurs && move[1] && text)) return { move };
  if (key === "Enter" && !acts) return { keep: true };
  if (key === "Escape" && isAsking) return { leave: true };
  if (key === "Escape" && text) return { clear: true };
  const types = DIGIT.test(key) || key === "-" || (key === "Backspace" && !acts);
  return !isOurs && types ? { press: key } : null;
}

// The text after a key of the pad; what was refused gives way to the next digit.
export function edited(text, key, isRefused) {
  if (key === "Backspace") return text.slice(0, -1);
  if (key === "-") return /^[-−]/.test(text) ? text.slice(1) : `−${text}`;
  return (isRefused ? "" : text) + key;
}

// What was typed as { number, text }, the text with one mark at most; or { why } it can't be kept.
export function taken(typed, { name, unit, limits, beside, decimals = null }) {
  const { number, why } = understood(typed, { limits, decimals }), [low, high] = limits;
  if (why) return { why };
  if (number < low || number > high) return { why: `${name} of ${plain(number)} ${unit} is not possible: write ${plain(low)} to ${plain(high)}. ${beside}`.trim() };
  return { number, text: AS_IT_IS.test(typed.trim()) ? typed.trim() : plainly(number) };
}

// What is asked of a value of a grid, and of another row in it, in the unit that is shown: limits to a tenth.
export const ruleOf = (grid) => ({ name: grid.value_name, unit: grid.unit, limits: grid.limits, beside: grid.beside });

export function ruleOfRow({ other }, unit) {
  const factor = unit?.kpa ?? 1;
  return { ...other, unit: unit?.name ?? other.unit, limits: other.limits.map((limit) => Math.round((limit / factor) * 10) / 10) };
}

// What is unusual about a value that is kept all the same, in words; an empty text while nothing is.
export function oddness({ usual, unit }, name, number) {
  if (!usual || (number >= usual[0] && number <= usual[1])) return "";
  const [low, high] = usual.map(plain);
  return `${name}: ${plain(number)} ${unit} is unusual, ${low} to ${high} is what most units show. Kept; if it was mistyped, take it back.`;
}

// Numbers as they are sent: as text, like what is typed.
export const spoken = (values) => Object.fromEntries(Object.entries(values).map(([name, value]) => [name, typeof value === "number" ? plainly(value) : value]));
