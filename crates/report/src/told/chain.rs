//! What limits each sensor chain, for people and for programs.

use std::fmt::Write as _;

use assess::{BandBudget, CLEAR_DB, CREST_DB, ChainBudget, DetectorBudget, LimitedBy};
use serde_json::{Value, json};

use super::check::wrap;
use crate::calendar::MONTHS;
use crate::si_label;

/// Widest lines of text below a heading.
const WIDE: usize = 100;
/// Ranges for which the source that overloads is told, m.
const RANGES_M: [f64; 3] = [1.0, 10.0, 100.0];

/// The word of a limit.
fn limited_word(limited: LimitedBy) -> &'static str {
    match limited {
        LimitedBy::Sea => "sea",
        LimitedBy::Both => "both",
        LimitedBy::Chain => "chain",
        LimitedBy::FullScale => "clips",
        LimitedBy::Unknown => "unknown",
    }
}

/// A level of a band as the mean of its spectral density.
fn density(budget: &ChainBudget, band: &BandBudget, level_db: f64) -> f64 {
    let width_hz = band.band.high_hz() - band.band.low_hz();
    level_db - budget.reference_db - 10.0 * libm::log10(width_hz)
}

fn pressure_unit(budget: &ChainBudget) -> &'static str {
    if budget.in_air() { "20 uPa" } else { "1 uPa" }
}

fn density_unit(budget: &ChainBudget) -> &'static str {
    if budget.in_air() {
        "(20 uPa)2/Hz"
    } else {
        "1 uPa2/Hz"
    }
}

/// For each sensor what it is made of, its noise and that of the sea by decidecade band, the sea of each month under full scale,
/// and its detectors.
#[must_use]
pub fn chain_text(name: &str, budgets: &[ChainBudget]) -> String {
    let mut out = format!("{name}\n");
    for budget in budgets {
        head(&mut out, budget);
        bands(&mut out, budget);
        picked_up(&mut out, budget);
        months(&mut out, budget);
        detectors(&mut out, budget);
    }
    notes(&mut out, budgets);
    out
}

fn head(out: &mut String, budget: &ChainBudget) {
    let chain = budget.noise.chain();
    let (re, per_hz) = (pressure_unit(budget), density_unit(budget));
    let to_re = budget.reference_db;
    let _ = writeln!(out, "\n{}", budget.path);
    let mut row = |what: &str, text: String| {
        for (i, line) in wrap(&text, WIDE - 16).iter().enumerate() {
            let what = if i == 0 { what } else { "" };
            let _ = writeln!(out, "  {what:14}{line}");
        }
    };
    let sine_db = chain.overload_sine_level_db_re_1upa() - to_re;
    row(
        "overload",
        format!(
            "{:.1} dB re {re} zero-to-peak, a sine of {sine_db:.1} dB rms",
            chain.overload_peak_level_db_re_1upa() - to_re
        ),
    );
    if !budget.in_air() {
        let [near, middle, far] = RANGES_M.map(|m| sine_db + 20.0 * libm::log10(m));
        row(
            "",
            format!(
                "sources of {near:.1} dB re 1 uPa m at 1 m, {middle:.1} at 10 m, {far:.1} at 100 m (spherical)"
            ),
        );
    }
    row(
        "high-pass",
        chain.high_pass().map_or_else(
            || "none".to_owned(),
            |h| {
                let poles = if h.poles == 1 { "pole" } else { "poles" };
                format!("{}, {} {poles}", si_label(h.corner_hz, "Hz", 4), h.poles)
            },
        ),
    );
    let bits = match budget.effective_bits {
        Some(effective) => format!("{} bit, {effective} effective", chain.bits()),
        None => format!("{} bit, taken as ideal", chain.bits()),
    };
    row(
        "converter",
        format!(
            "{bits}, {}: noise {:.1} dB re {re}, {:.1} dB re {per_hz}; {:.1} dB below a sine at full scale",
            si_label(chain.rate_hz(), "Hz", 6),
            budget.noise.converter_level_db_re_1upa() - to_re,
            budget.noise.converter_density_db_re_1upa2_hz() - to_re,
            chain.overload_sine_level_db_re_1upa() - budget.noise.converter_level_db_re_1upa()
        ),
    );
    row(
        "amplifier",
        budget.amplifier_v_rthz.map_or_else(
            || "no noise written".to_owned(),
            |v| {
                format!(
                    "{} at its input: {:.1} dB re {per_hz}",
                    si_label(v, "V/rtHz", 3),
                    chain.preamplifier_density_db_re_1upa2_hz(v) - to_re
                )
            },
        ),
    );
    let ends = budget.self_noise.first().zip(budget.self_noise.last());
    row(
        "self-noise",
        ends.map_or_else(
            || "not written".to_owned(),
            |(first, last)| {
                format!(
                    "{} rows, {} to {}",
                    budget.self_noise.len(),
                    si_label(first.0, "Hz", 4),
                    si_label(last.0, "Hz", 4)
                )
            },
        ),
    );
}

