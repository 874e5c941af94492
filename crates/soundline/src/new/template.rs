//! The text of a new plan. A line whose value nobody answered ends in `# assumed`.
//!
//! The assumed values are invented, of a size that is usual for such lines; each is there to be replaced.

use std::fmt::Write;

use jiff::civil::Date;

use super::answers::{Read, TemplateError, head, read};
use super::questions::{Answers, Ask, SupplyKind, Value};
use super::text::{Text, quoted, short};

/// Sample rates that converters usually have, kHz; common practice.
const USUAL_RATES_KHZ: [f64; 7] = [8.0, 16.0, 32.0, 48.0, 96.0, 192.0, 384.0];
/// Sample rate over the highest frequency, at least; leaves room for the filter ahead of the converter.
const RATE_OVER_HIGHEST: f64 = 2.5;
/// Frequencies that a plan takes, Hz.
const LEAST_NOISE_HZ: f64 = 1e-3;
const MOST_NOISE_HZ: f64 = 1e7;

/// Most messages that the behaviour at the top sends up in a day.
pub(super) const BILLED_A_DAY: usize = 12;

/// Window of the detectors, s: no shorter than the band can follow, ten times the inverse of its width.
pub(super) fn window_s(read: &Read) -> f64 {
    f64::max(0.25, 10.0 / (read.high.1 - read.low.1))
}

/// Time over which the detectors know their background, s.
pub(super) fn background_s(read: &Read) -> f64 {
    120.0 * window_s(read)
}

/// The plan that follows from the answers; `today` is assumed as the start.
///
/// # Errors
/// [`TemplateError`] for an answer that cannot be read. What a plan may not hold for other reasons, reading it tells.
pub(crate) fn plan_text(answers: &Answers, today: Date) -> Result<String, TemplateError> {
    let read = read(answers, today)?;
    let value = |ask| {
        answers
            .value(ask, today)
            .expect("all but depths are assumed")
    };
    let mut text = Text::default();
    text.line("# A plan made from a few answers. What ends in `# assumed` nobody answered: check each such line.");
    text.line("format = 1");

    text.table("deployment");
    text.quantity("name", &value(Ask::Name));
    text.bare("start", &read.start);
    text.quantity("duration", &value(Ask::Duration));
    text.assumed("start_slip", "\"4 wk\"");
    text.assumed("recovery_slip", "\"4 wk\"");

    text.table("site");
    text.quantity("latitude", &value(Ask::Latitude));
    text.quantity("longitude", &value(Ask::Longitude));
    text.quantity("water_depth", &value(Ask::WaterDepth));
    text.assumed(
        "profile",
        "[{ depth = \"0 m\", temperature = \"10 degC\", salinity = 34 }]",
    );
    text.assumed(
        "current",
        "[{ depth = \"0 m\", speed = \"0.5 m/s\", towards = \"0 deg\" }]",
    );
    text.line("# The same mean for each month, from January; monthly means are better.");
    let wind = value(Ask::Wind);
    let months = vec![quoted(&wind.text); 12].join(", ");
    text.bare(
        "wind",
        &Value {
            text: format!("[{months}]"),
            ..wind
        },
    );
    text.assumed("clearness", &format!("[{}]", ["0.4"; 12].join(", ")));
    text.assumed("shipping", "0.5");
    text.assumed("ph", "8.0");
    text.assumed("spreading", "\"practical\"");

    let shore = read.supply == SupplyKind::Shore;
    let head = head(&read);
    if !shore {
        text.table("anchor.sinker");
        text.line("# What it holds and what the rope bears is left out: without a hull and design cases nobody knows what they are asked.");
        text.table("section.riser");
        text.line("from = \"module.buoy\"");
        text.line("to = \"anchor.sinker\"");
        text.assumed(
            "length",
            &format!("\"{} m\"", short(read.water_depth_m * 1.08)),
        );
        text.line("rope = \"part.rope\"");
        text.table("part.rope");
        text.line("is = \"rope\"");
        text.assumed("diameter", "\"12 mm\"");
        text.assumed("weight_in_water", "\"0.35 N/m\"");
        text.assumed("stiffness", "\"600 kN\"");
    }
    supply(
        &mut text,
        &read,
        head,
        &value(Ask::Supply),
        &value(Ask::Voltage),
    );
    head_module(&mut text, &read, head);
    ear_part(&mut text, &read);
    ears(&mut text, &read, shore);
    spans(
        &mut text,
        &read,
        head,
        &value(Ask::Conductor),
        &value(Ask::Link),
    );
    detectors(&mut text, &read, &value(Ask::Threshold));
    talk(&mut text, &read, head, &value(Ask::Price));
    requirements(&mut text, head);
    year(&mut text, read.supply);
    Ok(text.finish())
}

