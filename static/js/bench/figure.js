// The figure follows a reading at once, also without a network: the run being typed is put in anew, and the
// server's own figure takes its place as soon as it has answered.
const ROLE = "draft";
const WORD = "being typed";
const ROOM = 0.35; // share of the width that the words beside a miss take

// How far a reading lies outside the band: over positive, under negative, 0 in it, null where there is none.
export function outside(band, rpm, deg) {
  if (!band || rpm < band.rpm[0] || rpm > band.rpm.at(-1)) return null;
  const low = between(band.rpm, band.low, rpm), high = between(band.rpm, band.high, rpm);
  return tidy(Math.max(deg - high, 0) + Math.min(deg - low, 0));
}

function between(xs, ys, x) {
  const at = xs.findIndex((right) => x <= right);
  if (at === 0) return ys[0];
  return ys[at - 1] + ((x - xs[at - 1]) / (xs[at] - xs[at - 1])) * (ys[at] - ys[at - 1]);
}

// The figure with these points, {crank_rpm, crank_deg, falling}, as the run being typed: {frame_name, to_crank}.
export function withPoints(figure, points, run) {
  const told = points.map((point) => ({
    ...point,
    shaft_rpm: point.crank_rpm / figure.crank_per_shaft,
    shaft_deg: point.crank_deg / figure.crank_per_shaft,
    stray: false,
    outside_deg: outside(figure.band, point.crank_rpm, point.crank_deg),
  })).sort((a, b) => a.crank_rpm - b.crank_rpm);
  const others = (things) => things.filter((thing) => thing.role !== ROLE);
  const fresh = { ...figure, empty: false, traces: others(figure.traces), labels: others(figure.labels), misses: others(figure.misses) };
  if (!told.length) return fresh;
  fresh.traces.push({ role: ROLE, label: WORD, word: WORD, points: told });
  fresh.x = reaching(figure.x, told.map((point) => point.crank_rpm));
  fresh.y = reaching(figure.y, told.map((point) => point.crank_deg));
  fresh.labels.push(label(fresh, told.at(-1)));
  const worst = told.filter((point) => point.outside_deg).sort((a, b) => Math.abs(b.outside_deg) - Math.abs(a.outside_deg))[0];
  if (worst) fresh.misses.push(miss(fresh, worst, run));
  return fresh;
}

// An axis that holds these values too, longer by whole steps.
function reaching(axis, values) {
  const step = axis.ticks[1] - axis.ticks[0], fine = axis.fine[1] - axis.fine[0];
  const low = Math.min(axis.min, ...values), high = Math.max(axis.max, ...values);
  if (low === axis.min && high === axis.max) return axis;
  const min = axis.min - Math.ceil((axis.min - low) / step) * step, max = axis.max + Math.ceil((high - axis.max) / step) * step;
  return { ...axis, min, max, ticks: along(axis.ticks, step, min, max), fine: along(axis.fine, fine, min, max) };
}

function along(marks, step, min, max) {
  const first = Math.ceil((min - marks[0]) / step), last = Math.floor((max - marks[0]) / step);
  return Array.from({ length: last - first + 1 }, (_, i) => tidy(marks[0] + (first + i) * step));
}

function label({ x }, end) {
  const aside = end.crank_rpm + (x.max - x.min) * 0.022;
  return { role: ROLE, text: WORD, end: [end.crank_rpm, end.crank_deg], x: aside, y: end.crank_deg, anchor: "start", leader: false };
}

function miss({ x, y }, { crank_rpm, crank_deg, outside_deg }, { frame_name: frame, to_crank: ratio }) {
  const side = outside_deg > 0 ? "over" : "under";
  const away = (y.max - y.min) * 0.052 * Math.sign(outside_deg);
  const share = (crank_rpm - x.min) / (x.max - x.min);
  const isLeft = outside_deg > 0 ? share > ROOM : share > 1 - ROOM; // of its reading, away from the curve, but in the drawing
  return { role: ROLE, text: `read ${Math.abs(outside_deg / ratio).toFixed(1)} ${frame} deg ${side}`, end: [crank_rpm, crank_deg], x: crank_rpm, y: crank_deg + away, anchor: isLeft ? "end" : "start", leader: false, side };
}

const tidy = (value) => Math.round(value * 1e6) / 1e6 + 0;
