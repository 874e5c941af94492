//! The source of a detector in C: its numbers, then the parts that it is made of.

use core::fmt::Write as _;

use detect::{BackgroundKind, Confirm, DecisionWorkings, MeasureWorkings, Workings};

use crate::band::{BandArithmetic, SINGLE_WITHIN_DB, single_sections};
use crate::state::State;
use crate::words::Words;

const LOWER: &str = include_str!("parts/lower.c");
const BAND_SINGLE: &str = include_str!("parts/band_single.c");
const BAND_DOUBLE: &str = include_str!("parts/band_double.c");
const WINDOWS: &str = include_str!("parts/windows.c");
const MEAN_SQUARE: &str = include_str!("parts/mean_square.c");
const ENERGY: &str = include_str!("parts/energy.c");
const EXPONENTIAL: &str = include_str!("parts/exponential.c");
const BACKGROUND_ORDER: &str = include_str!("parts/background_order.c");
const MEDIAN: &str = include_str!("parts/median.c");
const RANK: &str = include_str!("parts/rank.c");
const BACKGROUND_MEAN: &str = include_str!("parts/background_mean.c");
const BACKGROUND: &str = include_str!("parts/background.c");
const TELL: &str = include_str!("parts/tell.c");
const TRIGGER: &str = include_str!("parts/trigger.c");
const WAIT_ONE: &str = include_str!("parts/wait_one.c");
const WAIT_SOME: &str = include_str!("parts/wait_some.c");
const PULSES: &str = include_str!("parts/pulses.c");

/// Samples that are summed in single precision before they go into a sum in double.
const SOME: u32 = 256;

pub(crate) fn source(
    workings: &Workings,
    words: &Words,
    band: Option<&BandArithmetic>,
    state: &State,
) -> String {
    let Words { low, high, says } = words;
    let mut out = format!(
        "/* The detector {says}. Made from its plan by soundline; C99, fixed memory, no heap. {} bytes of state. */\n\
         #include \"{low}.h\"\n\n#include <math.h>\n#include <string.h>\n\n\
         typedef struct {low} detector;\ntypedef {low}_told told;\ntypedef {low}_tell told_one;\ntypedef {low}_cell cell;\n\n\
         enum {{ ONSET = {high}_ONSET, CONFIRMED = {high}_CONFIRMED, ENDED = {high}_ENDED, DROPPED = {high}_DROPPED }};\n",
        state.bytes()
    );
    lowering(workings, &mut out);
    if let Some(band) = band {
        sections(workings, band, &mut out);
    }
    measure(workings, &mut out);
    background(workings, &mut out);
    decision(workings, high, &mut out);
    functions(workings, band.is_some(), low, high, &mut out);
    out
}

fn lowering(workings: &Workings, out: &mut String) {
    for (i, lowering) in workings.lowerings.iter().enumerate() {
        let _ = write!(
            out,
            "\n/* Filter {} that lowers the rate: one sample of {} is kept. */\nstatic const float taps{i}[{}] = {{",
            i + 1,
            lowering.factor,
            lowering.taps.len()
        );
        for (j, tap) in lowering.taps.iter().enumerate() {
            out.push_str(if j % 6 == 0 { "\n    " } else { " " });
            let _ = write!(out, "{},", single(*tap));
        }
        out.push_str("\n};\n");
    }
    if !workings.lowerings.is_empty() {
        out.push_str(LOWER);
    }
}

