import type { Drawing, DrawnModule } from "../documents.ts";

// Where the drawing puts everything. Down the page is depth, to one scale; across it only keeps things apart.

export interface Spot {
  path: string;
  x: number;
  y: number;
}

export interface Layout {
  surfaceY: number;
  /** Where the bed lies; where its depth is not known, the end of what is drawn. */
  bedY: number;
  bedKnown: boolean;
  /** Pixels of a metre of depth. */
  perMetre: number;
  ticks: { depth_m: number; y: number }[];
  /** `tagWidth`: widest that what stands beside a module may be. */
  modules: (Spot & { module: DrawnModule; labelY: number; tagWidth: number })[];
  sections: { path: string; x1: number; y1: number; x2: number; y2: number }[];
  /** `labelled`: there is room for words beside it; `chars`: how many letters of a line of them. */
  spans: { path: string; line: string; labelX: number; labelY: number; anchorX: number; anchorY: number; side: "end" | "start" | "middle"; labelled: boolean; chars: number }[];
  anchors: Spot[];
  hung: Spot[];
  /** Whether there is room for more than a name beside each thing. */
  roomy: boolean;
  /** Whether there is room for a second, shorter line beside each module all the same. */
  wordy: boolean;
}

const RULER = 52;
/** Width of a letter of a label, px. */
const LETTER = 6.3;
/** Of what stands beside a module: from its middle, and how wide it may be. */
const TAG = { from: 28, width: 150, above: 17, below: 5, belowTwo: 19 };

interface Box {
  left: number;
  right: number;
  top: number;
  bottom: number;
}

const meets = (a: Box, b: Box): boolean => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;

/** A step of 1, 2 or 5 tens such that at most `most` of them fit. */
export function niceStep(range: number, most: number): number {
  const raw = range / most;
  const ten = 10 ** Math.floor(Math.log10(raw));
  for (const n of [1, 2, 5, 10]) if (n * ten >= raw * 0.9999) return n * ten;
  return 10 * ten;
}

/** Moves labels apart that would lie on each other, as little as it can, within bounds. Keeps their order. */
export function spread(wanted: readonly number[], apart: number, low: number, high: number): number[] {
  const order = wanted.map((_, i) => i).sort((a, b) => (wanted[a] ?? 0) - (wanted[b] ?? 0) || a - b);
  const gap = order.length > 1 ? Math.min(apart, (high - low) / (order.length - 1)) : apart;
  // Blocks of labels that touch each lie about the mean of what their members want.
  const blocks: { members: number[]; top: number }[] = [];
  for (const i of order) {
    blocks.push({ members: [i], top: wanted[i] ?? 0 });
    for (;;) {
      const last = blocks[blocks.length - 1];
      const before = blocks[blocks.length - 2];
      if (last === undefined) break;
      const height = (last.members.length - 1) * gap;
      last.top = Math.max(low, Math.min(high - height, last.top));
      if (before === undefined || before.top + before.members.length * gap <= last.top + 1e-9) break;
      const members = [...before.members, ...last.members];
      const mean = members.reduce((sum, m, n) => sum + (wanted[m] ?? 0) - n * gap, 0) / members.length;
      blocks.splice(-2, 2, { members, top: mean });
    }
  }
  const placed = new Array<number>(wanted.length).fill(0);
  for (const block of blocks) block.members.forEach((m, n) => (placed[m] = block.top + n * gap));
  return placed;
}

/** Each module's column: what hangs on one section, or on sections that follow each other, hangs under each other. */
function columns(drawing: Drawing): { of: Map<string, number>; count: number; sectionOf: Map<string, number> } {
  const of = new Map<string, number>();
  const sectionOf = new Map<string, number>();
  let count = 0;
  for (const section of drawing.sections) {
    // A second section from the same end gets a column of its own.
    const joined = of.get(section.from) ?? of.get(section.to);
    const taken = [...sectionOf].some(([path, column]) => column === joined && drawing.sections.some((other) => other.path === path && (other.from === section.from || other.to === section.to)));
    const column = joined === undefined || taken ? count++ : joined;
    sectionOf.set(section.path, column);
    for (const end of [section.from, section.to]) if (!of.has(end)) of.set(end, column);
  }
  for (const module of drawing.modules) {
    const column = module.section === null ? undefined : sectionOf.get(module.section);
    if (column !== undefined) of.set(module.path, column);
    else if (!of.has(module.path)) of.set(module.path, drawing.sections.length === 0 && module.depth_m !== null && count > 0 ? 0 : count++);
  }
  return { of, count: Math.max(1, count), sectionOf };
}