fn supply(text: &mut Text, read: &Read, head: &str, kind: &Value, voltage: &Value) {
    text.table("supply.main");
    text.line(&format!("at = \"module.{head}\""));
    text.quantity("kind", kind);
    text.table("supply.main.output");
    text.quantity("voltage", voltage);
    text.assumed("resistance", "\"0.1 ohm\"");
    text.assumed("current_limit", "\"2.5 A\"");
    let battery = match read.supply {
        SupplyKind::SolarBattery => Some(("lifepo4", "60 Ah", "12.8 V".to_owned())),
        SupplyKind::PrimaryCells => Some(("primary-lithium", "700 Ah", voltage.text.clone())),
        SupplyKind::Bench | SupplyKind::Vessel | SupplyKind::Shore => None,
    };
    if read.supply == SupplyKind::SolarBattery {
        text.table("supply.main.panels");
        text.assumed("peak_power_each", "\"40 W\"");
        text.assumed("tilt", "\"60 deg\"");
        text.assumed("faces", "4");
        text.assumed("loss", "\"15 %\"");
    }
    if let Some((chemistry, capacity, volts)) = battery {
        text.table("supply.main.battery");
        text.assumed("chemistry", &quoted(chemistry));
        text.assumed("capacity", &quoted(capacity));
        text.assumed("voltage", &quoted(&volts));
    }
}

/// The module at the top: a buoy that speaks to the shore, or the shore end itself.
fn head_module(text: &mut Text, read: &Read, head: &str) {
    text.table(&format!("module.{head}"));
    text.line("position = { depth = \"0 m\" }");
    module_values(text, read);
    text.assumed("loads", "{ watching = \"0.35 W\", uplinking = \"4.2 W\" }");
    text.line("starts_in = \"watching\"");
    if head == "buoy" {
        text.line("# Local rules on marking decide what light the buoy must show.");
        text.table("module.buoy.output.lantern");
        text.line("kind = \"lamp\"");
        text.assumed("power", "\"0.3 W\"");
        text.assumed("starts", "\"on\"");
    }
}

fn module_values(text: &mut Text, read: &Read) {
    // A converter for 9 V to 36 V is common practice on lines of 12 V to 24 V.
    let (least_v, most_v) = if (12.0..=30.0).contains(&read.voltage_v) {
        (9.0, 36.0)
    } else {
        (0.5 * read.voltage_v, 1.5 * read.voltage_v)
    };
    text.assumed(
        "input",
        &format!(
            "{{ minimum = \"{} V\", maximum = \"{} V\", capacitance = \"220 uF\", efficiency = 0.88, standing = \"40 mW\" }}",
            short(least_v),
            short(most_v)
        ),
    );
    text.assumed("boot", "{ time = \"6 s\", power = \"1.6 W\" }");
    text.assumed("passes", "{ power = \"always\", data = \"running\" }");
    text.assumed("through", "{ resistance = \"0.4 ohm\" }");
    text.assumed("processing", "\"2 ms\"");
}

fn ear_part(text: &mut Text, read: &Read) {
    text.table("part.listener");
    text.line("is = \"module\"");
    module_values(text, read);
    text.assumed("loads", "{ listening = \"0.55 W\", sending = \"1.4 W\" }");
    text.line("starts_in = \"listening\"");
    let rated_m = 1.5 * read.water_depth_m;
    text.assumed(
        "housing",
        &format!(
            "{{ rated_depth = \"{} m\", weight_in_water = \"8 N\", cd_a = \"0.02 m2\" }}",
            short(rated_m)
        ),
    );
    text.table("part.listener.sensor.ear");
    text.line("kind = \"hydrophone\"");
    text.assumed("sensitivity", "\"-168 dB re 1 V/uPa ± 1 dB\"");
    text.assumed("gain", "\"26 dB\"");
    let rate_hz = RATE_OVER_HIGHEST * read.high.1;
    let usual = USUAL_RATES_KHZ.into_iter().find(|khz| khz * 1e3 >= rate_hz);
    let rate = match usual {
        Some(khz) => format!("{khz} kHz"),
        None => format!("{} Hz", short(rate_hz)),
    };
    text.assumed(
        "adc",
        &format!(
            "{{ full_scale = \"1.25 V\", bits = 16, rate = {} }}",
            quoted(&rate)
        ),
    );
    let corner_hz = if read.low.1 > 20.0 {
        10.0
    } else {
        0.5 * read.low.1
    };
    text.assumed(
        "high_pass",
        &format!("{{ corner = \"{} Hz\", poles = 2 }}", short(corner_hz)),
    );
    text.assumed("settles_in", "\"20 s\"");
    text.assumed("self_noise", &self_noise(read));
}

