// The documents of the commands, as far as the page shows them. Keys end in their unit, as in the JSON of the command line.

export type Ruling = "met" | "marginal" | "broken" | "unknown" | "provisional";

/** A value whose unit is not fixed by its key. */
export interface Quantity {
  value: number;
  unit: string;
}

export interface Verdict {
  subject: string;
  ruling: Ruling;
  why: string;
  value?: Quantity | null;
  limit?: Quantity | null;
  margin?: Quantity | null;
  evidence?: { kind: string; method?: string; inputs?: string } | null;
}

export interface InDraws {
  draws: number;
  share_met: number;
  share_met_low: number;
  share_met_high: number;
  confidence: number;
}

export interface Requirement {
  id: string;
  must: string;
  ruling: Ruling;
  sentence: string;
  source: string | null;
  verdicts: Verdict[];
  in_draws?: InDraws | null;
}

/** `verdicts/1`. */
export interface Verdicts {
  format: string;
  name: string;
  status: string;
  tier: string;
  counts: Record<Ruling, number>;
  requirements: Requirement[];
  /** Limits on the world that the line polices; their ids are paths, as `watch.strike`. */
  watches: Requirement[];
  standing: Requirement[];
  assumed: string[];
  open: string[];
  cautions: string[];
  plan_digest: string;
}

/** A mistake or warning, with UTF-16 offsets into the text it stands in. */
export interface Mistake {
  code: string;
  severity: string;
  message: string;
  help: string | null;
  file: string;
  from: number;
  to: number;
  line: number;
  column: number;
  label?: string | null;
  part?: string | null;
}

export interface Place {
  from: number;
  to: number;
  file?: string;
}

export interface Drawn {
  path: string;
  source: Place | null;
  depends: string[];
}

export interface DrawnModule extends Drawn {
  name: string;
  part: string | null;
  depth_m: number | null;
  /** With sections straight down. */
  straight_depth_m?: number | null;
  from_top_m: number | null;
  section: string | null;
  /** The key by which its place is written, and the length that stands there. */
  written: { by: "from_top" | "from_anchor" | "depth"; length_m: number };
  surface: boolean;
  rated_depth_m: number | null;
  states: { state: string; load: Quantity; starts: boolean }[];
  voltage:
    | { lowest_v: number; lowest_with: string; highest_v: number; highest_with: string; minimum_v: number | null; maximum_v: number | null; margin_v: number | null }
    | { unknown: string };
  sensors: (Drawn & { kind: string })[];
  outputs: (Drawn & { kind: string; starts_on: boolean; power_w: number | null })[];
}

export interface DrawnSection extends Drawn {
  from: string;
  to: string;
  length_m: number;
}

/** A span or a bus. */
export interface Carries {
  link: string | null;
  load_share: number | null;
  load_of: string[] | string | null;
  load_unknown: string | null;
  latency_s: number | null;
  latency_of: string | null;
}

export interface DrawnSpan extends Drawn, Carries {
  from: string;
  to: string;
  length_m: number | null;
  part: string | null;
  conductor: string | null;
  bus: string | null;
  wire_ohm: number | null;
  /** Why no resistance of any span is known; null where they are. */
  ohms_unknown: string | null;
  loop_ohm: number | null;
  aged_loop_ohm: number | null;
}

export interface DrawnSupply extends Drawn {
  module: string;
  kind: string;
  voltage_v: number;
  current_limit_a: number | null;
}

export interface DrawnHung extends Drawn {
  depth_m?: number | null;
  position?: { section?: string; from_top_m?: number; depth_m?: number; written?: DrawnModule["written"] } | null;
}

export interface DrawnUplink extends Drawn {
  module: string;
}

export interface DrawnTopic {
  topic: string;
  from: string;
  to: string[];
  path_of_spans: string[];
  ways: { to: string; over: string[]; longest_s: number | null; unknown: string | null }[];
}

export interface Drawing {
  /** Null where the plan does not tell it. */
  water_depth_m: number | null;
  modules: DrawnModule[];
  sections: DrawnSection[];
  spans: DrawnSpan[];
  buses: (Drawn & Carries)[];
  supplies: DrawnSupply[];
  anchors: DrawnHung[];
  floats: DrawnHung[];
  weights: DrawnHung[];
  uplinks: DrawnUplink[];
  topics: DrawnTopic[];
  ways_unknown: string | null;
}

/** `consequences/1`. */
export interface Consequences {
  format: string;
  serial: number;
  tier: "quick" | "full";
  source_digest: string;
  plan_digest: string | null;
  mistakes: Mistake[];
  verdicts: Verdicts | null;
  line: Drawing | null;
  /** Parts of the plan's catalogues. */
  parts?: { id: string; is: string | null }[];
}