fn bands(out: &mut String, budget: &ChainBudget) {
    let _ = writeln!(
        out,
        "\n  Mean spectral density of each decidecade at the sensor, dB re {}",
        density_unit(budget)
    );
    if budget.bands.iter().all(|band| band.sea.is_none()) {
        bands_without_sea(out, budget);
        return;
    }
    let _ = writeln!(
        out,
        "  {:>9} | {:>6} {:>8} {:>8} | {:>6} {:>9} {:>9} {:>7} | {:>7} | limited by",
        "", "sea", "", "", "chain", "", "", "", "lost in"
    );
    let _ = writeln!(
        out,
        "  {:>9} | {:>6} {:>8} {:>8} | {:>6} {:>9} {:>9} {:>7} | {:>7} | {:>8} {:>8}",
        "band",
        "calm",
        "quietest",
        "windiest",
        "self",
        "amplifier",
        "converter",
        if budget.pick_up.is_some() {
            "and p-u"
        } else {
            "sum"
        },
        "h-p dB",
        "quietest",
        "windiest"
    );
    for band in &budget.bands {
        let of = |level: Option<f64>| told_density(budget, band, level);
        let _ = writeln!(
            out,
            "  {:>9} | {:>6} {:>8} {:>8} | {} | {:>8} {:>8}{}",
            band.band.label(),
            of(band.sea.map(|s| s.calm_db)),
            of(band.sea.map(|s| s.quietest_db)),
            of(band.sea.map(|s| s.windiest_db)),
            of_chain(budget, band),
            limited_word(band.in_quietest),
            limited_word(band.in_windiest),
            beside(band)
        );
    }
}

/// Where nothing is known of the noise about the sensor there is nothing to limit it either.
fn bands_without_sea(out: &mut String, budget: &ChainBudget) {
    let _ = writeln!(
        out,
        "  {:>9} | {:>6} {:>9} {:>9} {:>7} | lost in\n  {:>9} | {:>6} {:>9} {:>9} {:>7} | {:>7}",
        "", "chain", "", "", "", "band", "self", "amplifier", "converter", "sum", "h-p dB"
    );
    for band in &budget.bands {
        let _ = writeln!(
            out,
            "  {:>9} | {}{}",
            band.band.label(),
            of_chain(budget, band),
            beside(band)
        );
    }
}

fn told_density(budget: &ChainBudget, band: &BandBudget, level_db: Option<f64>) -> String {
    level_db.map_or_else(
        || "-".to_owned(),
        |db| format!("{:.1}", density(budget, band, db)),
    )
}

/// The columns of the chain.
fn of_chain(budget: &ChainBudget, band: &BandBudget) -> String {
    let of = |level: Option<f64>| told_density(budget, band, level);
    let least = if budget.noise_known { "" } else { ">" };
    format!(
        "{:>6} {:>9} {:>9} {:>7} | {:>7.1}",
        of(band.chain.self_noise_db),
        of(band.chain.amplifier_db),
        of(Some(band.chain.converter_db)),
        format!("{least}{}", of(Some(band.total_db))),
        band.high_pass_loss_db,
    )
}