/// Self-noise from an octave below the band to a third of an octave above it, with the powers of ten between.
fn self_noise(read: &Read) -> String {
    let (least_hz, most_hz) = (
        f64::max(0.5 * read.low.1, LEAST_NOISE_HZ),
        f64::min(1.25 * read.high.1, MOST_NOISE_HZ),
    );
    let decades = (-3..=7).map(|power| 10f64.powi(power));
    let between = decades.filter(|&hz| hz > 1.2 * least_hz && 1.2 * hz < most_hz);
    let rows: Vec<String> = std::iter::once(least_hz)
        .chain(between)
        .chain(std::iter::once(most_hz))
        .map(|hz| {
            format!(
                "{{ frequency = \"{} Hz\", level = \"{:.0} dB re 1 uPa2/Hz\" }}",
                short(hz),
                noise_db_re_1upa2_per_hz(hz)
            )
        })
        .collect();
    format!("[{}]", rows.join(", "))
}

/// Invented, of a size that is usual: 41 dB at 1 kHz, 8.5 dB less for each decade up to 10 kHz, level above.
fn noise_db_re_1upa2_per_hz(frequency_hz: f64) -> f64 {
    41.0 - 8.5 * f64::min(frequency_hz / 1000.0, 10.0).log10()
}

fn ears(text: &mut Text, read: &Read, shore: bool) {
    for (number, (depth, _)) in (1..).zip(&read.depths) {
        text.table(&format!("module.ear-{number}"));
        text.line("part = \"part.listener\"");
        let at = quoted(&depth.text);
        let place = if shore {
            format!("{{ depth = {at} }}")
        } else {
            format!("{{ section = \"section.riser\", from_top = {at} }}")
        };
        text.bare(
            "position",
            &Value {
                text: place,
                assumed: depth.assumed,
            },
        );
    }
}

/// The ids of the modules from the top down.
fn chain(read: &Read, head: &str) -> Vec<String> {
    let ears = (1..=read.depths.len()).map(|number| format!("ear-{number}"));
    std::iter::once(head.to_owned()).chain(ears).collect()
}

fn spans(text: &mut Text, read: &Read, head: &str, conductor: &Value, link: &Value) {
    text.table("part.line-cable");
    text.line("is = \"span\"");
    text.quantity("conductor", conductor);
    text.quantity("link", link);
    text.assumed(
        "contacts",
        "{ mated_pins_in_loop = 4, resistance = \"8 mohm\", aged = \"80 mohm\" }",
    );
    let modules = chain(read, head);
    let depths_m: Vec<f64> = read.depths.iter().map(|(_, depth_m)| *depth_m).collect();
    for (index, ends) in modules.windows(2).enumerate() {
        text.table(&format!("span.{}-{}", ends[0], ends[1]));
        text.line("part = \"part.line-cable\"");
        text.line(&format!("from = \"module.{}\"", ends[0]));
        text.line(&format!("to = \"module.{}\"", ends[1]));
        match (head, index) {
            ("shore", 0) => {
                text.assumed("length", &format!("\"{} m\"", short(500.0 + depths_m[0])))
            }
            ("shore", _) => {
                let length_m = 1.02 * (depths_m[index] - depths_m[index - 1]);
                text.assumed("length", &format!("\"{} m\"", short(length_m)));
            }
            _ => text.assumed("slack", "\"2 %\""),
        }
    }
}

