//! Which keys go together: stages, actions, requirements, sounds and expectations come in kinds, each with its own keys.

/// A kind of table, and the keys that go with it.
#[derive(Debug)]
pub(crate) struct Kind {
    /// The word or the key that says of which kind a table is.
    pub(crate) word: &'static str,
    /// Keys that it must have.
    pub(crate) needs: &'static [&'static str],
    /// Keys that it may have besides.
    pub(crate) may: &'static [&'static str],
    /// How a limit of it is written.
    pub(crate) limit: &'static str,
}

const fn kind(
    word: &'static str,
    needs: &'static [&'static str],
    may: &'static [&'static str],
) -> Kind {
    limited(word, needs, may, "")
}

const fn limited(
    word: &'static str,
    needs: &'static [&'static str],
    may: &'static [&'static str],
    limit: &'static str,
) -> Kind {
    Kind {
        word,
        needs,
        may,
        limit,
    }
}

/// Stages of a detector, by the key that says what a stage is.
pub(crate) const STAGES: &[Kind] = &[
    kind("decimate", &[], &[]),
    kind("band", &[], &["order"]),
    kind("level", &["window"], &["hop"]),
    kind("matched", &[], &["hop"]),
    kind(
        "learned",
        &["window", "input", "gives"],
        &["hop", "reference"],
    ),
    kind("spectrogram", &["window"], &["hop"]),
    kind("background", &["over"], &["guard", "rank"]),
    kind("likeness", &["width"], &[]),
    kind("likeness_to", &[], &[]),
    kind(
        "pulses",
        &[
            "rise",
            "least_interval",
            "most_interval",
            "at_least",
            "hold_off",
        ],
        &["steady", "of_last"],
    ),
    kind(
        "ridge",
        &["above", "slope", "shortest", "longest", "hold_off"],
        &["gap"],
    ),
    kind(
        "on_above",
        &["off_below", "shortest", "hold_off"],
        &["longest", "confirm", "bridge", "at_least", "of_last"],
    ),
    kind("likely", &["constant", "weights"], &[]),
];

/// Actions of a behaviour, by the key that says what is done.
pub(crate) const ACTIONS: &[Kind] = &[
    kind("publish", &[], &["values"]),
    kind("switch", &["to"], &["for"]),
    kind("send_up", &["about"], &["values"]),
    kind("enter", &["for"], &[]),
    kind("ask", &[], &["values"]),
    kind("answer", &[], &["values"]),
    kind("set", &[], &["threshold", "hold_off"]),
    kind("log", &[], &[]),
];