fn sections(workings: &Workings, band: &BandArithmetic, out: &mut String) {
    let n = workings.sections.len();
    let _ = writeln!(out, "\n#define SECTIONS {n}u");
    match band {
        BandArithmetic::Single { apart_db } => {
            let (gain, single_sections) = single_sections(&workings.sections);
            let _ = write!(
                out,
                "/* Single precision: in a trial its levels lay within {} dB of those in double precision (asked: {SINGLE_WITHIN_DB:?} dB). */\n\
                 #define QUIET 1e-30f\n#define BAND_GAIN {}\nstatic const float section[SECTIONS][4] = {{\n",
                rounded_up(*apart_db),
                single(gain)
            );
            for section in single_sections {
                let factors = section.factors.map(single).join(", ");
                let _ = writeln!(out, "    {{ {factors} }},");
            }
            out.push_str("};\n");
            out.push_str(BAND_SINGLE);
        }
        BandArithmetic::Double { single_apart_db } => {
            let trial = if single_apart_db.is_finite() {
                format!(
                    "in a trial the levels of single precision lay {} dB apart (asked: {SINGLE_WITHIN_DB:?} dB)",
                    rounded_up(*single_apart_db)
                )
            } else {
                "no trial shows that single precision holds".to_owned()
            };
            let _ = write!(
                out,
                "/* Double precision: {trial}. */\n\
                 #define BAND_GAIN {:?}\nstatic const double section[SECTIONS][2] = {{\n",
                workings.sections[0][0]
            );
            for [_, _, _, a1, a2] in &workings.sections {
                let _ = writeln!(out, "    {{ {a1:?}, {a2:?} }},");
            }
            out.push_str("};\n");
            out.push_str(BAND_DOUBLE);
        }
    }
}

fn measure(workings: &Workings, out: &mut String) {
    let Workings { window, hop, .. } = workings;
    if let MeasureWorkings::Exponential { keep, take } = workings.measure {
        let _ = write!(
            out,
            "\nstatic const uint64_t HOP = {hop}u;\nstatic const double KEEP = {keep:?};\nstatic const double TAKE = {take:?};\n"
        );
        out.push_str(EXPONENTIAL);
        return;
    }
    let (hops, head) = (window / hop, window % hop);
    let _ = write!(
        out,
        "\n/* A window of {window} band samples every {hop}. */\n\
         static const uint64_t WINDOW = {window}u;\nstatic const uint64_t HOP = {hop}u;\nstatic const uint64_t HEAD = {head}u;\n\
         static const uint32_t HOPS = {hops}u;\nstatic const uint32_t SOME = {SOME}u;\n"
    );
    out.push_str(WINDOWS);
    out.push_str(match workings.measure {
        MeasureWorkings::TeagerKaiser => ENERGY,
        _ => MEAN_SQUARE,
    });
}

fn background(workings: &Workings, out: &mut String) {
    let Some(background) = workings.background else {
        return;
    };
    let _ = writeln!(
        out,
        "\n/* Cells of the background; known with half of them. */\nstatic const uint32_t CELLS = {}u;",
        background.cells
    );
    match background.kind {
        BackgroundKind::Median => {
            out.push_str(BACKGROUND_ORDER);
            out.push_str(MEDIAN);
        }
        BackgroundKind::Ordered { rank } => {
            let _ = writeln!(out, "static const double RANK = {rank:?};");
            out.push_str(BACKGROUND_ORDER);
            out.push_str(RANK);
        }
        BackgroundKind::Mean => out.push_str(BACKGROUND_MEAN),
    }
    if background.guard == 0 {
        out.push_str(&BACKGROUND.replace("BACKGROUND_TAKES", "    background_take(d, taken);"));
    } else {
        let _ = writeln!(
            out,
            "\n/* Latest cells that the background leaves out. */\nstatic const uint32_t GUARD = {}u;",
            background.guard
        );
        out.push_str(&BACKGROUND.replace(
            "BACKGROUND_TAKES",
            "    if (d->waits == GUARD) {\n        background_take(d, d->waiting[d->oldest]);\n    } else {\n        d->waits += 1;\n    }\n    \
             d->waiting[d->oldest] = taken;\n    d->oldest = d->oldest + 1 == GUARD ? 0 : d->oldest + 1;",
        ));
    }
}

