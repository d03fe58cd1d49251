// A figure as the server describes it, in the drawing library's words: the same lines, marks and places as the SVG.
const PENS = {
  as_received: { width: 1.2, dash: "5px,3px", size: 5 },
  latest: { width: 2, dash: "solid", size: 7 },
  draft: { width: 2, dash: "2px,3px", size: 8 },
  final: { width: 3, dash: "solid", size: 8 },
};
const NAMES = ["paper", "grid", "grid-strong", "text", "quiet", "received", "trial", "final", "model", "outside", "outside-word"];
const STRONG = new Set(["latest", "draft", "final"]);

// The theme's colours, as the browser resolves them here.
export function colours(element) {
  const probe = document.createElement("span");
  element.append(probe);
  const found = {};
  for (const name of NAMES) {
    probe.style.color = `var(--chart-${name})`;
    found[name] = getComputedStyle(probe).color;
  }
  found.font = getComputedStyle(probe).fontFamily;
  probe.remove();
  return { ...found, as_received: found.received, latest: found.trial, draft: found.trial, band: found.quiet };
}

export function traces(figure, pens) {
  return [
    ...band(figure, pens),
    ...(figure.areas ?? []).map((area) => shaded(area, pens)),
    ...figure.traces.flatMap((trace) => sweeps(trace, pens)),
    ...(figure.model ? [...spread(figure.model, pens), model(figure.model, pens)] : []),
    // Axes of the other frame are only drawn when something lies on them.
    { x: [null], y: [null], xaxis: "x2", yaxis: "y2", hoverinfo: "skip", showlegend: false },
  ];
}

function band({ band: edges }, pens) {
  if (!edges) return [];
  const line = { color: pens.quiet, width: 1 };
  const plain = { x: edges.rpm, mode: "lines", line, hoverinfo: "skip", cliponaxis: true };
  const hatch = { shape: "/", fgcolor: pens.received, bgcolor: pens.grid, fgopacity: 0.6, size: 7, solidity: 0.12 };
  return [{ ...plain, y: edges.low }, { ...plain, y: edges.high, fill: "tonexty", fillpattern: hatch }];
}

// Too much with upright strokes, too little with dots: told apart without colour.
function shaded({ side, rpm, edge, line }, pens) {
  const shape = side === "above" ? "|" : ".";
  const fillpattern = { shape, fgcolor: pens["outside-word"], bgcolor: "rgba(0,0,0,0)", fgopacity: 0.7, size: 6, solidity: 0.2 };
  return {
    x: [...rpm, ...rpm.toReversed(), rpm[0]], y: [...line, ...edge.toReversed(), line[0]], mode: "lines", fill: "toself", fillpattern,
    line: { color: pens["outside-word"], width: 0.8 }, hoverinfo: "skip",
  };
}

function sweeps(trace, pens) {
  const pen = PENS[trace.role];
  const judged = trace.role !== "as_received";
  return [false, true].map((falling) => {
    const points = trace.points.filter((point) => point.falling === falling);
    const out = points.map((point) => judged && Boolean(point.outside_deg));
    const shape = falling ? "triangle-down-open" : "circle";
    const odd = points.map((point) => trace.role === "draft" && point.stray);
    const paint = out.map((isOut, at) => (isOut || odd[at] ? pens.outside : pens[trace.role]));
    return {
      x: points.map((point) => point.crank_rpm),
      y: points.map((point) => point.crank_deg),
      customdata: points.map((point) => words(point, judged)),
      hovertemplate: `%{customdata}<extra>${trace.label}${falling ? ", falling" : ""}</extra>`,
      mode: "lines+markers",
      line: { color: pens[trace.role], width: falling ? pen.width * 0.7 : pen.width, dash: falling ? "1px,4px" : pen.dash },
      marker: {
        color: paint,
        symbol: out.map((isOut, at) => (odd[at] ? (falling ? "square-open" : "square") : isOut ? (falling ? "diamond-open" : "diamond") : shape)),
        size: out.map((isOut, at) => pen.size + (isOut || odd[at] ? 4 : falling ? 2 : 0)),
        line: { width: 1.5, color: paint },
        opacity: 1,
      },
      cliponaxis: false,
    };
  }).filter((sweep) => sweep.x.length);
}

function words(point, judged) {
  const out = judged && point.outside_deg;
  const side = out ? `, ${Math.abs(out).toFixed(1)} ${out > 0 ? "over" : "under"}` : "";
  return `${point.crank_deg.toFixed(1)}° at ${point.crank_rpm.toFixed(0)} crank rpm${side}<br>${point.shaft_deg.toFixed(2)}° at ${point.shaft_rpm.toFixed(0)} distributor rpm`;
}