/// Requirements, by the word after `that`.
pub(crate) const REQUIREMENTS: &[Kind] = &[
    limited(
        "voltage",
        &[],
        &["of", "at_least", "at_most", "share_of_draws", "measured"],
        "12 V",
    ),
    limited(
        "highest-voltage",
        &[],
        &["of", "at_most", "share_of_draws", "measured"],
        "30 V",
    ),
    limited(
        "supply-current",
        &[],
        &["of", "at_most", "share_of_draws", "measured"],
        "2 A",
    ),
    limited(
        "delay",
        &["from", "to", "at_most"],
        &["share", "share_of_draws", "measured", "when_wind_at_most"],
        "2 s",
    ),
    limited("link-load", &["at_most"], &["of", "share_of_draws"], "20 %"),
    limited(
        "clock-error",
        &["at_most"],
        &["of", "share_of_draws"],
        "1 ms",
    ),
    limited(
        "message-loss",
        &["at_most"],
        &["topic", "share_of_draws"],
        "0.1 %",
    ),
    limited(
        "uplink-messages",
        &["of", "at_most"],
        &["share_of_draws"],
        "400 per 30 d",
    ),
    limited(
        "uplink-cost",
        &["of", "at_most"],
        &["share", "share_of_draws"],
        "50 EUR",
    ),
    limited(
        "uplink-wait",
        &["of", "at_most", "share"],
        &["share_of_draws"],
        "2 h",
    ),
    limited(
        "storage-time",
        &["of"],
        &["at_least", "share_of_draws"],
        "240 d",
    ),
    limited(
        "outage-hours",
        &["at_most", "share"],
        &["of", "confidence"],
        "0 h",
    ),
    limited(
        "lowest-charge",
        &["at_least", "share"],
        &["of", "confidence"],
        "30 %",
    ),
    limited(
        "autonomy",
        &["at_least"],
        &["of", "share_of_draws", "measured"],
        "10 d",
    ),
    limited(
        "cell-life",
        &[],
        &["of", "at_least", "share_of_draws"],
        "365 d",
    ),
    limited(
        "dawn-restarts",
        &["at_most"],
        &["of", "share_of_draws"],
        "2",
    ),
    kind("wakes-from-flat", &[], &["of", "share_of_draws"]),
    limited(
        "sensor-energy",
        &["at_most"],
        &["of", "share_of_draws"],
        "2 Wh",
    ),
    limited(
        "start-up",
        &[],
        &["at_most", "share_of_draws", "measured"],
        "60 s",
    ),
    limited(
        "ready-within",
        &["at_most"],
        &["of", "share_of_draws"],
        "90 s",
    ),
    limited(
        "collapse-factor",
        &["at_least"],
        &["share_of_draws"],
        "150 %",
    ),
    limited(
        "reserve",
        &["at_least"],
        &["of", "share_of_draws", "measured"],
        "2 W",
    ),
    limited(
        "short-circuit",
        &["at_least"],
        &["of", "share_of_draws"],
        "200 %",
    ),
    limited(
        "contact-life",
        &[],
        &["of", "at_least", "share_of_draws"],
        "365 d",
    ),
    limited("single-failure", &["at_most"], &["share_of_draws"], "1"),
    limited("time-to-notice", &["at_most"], &["share_of_draws"], "26 h"),
    limited("fail-safe", &["at_most"], &["of", "share_of_draws"], "5 s"),
    limited(
        "self-noise",
        &["at_least"],
        &["of", "share_of_draws"],
        "6 dB",
    ),
    limited("pick-up", &["at_least"], &["of", "share_of_draws"], "10 dB"),
    limited(
        "overload",
        &["at_least"],
        &["of", "share_of_draws"],
        "165 dB re 1 uPa",
    ),
    limited(
        "detection-range",
        &["of", "call", "at_least", "share"],
        &["in", "when_wind_at_most"],
        "2 km",
    ),
    limited(
        "encounter",
        &["of", "call", "calls", "correlation", "at_least", "share"],
        &["in", "when_wind_at_most"],
        "2 km",
    ),
    limited(
        "recall",
        &["of", "at_least", "labels"],
        &["confidence"],
        "80 %",
    ),
    limited(
        "false-alarms",
        &["of", "at_most", "labels"],
        &["confidence"],
        "1 per d",
    ),
    limited(
        "module-depth",
        &[],
        &["of", "at_least", "at_most", "share_of_draws", "measured"],
        "40 m",
    ),
    limited(
        "module-tilt",
        &["at_most"],
        &["of", "share_of_draws"],
        "15 deg",
    ),
    limited(
        "line-tension",
        &[],
        &["of", "at_most", "share_of_draws", "measured"],
        "3 kN",
    ),
    limited(
        "anchor-load",
        &[],
        &["of", "at_least", "share_of_draws"],
        "150 %",
    ),
    limited(
        "housing-margin",
        &[],
        &["of", "at_least", "share_of_draws"],
        "10 m",
    ),
    limited(
        "watch-circle",
        &["at_most"],
        &["of", "share_of_draws", "measured"],
        "40 m",
    ),
    limited(
        "on-station",
        &["at_most", "laying_error", "fix_error", "share"],
        &["of", "share_of_draws", "measured"],
        "60 m",
    ),
    limited(
        "strum-hours",
        &["at_most"],
        &["of", "share_of_draws"],
        "1 h",
    ),
    limited(
        "recovery-chance",
        &["at_least"],
        &["of", "share_of_draws"],
        "99 %",
    ),
    limited("parted-lift", &["at_least"], &["share_of_draws"], "50 N"),
    limited("surface-slack", &["at_most"], &["share_of_draws"], "2 m"),
    limited(
        "anode-life",
        &[],
        &["of", "at_least", "share_of_draws"],
        "365 d",
    ),
    limited(
        "anode-current",
        &[],
        &["of", "at_least", "share_of_draws"],
        "100 %",
    ),
    limited(
        "charge-at-deployment",
        &["at_least"],
        &["of", "share_of_draws"],
        "90 %",
    ),
    limited("spares", &["at_least"], &["share_of_draws"], "95 %"),
    limited("weather-window", &["at_least"], &["share_of_draws"], "80 %"),
    limited(
        "heave-overload",
        &["at_most"],
        &["of", "share_of_draws"],
        "0.1 %",
    ),
    limited(
        "listening-share",
        &["at_least", "share"],
        &["of", "hydrophones", "confidence"],
        "95 %",
    ),
    limited(
        "listening-gap",
        &["at_most", "share"],
        &["of", "hydrophones", "confidence"],
        "12 h",
    ),
    limited("calibration-age", &["at_most"], &["of"], "12 months"),
    kind("attested", &[], &["attested"]),
    kind("rehearsed", &["cues"], &[]),
];
/// Why a requirement of a kind has no `share_of_draws`, where that may surprise.
pub(crate) fn why_not_drawn(that: &str) -> Option<&'static str> {
    match that {
        "outage-hours" | "lowest-charge" | "listening-share" | "listening-gap" => Some(
            "`share` is its claim, of years; a draw has only a few years of its own, and `soundline check --certainty` tells in how many of them all it held",
        ),
        "detection-range" => Some(
            "ranges are measured with the plan as it is written; how the level of a call spreads counts in its `share`",
        ),
        "recall" | "false-alarms" => Some(
            "recordings are held against labels with the plan as it is written, and `confidence` says how surely",
        ),
        "rehearsed" => Some("a rehearsal is of the plan as it is written"),
        _ => None,
    }
}