/// What is said behind the columns.
fn beside(band: &BandBudget) -> &'static str {
    match (band.above_filter, band.beyond_table) {
        (true, _) => "  (filter)",
        (false, true) => "  (beyond the table)",
        (false, false) => "",
    }
}

fn months(out: &mut String, budget: &ChainBudget) {
    if let Some(why) = &budget.sea_unknown {
        for line in wrap(
            &format!("The noise of the sea is unknown: {why}."),
            WIDE - 2,
        ) {
            let _ = writeln!(out, "\n  {line}");
        }
        return;
    }
    let _ = writeln!(
        out,
        "\n  The sea behind the high-pass, 1 Hz to {}, and full scale",
        si_label(budget.audible_hz, "Hz", 4)
    );
    let _ = writeln!(
        out,
        "  {:>5} {:>9} {:>17} {:>20} {:>15}",
        "month", "wind m/s", "dB re 1 uPa rms", "full scale above dB", "samples clipped"
    );
    for m in &budget.months {
        let _ = writeln!(
            out,
            "  {:>5} {:>9.1} {:>17.1} {:>20.1} {:>15}",
            MONTHS[m.month],
            m.wind_m_s,
            m.level_db,
            m.headroom_db,
            if m.clipped_share < 1e-12 {
                "none".to_owned()
            } else {
                format!("{:.1e}", m.clipped_share)
            }
        );
    }
}

fn detectors(out: &mut String, budget: &ChainBudget) {
    if !budget.detectors.is_empty() {
        out.push('\n');
    }
    for d in &budget.detectors {
        let _ = writeln!(out, "  {}", d.path);
        for line in wrap(&detector_sentence(budget, d), WIDE - 4) {
            let _ = writeln!(out, "    {line}");
        }
    }
}

fn detector_sentence(budget: &ChainBudget, d: &DetectorBudget) -> String {
    let hz = |f: f64| si_label(f, "Hz", 3);
    let mut text = format!("{} to {}: ", hz(d.band_hz.0), hz(d.band_hz.1));
    match d.least_clear {
        Some((clear_db, (low, high))) => {
            let _ = write!(
                text,
                "{} the sea of the quietest month where it is {}, {} to {}",
                lies(budget, clear_db),
                if clear_db < 0.0 { "highest" } else { "nearest" },
                hz(low),
                hz(high)
            );
        }
        None => text.push_str("how the chain lies to the sea is unknown"),
    }
    if let Some(threshold) = d.threshold {
        let (to_re, re) = match (threshold.of_exposure, budget.in_air()) {
            (true, _) => (0.0, "1 uPa2 s"),
            (false, true) => (budget.reference_db, "20 uPa"),
            (false, false) => (0.0, "1 uPa"),
        };
        let _ = write!(
            text,
            "; {} its threshold of {:.1} dB re {re}",
            lies(budget, threshold.clear_db()),
            threshold.level_db - to_re
        );
        if !threshold.of_exposure {
            let peak_db = budget.noise.chain().overload_peak_level_db_re_1upa();
            let _ = write!(
                text,
                ", which lies {:.1} dB below the peak at full scale",
                peak_db - threshold.level_db
            );
        }
    }
    if d.beyond_table {
        text.push_str(
            "; part of it lies beyond the table of self-noise, whose nearest row counts there",
        );
    }
    text
}

/// How the chain lies to something above it by `clear_db`.
fn lies(budget: &ChainBudget, clear_db: f64) -> String {
    let side = if clear_db < 0.0 { "above" } else { "below" };
    let known = match (budget.says_all(), clear_db < 0.0) {
        (true, _) => "",
        (false, true) => "at least ",
        (false, false) => "at most ",
    };
    format!(
        "the chain lies {known}{:.1} dB {side}",
        libm::fabs(clear_db)
    )
}