function model({ label, rpm, deg }, pens) {
  return { x: rpm, y: deg, name: label, mode: "lines", line: { color: pens.model, width: 1.5, dash: "9px,3px,2px,3px" }, hoverinfo: "skip" };
}

// Where the model's line may lie: dotted edges, upright strokes between.
function spread({ rpm, low, high }, pens) {
  if (!low) return [];
  const line = { color: pens.model, width: 1, dash: "1.5px,2.5px" };
  const plain = { x: rpm, mode: "lines", line, hoverinfo: "skip", cliponaxis: true };
  const strokes = { shape: "|", fgcolor: pens.model, bgcolor: "rgba(0,0,0,0)", fgopacity: 0.55, size: 6, solidity: 0.12 };
  return [{ ...plain, y: low }, { ...plain, y: high, fill: "tonexty", fillpattern: strokes }];
}

export function layout(figure, pens, place, zoom) {
  const size = place.clientWidth < 420 ? 11 : 13;
  const ratio = figure.crank_per_shaft;
  const x = zoom?.x ?? [figure.x.min, figure.x.max];
  const y = zoom?.y ?? [figure.y.min, figure.y.max];
  const other = { fixedrange: true, showgrid: false, zeroline: false, tickfont: { color: pens.quiet }, ticklen: 0, nticks: 7 };
  return {
    width: place.clientWidth,
    height: place.clientHeight,
    margin: { l: size * 2.6, r: size * 2.6, t: size * 3.1, b: size * 3.1, pad: 0 },
    font: { family: pens.font, size, color: pens.text },
    paper_bgcolor: "rgba(0,0,0,0)",
    plot_bgcolor: pens.paper,
    showlegend: false,
    hovermode: "closest",
    hoverlabel: { bgcolor: pens.paper, bordercolor: pens.text, font: { color: pens.text, family: pens.font, size } },
    // A finger scrolls the page; only a mouse draws a zoom.
    dragmode: matchMedia("(pointer: coarse)").matches ? false : "zoom",
    uirevision: figure.key,
    xaxis: { ...axis(figure.x, pens, zoom), range: x },
    yaxis: { ...axis(figure.y, pens, zoom), range: y },
    xaxis2: { ...other, overlaying: "x", side: "top", range: x.map((value) => value / ratio) },
    yaxis2: { ...other, overlaying: "y", side: "right", range: y.map((value) => value / ratio) },
    annotations: [...titles(figure, pens, size), ...figure.labels.map((label) => word(label, pens, size)), ...figure.misses.map((miss) => word({ ...miss, role: "outside-word" }, pens, size))],
    shapes: figure.labels.filter((label) => label.leader).map((label) => leader(label, figure, pens)),
  };
}

function axis({ ticks, fine }, pens, zoom) {
  const step = ticks.length > 1 ? ticks[1] - ticks[0] : undefined;
  const plain = { zeroline: false, showline: true, mirror: true, linecolor: pens.text, linewidth: 1, gridcolor: pens["grid-strong"], gridwidth: 1, ticklen: 0, separatethousands: false, tickformat: "~f" };
  const minor = { showgrid: true, gridcolor: pens.grid, gridwidth: 1 };
  if (zoom || !step) return { ...plain, minor };
  return { ...plain, tick0: ticks[0], dtick: step, minor: { ...minor, tick0: fine[0], dtick: fine[1] - fine[0] } };
}

function titles({ x, y, x2, y2 }, pens, size) {
  const plain = { xref: "paper", yref: "paper", showarrow: false, font: { size, color: pens.text } };
  const quiet = { size, color: pens.quiet };
  const high = size * 3.1;
  return [
    { ...plain, text: y.title, x: 0, xanchor: "left", xshift: -size * 2.6, y: 1, yanchor: "top", yshift: high },
    { ...plain, text: x2.title, x: 0.5, xanchor: "center", y: 1, yanchor: "top", yshift: high, font: quiet },
    { ...plain, text: y2.title, x: 1, xanchor: "right", xshift: size * 2.6, y: 1, yanchor: "top", yshift: high, font: quiet },
    { ...plain, text: x.title, x: 0.5, xanchor: "center", y: 0, yanchor: "bottom", yshift: -high },
  ];
}

function word({ role, text, x, y, anchor }, pens, size) {
  const isStrong = STRONG.has(role) || role === "outside-word";
  return {
    x, y, text, showarrow: false, xanchor: anchor === "end" ? "right" : "left", yanchor: "middle", borderpad: 0,
    font: { size, color: pens[role], weight: isStrong ? 600 : 400 }, bgcolor: pens.paper, opacity: 0.92,
  };
}

function leader({ x, y, end }, figure, pens) {
  const near = (figure.x.max - figure.x.min) * 0.006;
  return { type: "line", x0: end[0] + near, y0: end[1], x1: x - near / 2, y1: y, line: { color: pens.quiet, width: 0.7 } };
}
