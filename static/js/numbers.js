// What a typed number means: the rule of marks in shop/numbers.py, for what is read before the shop has seen it.
// Of two different marks the last is the decimal one, a mark that comes twice groups thousands, and one mark before
// exactly three digits can be either, until limits or the decimals that there can be leave one meaning.
const SHAPE = /^(\d+([.,]\d+)*[.,]?|[.,]\d+)$/;
const TWO_WAYS = /^[1-9]\d{0,2}[.,]\d{3}$/;
const SPACES = /[ \u00a0\u2009\u202f'’]/;

// The number in a text, as { number } or, where it has none or two, as { why }.
export function understood(text, { limits = [-Infinity, Infinity], decimals = null } = {}) {
  const typed = text.trim(), [, sign, rest] = /^([+-]?)(.*)$/s.exec(typed.replace("−", "-"));
  const meanings = byMarks(withoutSpaces(rest));
  if (!meanings) return { why: `“${typed}” is not a number: write it like 7.5 or 7,5.` };
  const turn = sign === "-" ? -1 : 1, numbers = meanings.map((one) => turn * Number(one));
  if (numbers.length === 1 || decimals === 0) return { number: numbers[0] };
  const possible = numbers.filter((one) => limits[0] <= one && one <= limits[1]);
  const sure = decimals === null || decimals > 2 ? possible.length === 1 : possible[0] === numbers[0]; // else more decimals than there can be
  if (sure) return { number: possible[0] };
  return { why: `“${typed}” can be read two ways: write ${meanings[0]} or ${plainly(Number(meanings[1]))}.` };
}

// A number as text in which nobody takes its point for a thousands mark.
export function plainly(number) {
  const text = String(number);
  return TWO_WAYS.test(text.replace("-", "")) ? `${text}0` : text;
}

// A number as it is shown: to a millionth, with a true minus sign.
export const plain = (number) => String(Math.round(number * 1e6) / 1e6).replace("-", "−");

// As plain texts with a decimal point: one, or the whole number and the other; null for what is no number.
function byMarks(digits) {
  if (!SHAPE.test(digits)) return null;
  const marks = digits.match(/[.,]/g) ?? [], [grouping] = marks, last = marks.at(-1);
  const pointed = digits.replace(",", ".");
  if (marks.length < 2) return TWO_WAYS.test(digits) ? [pointed.replace(".", ""), pointed] : [pointed];
  const isGrouped = grouping === last, place = digits.lastIndexOf(last);
  const whole = isGrouped ? digits : digits.slice(0, place);
  if (!isGrouped && marks.filter((mark) => mark === last).length > 1) return null;
  if (!areThrees(whole.split(grouping))) return null;
  return [whole.replaceAll(grouping, "") + (isGrouped ? "" : `.${digits.slice(place + 1)}`)];
}

const areThrees = ([first, ...groups]) => /^\d{1,3}$/.test(first) && groups.every((group) => /^\d{3}$/.test(group));

// Spaces and apostrophes group digits by three, or the text stays as it is.
function withoutSpaces(digits) {
  const parts = digits.split(SPACES);
  return parts.length === 1 || areThrees([...parts.slice(0, -1), parts.at(-1).split(/[.,]/)[0]]) ? parts.join("") : digits;
}
