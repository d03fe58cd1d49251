// What is to be done next at the bench, in words: the next reading, or what is left once a grid is read.
import { plain } from "../numbers.js";
import { starting } from "./cells.js";

// Of the other grids: those that were begun and not read to the end, and those of which nothing was read.
export function leftOf(grids, shown, records, cells) {
  const others = grids.filter((one) => one !== shown);
  const isBegun = (one) => records.list(one.kind).length > 0;
  return {
    begun: others.filter((one) => isBegun(one) && !cells.isToTheEnd(one)),
    open: others.filter((one) => !isBegun(one)),
  };
}

const names = (grids) => grids.map((one) => one.name.toLowerCase()).join(", ");

export function doneWords(grid, { begun, open }) {
  return [
    `${grid.name}: all read.`,
    begun.length && `Begun, not read to the end: ${names(begun)}.`,
    open.length && `Still open: ${names(open)}.`,
  ].filter(Boolean).join(" ");
}

export function stepWords(grid, cell) {
  if (cell.record) return `${starting(cell.name)} holds ${plain(cell.record.values[grid.value])}: a new value corrects it.`;
  if (grid.kind === "reading") return `${cell.at.falling ? "Come down" : "Go up"} to ${plain(cell.row)} ${grid.speed_unit} and read.`;
  if (grid.kind === "spark") return `${starting(cell.name)}: read how far it is off.`;
  return `Go to ${cell.name} and read.`;
}