fn decision(workings: &Workings, high: &str, out: &mut String) {
    let mut samples = Vec::new();
    let mut levels = Vec::new();
    let tile = workings.hop * workings.factor;
    samples.push(("TILE", tile));
    match workings.decision {
        DecisionWorkings::Trigger {
            on_above_db,
            off_below_db,
            shortest,
            longest,
            bridge,
            k_of_n,
            hold_off,
            confirm,
        } => {
            samples.extend([
                ("SHORTEST", shortest),
                ("LONGEST", longest.unwrap_or(u64::MAX)),
                ("BRIDGE", bridge),
                ("HOLD_OFF", hold_off),
            ]);
            levels.extend([("ON_ABOVE_DB", on_above_db), ("OFF_BELOW_DB", off_below_db)]);
            let excess = if workings.background.is_some() {
                "(value)"
            } else {
                "((value) - ON_ABOVE_DB)"
            };
            let early = u32::from(confirm == Confirm::Early);
            let _ = write!(
                out,
                "\nenum {{ TOO_SHORT = {high}_TOO_SHORT, TOO_LONG = {high}_TOO_LONG, STRETCH_ENDED = {high}_STRETCH_ENDED }};\n\
                 enum {{ QUIET_NOW = 0, FOLLOWING = 1, OVERLONG = 2 }};\n\
                 #define EXCESS(value) {excess}\n#define CONFIRMS_EARLY {early}\n"
            );
            numbers(&samples, &levels, out);
            if k_of_n.of_last > 1 {
                let _ = write!(
                    out,
                    "static const uint32_t AT_LEAST = {}u;\nstatic const uint32_t OF_LAST = {}u;\n",
                    k_of_n.at_least, k_of_n.of_last
                );
            }
            out.push_str(TELL);
            let (begin, rest) = split_at_follow();
            out.push_str(begin);
            out.push_str(if k_of_n.of_last > 1 {
                WAIT_SOME
            } else {
                WAIT_ONE
            });
            out.push_str(rest);
        }
        DecisionWorkings::Pulses {
            rise_db,
            prominence_db,
            min_interval,
            max_interval,
            at_least,
            within,
            steady,
            hold_off,
        } => {
            samples.extend([
                ("MIN_INTERVAL", min_interval),
                ("MAX_INTERVAL", max_interval),
                ("WITHIN", within.unwrap_or(u64::MAX)),
                ("HOLD_OFF", hold_off),
            ]);
            levels.extend([
                ("RISE_DB", rise_db),
                ("PROMINENCE_DB", prominence_db),
                ("STEADY", steady.unwrap_or(1.0)),
                ("RATE_HZ", workings.rate_hz),
            ]);
            let _ = write!(
                out,
                "\nenum {{ TOO_FEW_PULSES = {high}_TOO_FEW_PULSES, STRETCH_ENDED = {high}_STRETCH_ENDED }};\n#define IS_STEADY {}\n",
                u32::from(steady.is_some())
            );
            numbers(&samples, &levels, out);
            let _ = writeln!(out, "static const uint32_t AT_LEAST = {at_least}u;");
            out.push_str(TELL);
            out.push_str(PULSES);
        }
    }
}

/// The trigger up to the functions that a begin needs, and the rest.
fn split_at_follow() -> (&'static str, &'static str) {
    let at = TRIGGER
        .find("\n/* What a cell that belongs to an open sound")
        .expect("the part has that function");
    TRIGGER.split_at(at)
}

fn numbers(samples: &[(&str, u64)], levels: &[(&str, f64)], out: &mut String) {
    for (name, value) in samples {
        let _ = writeln!(out, "static const uint64_t {name} = UINT64_C({value});");
    }
    for (name, value) in levels {
        let _ = writeln!(out, "static const double {name} = {value:?};");
    }
}

