// What one reading is to the band, in words that name it.
import { plain } from "../numbers.js";
import { outside } from "./figure.js";

// As { kind, words }, kind "in", "out" or "none"; the run says its frame_name, and to_crank what it makes at the crank.
export function verdictOn(record, band, { frame_name: frame, to_crank: ratio }) {
  const { speed_rpm: rpm, advance_deg: deg } = record?.values ?? {};
  const out = record?.kind === "reading" ? outside(band, rpm * ratio, deg * ratio) : null;
  if (out === null) return { kind: "none", words: "" };
  const far = `${Math.abs(out / ratio).toFixed(1)} ${frame} deg ${out > 0 ? "over" : "under"} the band`;
  const words = `${plain(rpm)} ${frame} rpm, ${deg.toFixed(1).replace("-", "−")} ${frame} deg: ${out ? far : "in the band"}`;
  return { kind: out ? "out" : "in", words };
}
