import type uPlot from "uplot";
import { colour } from "./theme.svelte.ts";

/** An axis in the colours of the sheet. */
export function axis(more: uPlot.Axis = {}): uPlot.Axis {
  return {
    stroke: colour("soft"),
    font: "11px system-ui, sans-serif",
    labelFont: "11px system-ui, sans-serif",
    labelSize: 18,
    size: 42,
    grid: { stroke: colour("rule"), width: 0.6 },
    ticks: { stroke: colour("rule"), width: 0.6, size: 4 },
    ...more,
  };
}
