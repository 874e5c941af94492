//! Lines without ears, written for one check: modules in a tree of cables, told what to do by the cue sheet.

use std::fmt::Write;

/// A module of such a line; the first one has the supply, a lamp and an uplink.
#[derive(Clone, Debug)]
pub(crate) struct Node {
    /// The module from which its cable comes; not used of the first.
    pub(crate) parent: usize,
    /// When data passes it.
    pub(crate) passes_data: &'static str,
    /// Rate of the link on its cable, kbit/s.
    pub(crate) rate_kbit_s: u32,
}

/// The modules `m0`, `m1` ... without behaviours; more text may be put behind it.
pub(crate) fn line_text(nodes: &[Node], expiry_s: u32, success_percent: u32) -> String {
    let mut text = format!(
        r#"format = 1

[deployment]
name = "Chain"
start = 2027-01-01
duration = "1 d"

[site]
latitude = "50 deg"
longitude = "0 deg"
water_depth = "40 m"
profile = [{{ depth = "0 m", temperature = "10 degC", salinity = 35 }}]

[supply.bench]
at = "module.m0"
kind = "bench"
output = {{ voltage = "48 V", resistance = "0 ohm" }}

[traffic]
stack = ["ethernet", "ipv6", "udp"]
packet = "1400 B"

[module.m0.output.lamp]
kind = "lamp"
power = "10 W"

[uplink.shore]
at = "module.m0"
message_size = "120 B"
price = "0.10 EUR"
session = "5 s"
success = "{success_percent} %"
back_off = "2 s"
expiry = "{expiry_s} s"
sending_state = "sending"
"#
    );
    for (i, node) in nodes.iter().enumerate() {
        let passes_data = node.passes_data;
        write!(
            text,
            r#"
[module.m{i}]
position = {{ depth = "20 m" }}
input = {{ minimum = "20 V", maximum = "56 V" }}
loads = {{ idle = "1 W", alert = "2 W", watch = "3 W", brief = "4 W", sending = "5 W" }}
starts_in = "idle"
boot = {{ time = "3 s", power = "2 W" }}
passes = {{ power = "always", data = "{passes_data}" }}
through = {{ resistance = "0 ohm" }}
processing = "100 us"
"#
        )
        .unwrap();
        if i > 0 {
            write!(
                text,
                r#"
[span.s{i}]
from = "module.m{}"
to = "module.m{i}"
length = "100 m"
conductor = "18 AWG"
contacts = {{ mated_pins_in_loop = 0, resistance = "0 ohm" }}
link = "free"
link_rate = "{} kbit/s"
"#,
                node.parent, node.rate_kbit_s
            )
            .unwrap();
        }
    }
    text
}

/// A line of modules one behind another, at 10 Mbit/s.
pub(crate) fn in_a_row(passes_data: &[&'static str]) -> Vec<Node> {
    passes_data
        .iter()
        .enumerate()
        .map(|(i, passes_data)| Node {
            parent: i.saturating_sub(1),
            passes_data,
            rate_kbit_s: 10_000,
        })
        .collect()
}

pub(crate) fn topic(name: &str) -> String {
    format!("\n[topic.\"{name}\"]\npriority = 0\nsize = \"200 B\"\n")
}

pub(crate) fn told(id: &str, module: usize, filter: &str, actions: &str) -> String {
    format!(
        "\n[behaviour.{id}]\non = \"module.m{module}\"\nwhen_told = \"{filter}\"\ndo = [{actions}]\n"
    )
}

pub(crate) fn cue_text(duration_s: u32, seed: u64) -> String {
    format!(
        "format = 1\n\n[rehearsal]\nname = \"Chain\"\nduration = \"{duration_s} s\"\nseed = {seed}\nwind = \"4 m/s\"\n"
    )
}

pub(crate) fn input(id: &str, at_s: f64, module: usize, topic: &str) -> String {
    format!(
        "\n[input.{id}]\nat = \"{at_s} s\"\nmodule = \"module.m{module}\"\npublish = \"{topic}\"\n"
    )
}

pub(crate) fn fault(id: &str, kind: &str, of: &str, from_s: f64, until_s: f64) -> String {
    format!(
        "\n[fault.{id}]\nkind = \"{kind}\"\nof = \"{of}\"\nat = \"{from_s} s\"\nuntil = \"{until_s} s\"\n"
    )
}