fn functions(workings: &Workings, has_band: bool, low: &str, high: &str, out: &mut String) {
    let Workings {
        factor,
        window,
        hop,
        reach,
        lead,
        delay,
        scale,
        ..
    } = workings;
    // The cell's last band sample, counted from its first.
    let last = match workings.measure {
        MeasureWorkings::Exponential { .. } => hop - 1,
        _ => window - 1,
    };
    let net = *lead - *delay as i64;
    let begin = if net < 0 {
        let before = net.unsigned_abs();
        format!(
            "    /* The tile lies {before} samples before the window; one that would begin before the stretch is not told. */\n    \
             if (k * TILE < UINT64_C({before})) {{\n        return true;\n    }}\n    c.begin = k * TILE - UINT64_C({before});\n"
        )
    } else {
        format!("    c.begin = k * TILE + UINT64_C({net});\n")
    };
    let value = match workings.background {
        None => "    c.background_db = NAN;\n    c.value_db = c.level_db;\n".to_owned(),
        Some(background) => {
            let taken = match background.kind {
                BackgroundKind::Mean => "c.power",
                _ => "c.level_db",
            };
            format!(
                "    c.background_db = background_before(d, (float){taken});\n    c.value_db = c.level_db - c.background_db;\n"
            )
        }
    };
    let _ = write!(
        out,
        "\n/* A cell: its level, its background, and what follows from them. False where the level is no number. */\n\
         static bool take(detector *d, uint64_t k, double mean, told_one tell, void *with)\n{{\n    cell c;\n\n    \
         if (!(mean - mean == 0.0)) {{\n        return false;\n    }}\n{begin}    \
         c.known_at = (k * UINT64_C({hop}) + UINT64_C({last})) * UINT64_C({factor}) + UINT64_C({reach});\n    \
         c.power = mean * {scale:?};\n    c.level_db = 10.0 * log10(c.power);\n{value}    \
         decide(d, &c, tell, with);\n    return true;\n}}\n"
    );
    out.push_str(
        "\nstatic bool sample(detector *d, float x, told_one tell, void *with)\n{\n    uint64_t k;\n    double mean;\n\n",
    );
    for (i, lowering) in workings.lowerings.iter().enumerate() {
        let _ = write!(
            out,
            "    if (!lower(taps{i}, {}u, {}u, d->line{i}, &d->at{i}, &d->wait{i}, x, &x)) {{\n        return true;\n    }}\n",
            lowering.taps.len(),
            lowering.factor
        );
    }
    if has_band {
        out.push_str("    x = band(d, x);\n");
    }
    out.push_str(
        "    if (!measure(d, x, &k, &mean)) {\n        return true;\n    }\n    return take(d, k, mean, tell, with);\n}\n",
    );
    let _ = write!(
        out,
        "\nvoid {low}_begin(detector *d)\n{{\n    memset(d, 0, sizeof *d);\n"
    );
    for (i, lowering) in workings.lowerings.iter().enumerate() {
        let _ = writeln!(out, "    d->wait{i} = {}u;", lowering.half + 1);
    }
    if workings.measure == MeasureWorkings::TeagerKaiser {
        // The first sample of a stretch has no energy, so the first window that is whole begins a hop later.
        out.push_str("    d->hop = 1;\n    d->skip = HOP - 1;\n");
    }
    if matches!(workings.decision, DecisionWorkings::Pulses { .. }) {
        out.push_str("    d->lowest_db = INFINITY;\n");
    }
    let _ = write!(
        out,
        "}}\n\nint {low}_push(detector *d, const float *x, size_t samples, told_one tell, void *with)\n{{\n    size_t i;\n\n    \
         if (d->failed) {{\n        return {high}_NOT_FINITE;\n    }}\n    for (i = 0; i < samples; i++) {{\n        d->heard += 1;\n        \
         if (!sample(d, x[i], tell, with)) {{\n            d->failed = true;\n            return {high}_NOT_FINITE;\n        }}\n    }}\n    \
         return {high}_OK;\n}}\n\n\
         void {low}_gap(detector *d, told_one tell, void *with)\n{{\n    uint64_t next_id;\n\n    \
         if (d->heard > 0) {{\n        decide_end(d, d->heard - 1, tell, with);\n    }}\n    next_id = d->next_id;\n    {low}_begin(d);\n    \
         d->next_id = next_id;\n}}\n"
    );
}

/// A number of single precision as C, exactly.
fn single(value: f32) -> String {
    format!("{value:?}f")
}

/// A difference in dB with one digit, never told smaller than it is.
fn rounded_up(db: f64) -> String {
    if db <= 0.0 {
        return "0".to_owned();
    }
    let scale = libm::pow(10.0, libm::floor(libm::log10(db)));
    format!("{:.1e}", libm::ceil(db / scale) * scale)
}