/** `worded`: modules have two lines beside them even where there is little room. */
export function lay(drawing: Drawing, width: number, height: number, worded = false): Layout {
  const surfaceY = 64;
  const bedKnown = drawing.water_depth_m !== null;
  const bedY = Math.max(surfaceY + 120, height - (bedKnown ? 30 : 84));
  const deepest = Math.max(drawing.water_depth_m ?? 0, ...drawing.modules.map((one) => one.depth_m ?? 0));
  const perMetre = (bedY - surfaceY) / Math.max(deepest, 1e-6);
  const step = niceStep(deepest, Math.max(3, Math.floor((bedY - surfaceY) / 44)));
  const ticks: Layout["ticks"] = [];
  // Of a water whose depth is not known there is no scale to read a depth from.
  for (let n = 0; bedKnown && n * step <= deepest * 1.0001; n += 1) ticks.push({ depth_m: n * step, y: surfaceY + n * step * perMetre });

  const { of, count, sectionOf } = columns(drawing);
  const roomy = count === 1 && width >= 520;
  const usable = width - RULER - 16;
  const most = Math.max(...Array.from({ length: count }, (_, column) => drawing.modules.filter(({ path }) => (of.get(path) ?? 0) === column).length));
  const wordy = !roomy && usable / count >= 140 && most * 39 <= bedY - surfaceY + 14;
  const xOf = (column: number): number => (count === 1 ? RULER + usable * (roomy ? 0.5 : width < 340 ? 0.24 : 0.36) : RULER + (usable * (column + 0.32)) / count);
  const yOf = (depth_m: number | null | undefined): number => surfaceY + (depth_m ?? 0) * perMetre;

  const spot = new Map<string, Spot>();
  const modules = drawing.modules
    .map((module) => ({ path: module.path, x: xOf(of.get(module.path) ?? 0), y: yOf(module.depth_m), module, labelY: 0, tagWidth: roomy ? 210 : TAG.width }))
    .sort((a, b) => a.y - b.y || (a.path < b.path ? -1 : 1));
  // Modules at one depth of one column would lie on each other.
  modules.forEach((one, i) => {
    const before = modules[i - 1];
    if (before !== undefined && before.x === one.x && one.y - before.y < 9) one.x = before.x + 16;
  });
  for (const one of modules) spot.set(one.path, one);
  const anchors = drawing.anchors.flatMap((anchor) => {
    const depth_m = anchor.depth_m ?? drawing.water_depth_m;
    return depth_m === null ? [] : [{ path: anchor.path, x: xOf(of.get(anchor.path) ?? 0), y: yOf(depth_m) }];
  });
  for (const one of anchors) spot.set(one.path, one);
  const hung: Spot[] = [];
  for (const one of [...drawing.floats, ...drawing.weights]) {
    const section = one.position?.section;
    const on = drawing.sections.find((each) => each.path === section);
    const from = on === undefined ? undefined : spot.get(on.from);
    const to = on === undefined ? undefined : spot.get(on.to);
    const share = on === undefined ? 0 : (one.position?.from_top_m ?? 0) / on.length_m;
    const depth_m = one.position?.depth_m ?? one.depth_m ?? null;
    const y = depth_m !== null ? yOf(depth_m) : from && to ? from.y + (to.y - from.y) * share : null;
    if (y === null) continue;
    const column = section === undefined ? of.get(one.path) : sectionOf.get(section);
    const placed = { path: one.path, x: xOf(column ?? 0), y };
    hung.push(placed);
    spot.set(one.path, placed);
  }
  const sections = drawing.sections.flatMap((section) => {
    const from = spot.get(section.from);
    const to = spot.get(section.to);
    return from === undefined || to === undefined ? [] : [{ path: section.path, x1: from.x, y1: from.y, x2: to.x, y2: to.y }];
  });

  for (let column = 0; column < count; column += 1) {
    const here = modules.filter((one) => (of.get(one.path) ?? 0) === column);
    const placed = spread(here.map(({ y }) => y), roomy || wordy || worded ? 39 : 24, surfaceY - 22, bedY - 8);
    here.forEach((one, i) => (one.labelY = placed[i] ?? one.y));
  }

  if (!roomy) {
    // Beside the next column's things, and not upon them.
    for (const one of modules) {
      const beside = [...spot.values()].filter(({ x, y }) => x > one.x + TAG.from && Math.abs(y - one.labelY) < 36).map(({ x }) => x - 24);
      one.tagWidth = Math.max(56, Math.min(TAG.width, ...beside.map((x) => x - one.x - TAG.from), width - one.x - TAG.from - 4));
    }
  }

  const drawn = drawing.spans.flatMap((span) => {
    const from = spot.get(span.from);
    const to = spot.get(span.to);
    return from === undefined || to === undefined ? [] : [{ span, from, to }];
  });
  const lanes = new Map<string, number>();
  const spans = drawn.map(({ span, from, to }) => {
    const key = [from.path, to.path].sort().join(" ");
    const lane = lanes.get(key) ?? 0;
    lanes.set(key, lane + 1);
    const far = Math.abs(to.y - from.y);
    const bulge = Math.min(from.x, to.x) - 26 - lane * 10 - (far > 120 ? 8 : 0);
    const line = from.x === to.x || roomy ? `M${from.x - 10} ${from.y} C${bulge} ${from.y} ${bulge} ${to.y} ${to.x - 10} ${to.y}` : `M${from.x} ${from.y} L${to.x} ${to.y}`;
    const middle = { x: (from.x + to.x) / 2, y: (from.y + to.y) / 2 };
    const anchor = { anchorX: roomy ? bulge + 3 : middle.x, anchorY: middle.y };
    if (roomy) return { path: span.path, line, labelX: bulge - 8, labelY: middle.y, ...anchor, side: "end" as const, labelled: true, chars: Math.floor((bulge - 8 - RULER) / LETTER) };
    // Under each other: beside the cable, clear of the ruler; else upon the middle of the cable, or below one that lies along the surface.
    if (from.x === to.x) return { path: span.path, line, labelX: from.x + TAG.from, labelY: middle.y, ...anchor, side: "start" as const, labelled: true, chars: Math.floor((width - from.x - TAG.from) / LETTER) };
    const low = far < 40 ? middle.y + 30 : middle.y;
    return { path: span.path, line, labelX: middle.x, labelY: low, ...anchor, side: "middle" as const, labelled: true, chars: Math.floor((2 * Math.min(middle.x - RULER, width - middle.x)) / LETTER) };
  });
  if (roomy) {
    const labelYs = spread(spans.map(({ labelY }) => labelY), 31, surfaceY + 12, bedY - 14);
    spans.forEach((one, i) => (one.labelY = labelYs[i] ?? one.labelY));
  } else {
    // Words that would lie on others are left out: lists beside the drawing tell the same.
    const taken: Box[] = modules.map(({ x, labelY, tagWidth }) => ({ left: x + TAG.from, right: x + TAG.from + tagWidth, top: labelY - TAG.above, bottom: labelY + (wordy || worded ? TAG.belowTwo : TAG.below) }));
    for (const one of spans) {
      const half = one.side === "middle" ? 45 : 0;
      const box = { left: one.labelX - half, right: one.labelX + (half === 0 ? 90 : half), top: one.labelY - 12, bottom: one.labelY + 4 };
      one.labelled = box.top > surfaceY && box.bottom < bedY && !taken.some((each) => meets(each, box));
      if (one.labelled) taken.push(box);
    }
  }

  return { surfaceY, bedY, bedKnown, perMetre, ticks, modules, sections, spans, anchors, hung, roomy, wordy };
}
