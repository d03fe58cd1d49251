// The curve beside the grid: the figure as the server drew it, and over it what is typed since.
import { show } from "../draw.js";
import { withPoints } from "./figure.js";

export class RunCurve {
  constructor(chart, run) {
    this.chart = chart;
    this.run = run; // how its frame is called, and what it makes at the crank
  }

  get holder() { return this.chart.querySelector("script[type='application/json']"); }

  // The figure that stands there is the server's.
  read(version) {
    this.served = { ...JSON.parse(this.holder.textContent), version };
  }

  adopt({ chart, version }) {
    show(this.chart, chart);
    this.read(version);
  }

  draw(records) {
    const { to_crank: ratio } = this.run;
    const points = records.list("reading").map(({ values }) => ({
      crank_rpm: values.speed_rpm * ratio,
      crank_deg: values.advance_deg * ratio,
      falling: values.falling,
    }));
    this.holder.textContent = JSON.stringify(withPoints(this.served, points, this.run));
    this.chart.dispatchEvent(new CustomEvent("chart:new", { bubbles: true }));
  }
}