/// Keys that every requirement may have.
pub(crate) const OF_REQUIREMENTS: &[&str] = &["that", "must", "source"];

/// Sounds of a cue sheet, by the word after `kind`.
pub(crate) const SOUNDS: &[Kind] = &[
    kind("upsweep", &["from", "to", "length"], &[]),
    kind("tone", &["frequency", "length"], &[]),
    kind(
        "pulse-train",
        &["frequency", "pulse", "interval", "pulses"],
        &[],
    ),
    kind(
        "click-train",
        &["centre", "click", "interval", "clicks"],
        &[],
    ),
    kind("hum", &["low", "high", "length"], &["blade_rate"]),
    kind("recording", &["file"], &["channel"]),
];
/// Keys that every sound may have.
pub(crate) const OF_SOUNDS: &[&str] = &["at", "kind", "source_level", "track", "repeats"];

/// Keys that every call of a plan may have; its other keys are those of the sound of its kind.
pub(crate) const OF_CALLS: &[&str] = &["kind", "source_level", "depth"];

/// Faults of a cue sheet, by the word after `kind`.
pub(crate) const FAULTS: &[Kind] = &[
    kind("cut", &[], &["until"]),
    kind("intermittent", &["down", "up", "lengths"], &["until"]),
    kind("bad-contact", &["resistance"], &["until"]),
    kind("unplugged", &["leaves"], &["until"]),
    kind("hang", &[], &["until"]),
    kind("dead", &[], &["until"]),
    kind("restart", &["by"], &[]),
    kind("reboot-loop", &["after"], &["until"]),
    kind("no-uplink", &[], &["until"]),
    kind("storage-full", &[], &["until"]),
    kind("no-supply", &[], &["until"]),
    kind("brown-out", &["voltage"], &["until"]),
    kind(
        "swapped",
        &[],
        &["with", "voltage", "resistance", "current_limit", "until"],
    ),
    kind("drained", &["energy"], &["until"]),
    kind("flood", &["topic", "every", "limited"], &["until"]),
    kind("bit-errors", &["rate"], &["until"]),
    kind("clock-step", &["step"], &[]),
    kind("deaf", &[], &["until"]),
];
/// Keys that every fault may have.
pub(crate) const OF_FAULTS: &[&str] = &["at", "kind", "of"];

/// Expectations of a cue sheet, by the word after `that`.
pub(crate) const EXPECTATIONS: &[Kind] = &[
    limited("notice", &["of"], &["at_least", "at_most"], "1"),
    limited("voted", &["of"], &["at_least", "at_most"], "1"),
    limited("switched", &["of", "to"], &["at_least", "at_most"], "1"),
    kind("stays", &["of", "to"], &[]),
    kind("fail-safe", &["of"], &[]),
    limited("delivered", &["topic", "at"], &["at_least", "at_most"], "1"),
    limited("sent", &["of"], &["at_least", "at_most"], "1"),
    limited("lost", &["topic"], &["at_least", "at_most"], "1"),
    limited(
        "late",
        &["topic"],
        &["at", "beyond", "at_least", "at_most"],
        "1",
    ),
    limited("packets-delivered", &["of"], &["at_least", "at_most"], "1"),
    limited("packets-lost", &["of"], &["at_least", "at_most"], "1"),
    limited(
        "packets-late",
        &["of"],
        &["beyond", "at_least", "at_most"],
        "1",
    ),
    limited("stopped", &["of"], &["at_least", "at_most"], "1"),
    kind("recovered", &["after", "within"], &["of", "topic", "at"]),
    limited("voltage", &["of"], &["at_least", "at_most"], "20 V"),
    limited("down", &["of"], &["at_least", "at_most"], "1"),
];
/// Keys that every expectation may have.
pub(crate) const OF_EXPECTATIONS: &[&str] = &["that", "after", "within", "from", "until"];
