//! The text of a first cue sheet for a new plan: a near call, one while the uplink is out, and what must be seen of each.
//!
//! All but the wind is assumed: no question asks for it.

use jiff::civil::Date;

use super::answers::{Read, TemplateError, head, read};
use super::questions::{Answers, Ask};
use super::template::{BILLED_A_DAY, background_s, window_s};
use super::text::{Text, short};

/// From a call at this range the level at the hydrophone is about 30 dB below that at 1 m: out of the noise, and below what
/// the assumed converter holds (both by the assumed sensitivity, gain and spreading).
const SOURCE_LEVEL: &str = "160 dB re 1 uPa m";
const RANGE: &str = "100 m";
/// From the outage's beginning to its end, and from it to the call that is sent up after it, s.
const OUTAGE_S: f64 = 120.0;
const CALL_IN_OUTAGE_S: f64 = 30.0;
/// Room for a message to go up in spite of lost attempts, s.
const SENT_WITHIN_S: f64 = 240.0;

/// The cue sheet that follows from the answers; `today` is as for the plan.
///
/// # Errors
/// [`TemplateError`] for an answer that cannot be read.
pub(crate) fn cues_text(answers: &Answers, today: Date) -> Result<String, TemplateError> {
    let read = read(answers, today)?;
    let head = head(&read);
    let wind = answers
        .value(Ask::Wind, today)
        .expect("the wind is assumed when nobody answers");
    let window_s = window_s(&read);
    // A detector is deaf until half of its background is known; a hydrophone until it has booted and settled.
    let near_s = f64::max(60.0, background_s(&read) + 30.0).ceil();
    let outage_s = near_s + SENT_WITHIN_S + 60.0;
    // Each hydrophone that hears a call has it sent up; beyond a day's messages the second call would not be.
    let second = 2 * read.depths.len() <= BILLED_A_DAY;
    let end_s = outage_s + OUTAGE_S + SENT_WITHIN_S;

    let mut text = Text::default();
    text.line("# A first rehearsal: a call near the line, and one while the uplink is out. What ends in `# assumed` nobody");
    text.line("# answered: put in the sounds that you wait for, and the faults that you fear.");
    text.line("format = 1");
    text.table("rehearsal");
    text.assumed("name", "\"First rehearsal\"");
    text.assumed("duration", &seconds(end_s));
    text.assumed("seed", "1");
    text.quantity("wind", &wind);
    text.assumed("contacts", "\"aged\"");

    sound(&mut text, &read, "near-call", near_s);
    if second {
        sound(&mut text, &read, "outage-call", outage_s + CALL_IN_OUTAGE_S);
    }

    text.table("fault.uplink-out");
    text.line("kind = \"no-uplink\"");
    text.line("of = \"uplink.ashore\"");
    text.assumed("at", &seconds(outage_s));
    text.assumed("until", &seconds(outage_s + OUTAGE_S));

    text.line("");
    text.line("# What must be seen.");
    let soon = seconds(f64::max(5.0, 20.0 * window_s));
    let calls = [("near", "near-call"), ("outage", "outage-call")];
    for (name, call) in calls.into_iter().take(if second { 2 } else { 1 }) {
        text.table(&format!("expect.{name}-heard"));
        text.line("that = \"notice\"");
        text.line("of = \"detector.call-1.confirmed\"");
        text.line(&format!("after = \"sound.{call}\""));
        text.assumed("within", &soon);
        text.table(&format!("expect.{name}-told"));
        text.line("that = \"delivered\"");
        text.line("topic = \"alert/call\"");
        text.line(&format!("at = \"module.{head}\""));
        text.line(&format!("after = \"sound.{call}\""));
        text.assumed("within", &soon);
        text.table(&format!("expect.{name}-ashore"));
        text.line("that = \"sent\"");
        text.line("of = \"uplink.ashore\"");
        text.line(&format!("after = \"sound.{call}\""));
        text.assumed("within", &seconds(SENT_WITHIN_S));
    }
    if second {
        text.table("expect.outage-waits");
        text.line("that = \"sent\"");
        text.line("of = \"uplink.ashore\"");
        text.line(&format!("from = {}", seconds(outage_s)));
        text.line(&format!("until = {}", seconds(outage_s + OUTAGE_S)));
        text.line("at_most = 0");
    }
    Ok(text.finish())
}

/// A call within the detector's band, as deep as the first hydrophone, twice as long as the detector's shortest event.
fn sound(text: &mut Text, read: &Read, id: &str, at_s: f64) {
    let (low_hz, high_hz) = (read.low.1, read.high.1);
    let inside = |share: f64| format!("\"{} Hz\"", short(low_hz + share * (high_hz - low_hz)));
    text.table(&format!("sound.{id}"));
    text.assumed("at", &seconds(at_s));
    text.line("kind = \"upsweep\"");
    text.assumed("from", &inside(0.2));
    text.assumed("to", &inside(0.8));
    text.assumed("length", &seconds(4.0 * window_s(read)));
    text.assumed("source_level", &format!("\"{SOURCE_LEVEL}\""));
    let depth = &read.depths[0].0.text;
    text.assumed(
        "track",
        &format!(
            "[{{ range = \"{RANGE}\", bearing = \"90 deg\", depth = {} }}]",
            super::text::quoted(depth)
        ),
    );
}

fn seconds(time_s: f64) -> String {
    format!("\"{} s\"", short(time_s))
}
