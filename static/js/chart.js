// Curves that answer: takes the drawing the server made over, with zoom and a word for each reading.
// The drawing library is large, so it is fetched once the page is quiet; until then, and without it, the SVG stands.
import { colours, layout, traces } from "./figure.js";

const LIBRARY = document.getElementById("chart-module").dataset.library;
const zooms = new Map(); // what part of a figure is looked at, by its key: kept when the figure is replaced
const NO_BUTTONS = { displayModeBar: false, doubleClick: "reset", showTips: false };
const MAP_STYLES = "9f215cf04c5486422605d13261cb87401f4e7763b6296af81e98efbc0130da53";
let library = null;

function fetchLibrary() {
  library ??= new Promise((done, failed) => {
    // The library writes a stylesheet for maps into the page unless one with this id is there; we draw no maps,
    // and the page's policy would refuse it.
    const instead = document.createElement("meta");
    instead.id = MAP_STYLES;
    const script = document.createElement("script");
    script.src = LIBRARY;
    script.onload = () => done(window.Plotly);
    script.onerror = failed;
    document.head.append(instead, script);
  });
  return library;
}

function drawAll(root) {
  const found = root.matches?.("[data-chart]") ? [root] : [...(root.querySelectorAll?.("[data-chart]") ?? [])];
  if (!found.length) return;
  // Once it is here, a replaced chart is drawn at once, before the plain one shows.
  if (window.Plotly) found.forEach((chart) => draw(chart, window.Plotly));
  else whenQuiet(() => fetchLibrary().then((plotly) => found.forEach((chart) => draw(chart, plotly)), () => {}));
}

const whenQuiet = (work) => ("requestIdleCallback" in window ? requestIdleCallback(work, { timeout: 3000 }) : setTimeout(work, 300));

function draw(chart, plotly) {
  if (!chart.isConnected) return;
  const figure = JSON.parse(chart.querySelector("script[type='application/json']").textContent);
  const place = chart.querySelector("[data-chart-drawing]");
  if (figure.empty || !place.clientWidth) return;
  let plot = place.querySelector(".curve-plot");
  if (!plot) {
    plot = document.createElement("div");
    plot.className = "curve-plot";
    plot.setAttribute("role", "img");
    plot.setAttribute("aria-label", `${figure.title}. ${figure.description}`);
    place.append(plot);
  }
  const pens = colours(chart);
  const kept = zooms.get(figure.key);
  plotly.react(plot, traces(figure, pens), layout(figure, pens, place, kept), NO_BUTTONS);
  plot.toggleAttribute("data-zoomed", Boolean(kept));
  place.dataset.state = "drawn";
  if (plot.dataset.listens) return;
  plot.dataset.listens = "zoom";
  plot.on("plotly_relayout", (change) => follow(plot, plotly, change));
}

// The other frame's axes go with the first ones, and the zoom is remembered.
function follow(plot, plotly, change) {
  if (!Object.keys(change).some((name) => /^[xy]axis\.(range|autorange)/.test(name))) return;
  const chart = plot.closest("[data-chart]");
  const figure = JSON.parse(chart.querySelector("script[type='application/json']").textContent);
  const x = [...plot.layout.xaxis.range], y = [...plot.layout.yaxis.range];
  const whole = x[0] === figure.x.min && x[1] === figure.x.max && y[0] === figure.y.min && y[1] === figure.y.max;
  if (whole || change["xaxis.autorange"]) zooms.delete(figure.key);
  else zooms.set(figure.key, { x, y });
  plot.toggleAttribute("data-zoomed", zooms.has(figure.key));
  plotly.react(plot, plot.data, layout(figure, colours(chart), plot.parentElement, zooms.get(figure.key)), NO_BUTTONS);
}

function redraw() {
  if (window.Plotly) document.querySelectorAll("[data-chart]").forEach((chart) => draw(chart, window.Plotly));
}

document.addEventListener("chart:new", ({ target }) => drawAll(target));
document.addEventListener("htmx:load", ({ detail }) => drawAll(detail.elt));
new MutationObserver(redraw).observe(document.documentElement, { attributeFilter: ["data-theme"] });
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
addEventListener("resize", () => whenQuiet(redraw));
drawAll(document);