/** `year/1`. */
export interface Year {
  supply: string;
  years: number;
  seed: number;
  band_shares_of_years: number[];
  charge_by_day: number[][];
  hours_off_h: number[];
  weather_file: string | null;
  lowest_charge: number;
  autonomy_d: number | null;
  autonomy_month: string | null;
  load_w: number;
  load_parts: { what: string; power_w: number }[];
  months: {
    month: string;
    asked_wh_per_d: number;
    gained_wh_per_d: number;
    hours_off_h: number;
    lowest_charge: number;
    middle_lowest_charge: number;
    years_with_outage: number;
  }[];
  worst_week: { charge: number[]; first_hour_of_year: number; year: number } | null;
  start_hour_of_year: number;
  sizes: {
    planned: { battery_wh: number; peak_power_w: number };
    rows: { battery_wh: number | null; peak_power_w: number; bad_years: number | null }[];
    at_most_h: number;
    share: number;
    confidence: number;
  } | null;
  assumed: string[];
}

/** Where the surface of the water stands in a case. */
export type Surface = "still" | "crest" | "trough";

/** A line in a case that has no shape. */
export interface NoShape {
  case: string;
  unknown: string;
}

export interface Shape {
  case: string;
  excursion_m: number;
  /** The largest in still water, at crests and in troughs. */
  greatest: {
    excursion: { excursion_m: number; surface: Surface };
    tension: { force_n: number; surface: Surface };
    anchor_along: { force_n: number; surface: Surface };
    anchor_up: { force_n: number; surface: Surface };
  };
  on_the_bed_m: number;
  points: { east_m: number; north_m: number; up_m: number; tension_n: number; from_anchor_m: number }[];
  things: {
    what: string;
    depth_m: number;
    east_m: number;
    north_m: number;
    tilt_deg: number;
    tension_above_n: number;
    /** Between what it lies in still water, at crests and in troughs; null without waves. */
    over_waves: { least_depth_m: number; most_depth_m: number; most_tilt_deg: number; most_tension_above_n: number } | null;
  }[];
  top: { depth_m: number; east_m: number; north_m: number };
  anchor_pull: { east_n: number; north_n: number; up_n: number };
  top_pull: { east_n: number; north_n: number; up_n: number };
}

/** `mooring/1`. */
export interface Mooring {
  cases: {
    id: string;
    nominal: boolean;
    water_depth_m: number;
    water_level_m: number;
    strum: boolean;
    current: { depth_m: number; speed_m_s: number; towards_deg: number }[];
    wind: { speed_m_s: number; towards_deg: number } | null;
    wave: { height_m: number; period_s: number } | null;
  }[];
  lines: (
    | { anchor: string | null; top: string; held_by: "buoy" | "float"; length_m: number; shapes: (Shape | NoShape)[]; watch_circle: { case: string; radius_m: number } | null }
    | { section: string; unknown: string }
  )[];
  assumed: string[];
  left_out: string[];
}

/** `chain/1`. */
export interface Chain {
  sensors: {
    id: string;
    medium: string;
    rate_hz: number;
    noise: string;
    overload_sine_level_db_re_1upa: number | null;
    sea_unknown: string | null;
    bands: {
      centre_hz: number;
      low_hz: number;
      high_hz: number;
      chain_level_db_re_1upa: number | null;
      sea_calm_level_db_re_1upa: number | null;
      sea_quietest_level_db_re_1upa: number | null;
      sea_windiest_level_db_re_1upa: number | null;
      overload_sine_level_db_re_1upa: number | null;
    }[];
    detectors: { id: string; low_hz: number; high_hz: number }[];
    /** Calls of the plan from the range that was asked for: by band, or why that is not known. */
    calls?: {
      call: string;
      range_m: number;
      bands: { centre_hz: number; source_level_db_re_1upa_m: number; received_level_db_re_1upa: number }[] | null;
      unknown: string | null;
    }[];
    months: { month: number; wind_m_s: number | null; headroom_db: number | null; clipped_share: number | null }[];
  }[];
}

export interface Reach {
  found: string;
  range_m?: number | null;
}

/** `range/1`. */
export interface Range {
  detector: string;
  call: string;
  sensor: string;
  source_depth_m: number;
  months: {
    month: number | null;
    wind_m_s: number | null;
    noise_level_db_re_1upa: number;
    over_range: { range_m: number; share: number; at_least: number }[];
    ranges: { share: number; seen: Reach; at_least: Reach }[];
    points: { snr_db: number; share: number; low: number; high: number }[];
    warnings: string[];
  }[];
}

/** `rehearsal/1`. */
export interface Rehearsal {
  name: string;
  status: string;
  duration_s: number;
  seed: number;
  records: number;
  result_digest: string;
  counts: { passed: number; failed: number };
  expectations: { id: string; passed: boolean; seen: string }[];
  start_utc?: string;
  /** The record that was left beside the plan; null where none was. */
  evidence: string | null;
}