fn notes(out: &mut String, budgets: &[ChainBudget]) {
    let any = |wanted: fn(&BandBudget) -> bool| budgets.iter().flat_map(|b| &b.bands).any(wanted);
    let mut notes = vec![
        format!(
            "limited by: the sea where the chain lies {CLEAR_DB} dB or more below it, the chain where it lies above, both between; `clips` where full scale lies less than {CREST_DB:.0} dB (four standard deviations) above the noise of this band alone. Both figures are our judgement."
        ),
        "the sea is a formula good to 5 dB at best, at the mean wind of a month; in a calm hour it lies lower (column `calm`), and animals, rain and near vessels are not in it.".to_owned(),
        "levels count at the sensor: a high-pass takes away what the column `lost in h-p` says, of sound and of all noise but the converter's, and a recording is not given it back.".to_owned(),
    ];
    if any(|b| b.above_filter) {
        notes.push(format!(
            "(filter): above {:.0} % of half the rate, which the converter's own filter is taken not to pass; the plan has no key for it. What lies above half the rate is taken to be kept out and not to fold down.",
            100.0 * plan::Chain::AUDIBLE_SHARE
        ));
    }
    if budgets.iter().any(|b| b.pick_up.is_some()) {
        notes.push("p-u: what electronics put into the chain, as the mean of the band at the worst of the states; a line that may fall into a band by the spread of its frequency counts as if it did, and what folds down counts where an `anti_alias` or `oversampling` says how much of it is kept out. Without either it is left out, and what limits a band is unknown where it may change that.".to_owned());
    }
    if any(|b| b.high_pass_loss_db >= 1.0) {
        notes.push("overload is that of the converter; an amplifier ahead of the high-pass may overload before it at low frequencies, which no key of the plan says.".to_owned());
    }
    if budgets.iter().any(|b| !b.noise_known) {
        notes.push("unknown: no `self_noise` is written, so that the chain's noise is at least (>) that of its amplifier, where one is written, and its converter.".to_owned());
    }
    if budgets.iter().any(ChainBudget::in_air) {
        notes.push(
            "a microphone is told re 20 uPa; there is no model of ambient noise in air.".to_owned(),
        );
    }
    out.push('\n');
    for note in notes {
        for (i, line) in wrap(&note, WIDE - 2).iter().enumerate() {
            let lead = if i == 0 { "- " } else { "  " };
            let _ = writeln!(out, "{lead}{line}");
        }
    }
}

/// The same as one JSON object. Levels of bands are re 1 uPa, those of a microphone too.
#[must_use]
pub fn chain_json(name: &str, budgets: &[ChainBudget]) -> Value {
    json!({
        "format": "chain/1",
        "name": name,
        "clear_db": CLEAR_DB,
        "crest_db": CREST_DB,
        "sensors": budgets.iter().map(sensor_json).collect::<Vec<_>>(),
    })
}

/// What electronics put into it, as it falls into what is heard at the worst of the states.
fn pick_up_json(budget: &ChainBudget) -> Value {
    let Some(all) = budget.picked_up() else {
        return Value::Null;
    };
    let list = all.iter().map(|(_, p)| {
        json!({
            "what": p.what,
            "low_hz": p.true_hz.map(|t| t.0),
            "high_hz": p.true_hz.map(|t| t.1),
            "heard_low_hz": p.heard_hz.0,
            "heard_high_hz": p.heard_hz.1,
            "level_db_re_1upa": p.level_db,
            "sure": p.sure,
        })
    });
    list.collect()
}

/// Of the detectors' bands, or of all that is heard, the lines and ticks in them.
fn picked_up(out: &mut String, budget: &ChainBudget) {
    let Some(all) = budget.picked_up() else {
        return;
    };
    out.push_str("\n  What electronics put into the bands of its detectors, mean levels at the worst of the states\n");
    if all.is_empty() {
        out.push_str("    nothing that is heard\n");
    }
    for (words, p) in all {
        let sure = if p.sure {
            ""
        } else {
            ", if nothing keeps it out"
        };
        let text = format!("{:.1} dB re 1 uPa: {words}{sure}", p.level_db);
        for (i, line) in wrap(&text, WIDE - 6).iter().enumerate() {
            let lead = if i == 0 { "    " } else { "      " };
            let _ = writeln!(out, "{lead}{line}");
        }
    }
}

