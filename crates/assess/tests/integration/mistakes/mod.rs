//! A mistake in one part of the plan leaves what does not rest on it standing.

mod bent;
mod hung;
mod lost;
mod parts;
mod places;

use assess::{Check, Judged};

use crate::support::changed;

/// Things that have nothing to do with the way of the alert: a second ear with its store, a detector that only leads to a line in
/// the log, and a topic that stays on its module.
pub(crate) const ASIDE: &str = r#"
[module.ear.sensor.two]
kind = "hydrophone"
sensitivity = "-171 dB re 1 V/uPa"
gain = "21 dB"
adc = { full_scale = "2.6 V", bits = 24, rate = "8 kHz" }
calibrated = { date = 2026-12-02, by = "test" }
pick_up = [{ from = "module.base", voltage = "3 nV", frequency = "900 Hz", harmonics = 1, falls = "6 dB" }]

[detector.other]
on = "module.ear.sensor.two"
stages = [
  { level = "rms", window = "0.3 s" },
  { on_above = "120 dB re 1 uPa", off_below = "110 dB re 1 uPa", shortest = "0.4 s", hold_off = "6 s" },
]

[topic."note/own"]
size = "11 B"

[behaviour.count]
on = "module.base"
each = "11 min"
do = [{ publish = "note/own" }]

[behaviour.keep]
on = "module.base"
when_told = "note/own"
do = [{ log = "counted" }]

[behaviour.note]
on = "module.ear"
when_heard = "detector.other.confirmed"
do = [{ log = "the other" }]

[storage.second]
at = "module.ear"
capacity = "2 TB"
records = [{ sensor = "module.ear.sensor.two", share = "90 %", compression = 2 }]

[requirement.peak]
that = "highest-voltage"

[metal.can]
of = "module.ear"
metal = "aluminium"
area = "0.2 m2"
current_density = "100 mA/m2"
first_current_density = "200 mA/m2"
last_current_density = "150 mA/m2"

[metal.frame]
metal = "stainless-316"
area = "0.1 m2"
current_density = "100 mA/m2"
first_current_density = "200 mA/m2"
last_current_density = "150 mA/m2"
touches = ["metal.can"]

[anode.block]
on = "metal.can"
metal = "zinc"
mass = "300 g"
usable_share = "80 %"
form = { kind = "bracelet", outer_area = "0.02 m2", inner_area = "0.015 m2" }
resistivity = "0.25 ohm.m"
about = "water"

[requirement.anodes]
that = "anode-life"
at_least = "100 h"

[requirement.hush]
that = "pick-up"
of = "module.ear.sensor.two"
at_least = "10 dB"

[requirement.output]
that = "anode-current"
at_least = "10 %"

[requirement.ready]
that = "ready-within"
of = "module.ear.sensor.one"
at_most = "60 s"

[requirement.second]
that = "storage-time"
of = "storage.second"
at_least = "100 d"

[requirement.wait]
that = "uplink-wait"
of = "uplink.shore"
at_most = "4.5 s"
share = "90 %"

[requirement.voltage]
"#;

const WIND: (&str, &str) = (
    "shipping = 0.2\n",
    "shipping = 0.2\nwind = [\"5 m/s\", \"5 m/s\", \"5 m/s\", \"5 m/s\", \"5 m/s\", \"5 m/s\", \"5 m/s\", \"5 m/s\", \"5 m/s\", \"5 m/s\", \"5 m/s\", \"5 m/s\"]\n",
);

pub(crate) fn wide(changes: &[(&str, &str)]) -> String {
    let mut all = vec![("[requirement.voltage]\n", ASIDE), WIND];
    all.extend_from_slice(changes);
    changed(&all)
}

pub(crate) fn all(check: &Check) -> Vec<Judged> {
    let both = check.requirements.iter().chain(&check.standing);
    both.cloned().collect()
}
