import type { Drawing, Drawn, DrawnModule, DrawnSpan } from "../documents.ts";
import { digits, quantity, withUnit } from "../words.ts";

export interface Fact {
  name: string;
  words: string;
  note?: string;
}

function ofModule(one: DrawnModule): Fact[] {
  const facts: Fact[] = [{ name: "depth", words: withUnit(one.depth_m, "m") }];
  if (one.section !== null) facts.push({ name: `along ${one.section}`, words: withUnit(one.from_top_m, "m") });
  if (one.rated_depth_m !== null) facts.push({ name: "rated depth", words: withUnit(one.rated_depth_m, "m") });
  if ("unknown" in one.voltage) facts.push({ name: "voltage", words: "unknown", note: one.voltage.unknown });
  else {
    facts.push({ name: "lowest voltage", words: withUnit(one.voltage.lowest_v, "V"), note: one.voltage.lowest_with });
    facts.push({ name: "highest voltage", words: withUnit(one.voltage.highest_v, "V") });
    facts.push({ name: "it bears", words: `${one.voltage.minimum_v === null ? "unknown" : digits(one.voltage.minimum_v)} to ${one.voltage.maximum_v === null ? "unknown" : digits(one.voltage.maximum_v)} V` });
  }
  const begins = one.states.find(({ starts }) => starts);
  if (begins !== undefined) facts.push({ name: `starts ${begins.state}`, words: quantity(begins.load) });
  for (const sensor of one.sensors) facts.push({ name: sensor.kind, words: sensor.path.split(".").slice(2).join(".") });
  for (const output of one.outputs) facts.push({ name: output.kind, words: `${output.path.split(".").slice(2).join(".")}${output.power_w === null ? "" : `, ${withUnit(output.power_w, "W")}`}` });
  return facts;
}

function ofSpan(one: DrawnSpan): Fact[] {
  const facts: Fact[] = [
    { name: "from", words: one.from },
    { name: "to", words: one.to },
    { name: "length", words: withUnit(one.length_m, "m") },
    { name: "conductor", words: one.conductor ?? "none: it carries no power" },
    { name: "link", words: one.link ?? one.bus ?? "none: it carries no data" },
  ];
  if (one.ohms_unknown !== null) facts.push({ name: "loop", words: "unknown", note: one.ohms_unknown });
  if (one.loop_ohm !== null) facts.push({ name: "loop, new contacts", words: withUnit(one.loop_ohm, "ohm") });
  if (one.aged_loop_ohm !== null) facts.push({ name: "loop, aged contacts", words: withUnit(one.aged_loop_ohm, "ohm") });
  if (one.load_share !== null) facts.push({ name: "in use", words: `${digits(one.load_share * 100)} % of the time` });
  else if (one.load_unknown !== null) facts.push({ name: "in use", words: "unknown", note: one.load_unknown });
  if (one.latency_s !== null) facts.push({ name: "crossed within", words: withUnit(one.latency_s, "s") });
  return facts;
}

/** What the page tells of a picked thing; null where the line has none of that path. */
export function factsOf(drawing: Drawing, path: string): { facts: Fact[]; depends: string[] } | null {
  const found = <T extends Drawn>(all: readonly T[]): T | undefined => all.find((one) => one.path === path);
  const module = found(drawing.modules);
  if (module !== undefined) return { facts: ofModule(module), depends: module.depends };
  const span = found(drawing.spans);
  if (span !== undefined) return { facts: ofSpan(span), depends: span.depends };
  const section = found(drawing.sections);
  if (section !== undefined) {
    return {
      facts: [
        { name: "from", words: section.from },
        { name: "to", words: section.to },
        { name: "length", words: withUnit(section.length_m, "m") },
      ],
      depends: section.depends,
    };
  }
  const other = found([...drawing.anchors, ...drawing.floats, ...drawing.weights]);
  if (other === undefined) return null;
  const depth = other.depth_m ?? other.position?.depth_m ?? null;
  const facts: Fact[] = depth === null ? [] : [{ name: "depth", words: withUnit(depth, "m") }];
  if (other.position?.section !== undefined) facts.push({ name: `along ${other.position.section}`, words: withUnit(other.position.from_top_m, "m") });
  return { facts, depends: other.depends };
}

/** Loads of a module by state, each with the path under which a plan writes it. */
export function loadsOf(drawing: Drawing, path: string): { path: string; name: string; raw: string }[] {
  const module = drawing.modules.find((one) => one.path === path);
  if (module === undefined) return [];
  return module.states.map(({ state, load }) => ({ path: `${path}.loads.${state}`, name: `loads.${state}`, raw: `"${Number(load.value.toPrecision(6))} ${load.unit}"` }));
}