fn sensor_json(budget: &ChainBudget) -> Value {
    let chain = budget.noise.chain();
    json!({
        "id": budget.path,
        "medium": if budget.in_air() { "air" } else { "water" },
        "rate_hz": chain.rate_hz(),
        "audible_hz": budget.audible_hz,
        "bits": chain.bits(),
        "effective_bits": budget.effective_bits,
        "overload_peak_level_db_re_1upa": chain.overload_peak_level_db_re_1upa(),
        "overload_sine_level_db_re_1upa": chain.overload_sine_level_db_re_1upa(),
        "converter_noise_level_db_re_1upa": budget.noise.converter_level_db_re_1upa(),
        "converter_noise_density_db_re_1upa2_per_hz": budget.noise.converter_density_db_re_1upa2_hz(),
        "amplifier_noise_v_per_rthz": budget.amplifier_v_rthz,
        "amplifier_noise_density_db_re_1upa2_per_hz":
            budget.amplifier_v_rthz.map(|v| chain.preamplifier_density_db_re_1upa2_hz(v)),
        "pick_up": pick_up_json(budget),
        "noise": if budget.noise_known { "as planned" } else { "unknown" },
        "sea_unknown": budget.sea_unknown,
        "bands": budget.bands.iter().map(|b| json!({
            "centre_hz": b.band.nominal_hz(),
            "low_hz": b.band.low_hz(),
            "high_hz": b.band.high_hz(),
            "sea_calm_level_db_re_1upa": b.sea.map(|s| s.calm_db),
            "sea_quietest_level_db_re_1upa": b.sea.map(|s| s.quietest_db),
            "sea_windiest_level_db_re_1upa": b.sea.map(|s| s.windiest_db),
            "self_noise_level_db_re_1upa": b.chain.self_noise_db,
            "amplifier_level_db_re_1upa": b.chain.amplifier_db,
            "converter_level_db_re_1upa": b.chain.converter_db,
            "pick_up_level_db_re_1upa": b.pick_up_db,
            "chain_level_db_re_1upa": b.total_db,
            "high_pass_loss_db": b.high_pass_loss_db,
            "overload_sine_level_db_re_1upa": b.overload_sine_db,
            "above_filter": b.above_filter,
            "beyond_self_noise_table": b.beyond_table,
            "limited_by_in_quietest_month": limited_word(b.in_quietest),
            "limited_by_in_windiest_month": limited_word(b.in_windiest),
        })).collect::<Vec<_>>(),
        "months": budget.months.iter().map(|m| json!({
            "month": m.month + 1,
            "wind_m_s": m.wind_m_s,
            "sea_behind_high_pass_level_db_re_1upa": m.level_db,
            "headroom_db": m.headroom_db,
            "clipped_share": m.clipped_share,
        })).collect::<Vec<_>>(),
        "detectors": budget.detectors.iter().map(|d| json!({
            "id": d.path,
            "low_hz": d.band_hz.0,
            "high_hz": d.band_hz.1,
            "least_below_sea_db": d.least_clear.map(|c| c.0),
            "least_below_sea_low_hz": d.least_clear.map(|c| c.1.0),
            "least_below_sea_high_hz": d.least_clear.map(|c| c.1.1),
            "threshold": d.threshold.map(|t| json!({
                "value": t.level_db,
                "noise_of_chain": t.noise_db,
                "unit": if t.of_exposure { "dB re 1 uPa2 s" } else { "dB re 1 uPa" },
            })),
            "beyond_self_noise_table": d.beyond_table,
        })).collect::<Vec<_>>(),
    })
}