/** A record of `trace/1`. */
export interface TraceRecord {
  id: number;
  at_ns: number;
  what: string;
  parent?: number | null;
  sound?: { id: string; heard_at_ns: number; repeat: number } | null;
  [key: string]: unknown;
}

export interface RemedySet {
  file: string;
  path: string;
  from: string | null;
  to: string;
  line: number | null;
  overrides_part: boolean;
}

/** `remedy/1`, and beside it the text of the plan with each remedy in it. */
export interface Remedies {
  texts?: { number: number; text: string }[];
  requirements: {
    id: string;
    ruling: Ruling;
    sentence: string;
    changes_tried: number;
    remedies: {
      number: number;
      ruling: Ruling;
      sets: RemedySet[];
      size: number;
      cost: Quantity | null;
      breaks: unknown[];
      verdict: Verdict | null;
      rulings: { requirement: string; subject: string; margin_moved_by: number | null; before: Verdict; after: Verdict }[];
      thresholds_moved: unknown[];
      still_broken?: string[];
    }[];
    nearest: { keys: string[]; to: string; ruling: Ruling; least_margin_in_marginal_margins: number | null }[];
  }[];
}

/** `places/1`. */
export interface Places {
  part: string | null;
  module: string;
  places: {
    id: string;
    answer: string;
    depth_m: number | null;
    way: { kind: string; module?: string; span?: string; cable_of?: string };
    binds: { requirement: string; subject: string; margin: Quantity; margin_before: number | null; value: Quantity; limit: Quantity; left: number | null; why: string } | null;
    refused: (string | { requirement: string; why?: string })[];
    unknown: (string | { requirement?: string; why?: string })[];
    position?: { depth_m?: number; section?: string; from_top_m?: number };
  }[];
  tables: string | null;
  provisional: boolean;
}

/** What the picture of paths to one hydrophone shows. */
export interface ShadowPicture {
  sensor: string;
  sensor_depth_m: number;
  frequency_hz: number;
  ranges_m: number[];
  depths_m: number[];
  /** Row by row from the surface; null where nothing comes or it is not known. */
  loss_db_re_1m: (number | null)[][];
  by: string[][];
  rays: [number, number][][];
}

/** `paths/1`, and beside it what its pictures show. */
export interface Paths {
  shadows?: ShadowPicture[];
  seabed_m: number;
  source_depth_m: number;
  hydrophones: {
    sensor: string;
    depth_m: number;
    frequency_hz: number;
    by_range: { range_m: number; power_loss_db: number | null; tone_loss_db: number | null; comes: string }[];
    shadows: { from_m: number; until_m: number; comes: string }[];
  }[];
}

/** `events/1`, as far as the page shows it. */
export interface Events {
  recordings: {
    recording: string;
    channels: number;
    rate_hz: number;
    frames: number;
    heard_s: number;
    start_utc: string | null;
    warnings: string[];
    notes: string[];
    events: {
      event: number;
      channel: number;
      detector: string;
      begin_s: number;
      end_s: number;
      begin_utc: string | null;
      ending: string;
      mean_level_db: number | null;
      peak_level_db: number | null;
      score_db: number | null;
    }[];
  }[];
}

/** How far a meter may be off. */
export interface Tolerance {
  share: number;
  offset: number;
}

/** A reading that the dockside sheet asks for, and what came of it. */
export interface QuayStep {
  step: string;
  /** Counted from 1. */
  stage: number;
  subject: string;
  what: string;
  expected: Quantity | null;
  low: Quantity | null;
  high: Quantity | null;
  unknown: string | null;
  unit: string;
  why: string;
  found: "within" | "off" | "not-taken" | "nothing-expected";
  reading: Quantity | null;
  beyond_range: boolean;
}

export interface QuayFault {
  fault: string;
  kind: string;
  size: number | null;
  chi_square: number;
  criterion: number;
}

/** The dockside sheet with readings (dockside/1), and what stands in each box. */
export interface Dockside {
  plan_digest: string | null;
  quay: { temperature_degc: number; meter_volts: Tolerance; meter_amps: Tolerance; meter_ohms: Tolerance; spread_wire_share: number; spread_load_share: number; spread_supply_share: number };
  stages: string[];
  steps: QuayStep[];
  assumed: string[];
  rests_on: string[];
  cautions: string[];
  faults: {
    readings: number;
    alike_below_deviations: number;
    share_further_off: number;
    calls_for_none: boolean;
    unexplained: boolean;
    classes: QuayFault[][];
    further: { read: string; predicted: (Quantity | null)[] } | null;
  } | null;
  /** Step, reading, unit, initials and note. */
  rows: QuayRow[];
  /** `kept`: what cannot be used stands in its box all the same. */
  row_faults: { line: number; step: string | null; kept: boolean; why: string }[];
  oddities: string[];
  csv: string;
}

export type QuayRow = [step: string, reading: string, unit: string, initials: string, note: string];