fn detectors(text: &mut Text, read: &Read, threshold: &Value) {
    let window_s = window_s(read);
    let band = Value {
        text: format!(
            "{{ band = [{}, {}] }},",
            quoted(&read.low.0.text),
            quoted(&read.high.0.text)
        ),
        assumed: read.low.0.assumed,
    };
    for number in 1..=read.depths.len() {
        text.table(&format!("detector.call-{number}"));
        text.line(&format!("on = \"module.ear-{number}.sensor.ear\""));
        text.line("stages = [");
        text.item(&band);
        text.assumed_item(&format!(
            "{{ level = \"rms\", window = \"{} s\" }},",
            short(window_s)
        ));
        text.assumed_item(&format!(
            "{{ background = \"median\", over = \"{} s\" }},",
            short(background_s(read))
        ));
        // The threshold is answered or assumed; the rest of its stage is assumed in any case.
        let mut stage = String::new();
        write!(
            stage,
            "{{ on_above = {}, off_below = \"{} dB\", shortest = \"{} s\", longest = \"{} s\", hold_off = \"10 s\" }},",
            quoted(&threshold.text),
            short(read.threshold_db - 2.0),
            short(2.0 * window_s),
            short(10.0 * window_s),
        )
        .expect("writing to a string does not fail");
        text.line(&format!(
            "  {stage}  # assumed{}",
            if threshold.assumed {
                ""
            } else {
                " but for on_above"
            }
        ));
        text.line("]");
    }
}

fn talk(text: &mut Text, read: &Read, head: &str, price: &Value) {
    text.table("traffic");
    text.assumed("stack", "[\"ethernet\", \"ipv6\", \"udp\"]");
    text.assumed("packet", "\"1400 B\"");
    text.table("topic.\"alert/call\"");
    text.assumed("at_most", "\"20 per hour\"");
    text.assumed("priority", "0");
    text.line("fields = [");
    text.assumed_item("{ name = \"time\", time_bits = 24, time_step = \"1 s\" },");
    text.assumed_item(
        "{ name = \"level\", unit = \"dB re 1 uPa\", from = 60, to = 190, step = 0.5 },",
    );
    text.line("]");
    for number in 1..=read.depths.len() {
        text.table(&format!("behaviour.tell-{number}"));
        text.line(&format!("on = \"module.ear-{number}\""));
        text.line(&format!(
            "when_heard = \"detector.call-{number}.confirmed\""
        ));
        text.line("do = [");
        text.assumed_item("{ enter = \"sending\", for = \"2 s\" },");
        text.line("  { publish = \"alert/call\" },");
        text.line("]");
    }
    text.table("behaviour.tell-the-shore");
    text.line(&format!("on = \"module.{head}\""));
    text.line("when_told = \"alert/call\"");
    text.assumed("at_most", &format!("\"{BILLED_A_DAY} per d\""));
    text.line("do = [{ send_up = \"uplink.ashore\", about = \"alert/call\" }]");
    text.table("uplink.ashore");
    text.line(&format!("at = \"module.{head}\""));
    text.assumed("message_size", "\"300 B\"");
    text.quantity("price", price);
    text.assumed("failed_attempts", "\"free\"");
    text.assumed("session", "\"20 s\"");
    text.assumed("success", "\"95 %\"");
    text.assumed("back_off", "\"60 s\"");
    text.assumed("expiry", "\"2 h\"");
    text.assumed("sending_state", "\"uplinking\"");
}

fn requirements(text: &mut Text, head: &str) {
    text.line("");
    text.line("# What must hold. Add the clauses of the permit, each with its `source`.");
    text.table("requirement.voltage");
    text.line("that = \"voltage\"");
    text.table("requirement.supply");
    text.line("that = \"supply-current\"");
    text.table("requirement.start");
    text.line("that = \"start-up\"");
    text.assumed("at_most", "\"60 s\"");
    text.table("requirement.links");
    text.line("that = \"link-load\"");
    text.assumed("at_most", "\"20 %\"");
    text.table("requirement.prompt");
    text.line("that = \"delay\"");
    text.line("from = \"detector.call-1.confirmed\"");
    text.line(&format!("to = \"module.{head}\""));
    text.assumed("at_most", "\"5 s\"");
    text.table("requirement.messages");
    text.line("that = \"uplink-messages\"");
    text.line("of = \"uplink.ashore\"");
    text.assumed("at_most", "\"400 per 30 d\"");
}

/// What asks whether the supply lives through its time: a winter for a battery that is charged, a life for one that is not.
fn year(text: &mut Text, supply: SupplyKind) {
    match supply {
        SupplyKind::SolarBattery => {
            text.table("requirement.winter");
            text.line("that = \"outage-hours\"");
            text.line("of = \"supply.main\"");
            text.assumed("at_most", "\"0 h\"");
            text.assumed("share", "\"99 %\"");
            text.assumed("confidence", "\"95 %\"");
        }
        SupplyKind::PrimaryCells => {
            text.table("requirement.cells");
            text.line("that = \"cell-life\"");
            text.line("of = \"supply.main\"");
        }
        SupplyKind::Bench | SupplyKind::Vessel | SupplyKind::Shore => {}
    }
}
