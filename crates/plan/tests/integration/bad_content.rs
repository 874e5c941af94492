//! Bad plans: what messages are to hold.

use crate::support::{Files, SMALL, bad, changed, said};

macro_rules! content {
    ($($name:ident: $values:expr;)*) => {
        bad! {
            $($name: "size = \"12 B\"\n\n[behaviour.tell]\non = \"module.upper\"\nwhen_heard = \"detector.call.confirmed\"\ndo = [{ publish = \"alert/call\" }]" => concat!("fields = [\n  { name = \"level\", unit = \"dB re 1 uPa\", from = 60, to = 180, step = 0.5 },\n  { name = \"class\", values = [\"call\", \"other\"] },\n  { name = \"low\", flag = true },\n  { name = \"at\", time_bits = 32, time_step = \"1 s\" },\n]\n\n[behaviour.tell]\non = \"module.upper\"\nwhen_heard = \"detector.call.confirmed\"\ndo = [{ publish = \"alert/call\", values = ", $values, " }]");)*
        }
    };
}

bad! {
    values_for_a_topic_with_a_size: "do = [{ publish = \"alert/call\" }]" => "do = [{ publish = \"alert/call\", values = { level = 3 } }]";
    values_of_a_log: "do = [{ publish = \"alert/call\" }]" => "do = [{ log = \"heard\", values = { level = 3 } }]";
}

content! {
    values_that_are_no_table: "[3]";
    value_of_no_field: "{ lovel = \"event.level\", class = \"call\", low = false, at = \"now\" }";
    values_without_a_flag_and_a_time: "{ level = \"event.level\", class = \"call\" }";
    value_outside_its_field: "{ level = 190, class = \"call\", low = false, at = \"now\" }";
    value_between_two_steps: "{ level = 90.3, class = \"call\", low = false, at = \"now\" }";
    value_of_another_list: "{ class = \"cell\", low = false, at = \"now\" }";
    values_of_other_kinds: "{ level = true, class = 1, low = \"no\", at = 2027-01-01 }";
    measure_that_is_none: "{ level = \"event.lvel\", class = \"call\", low = false, at = \"now\" }";
    measures_of_other_kinds: "{ level = \"event.begin\", class = \"event.level\", low = false, at = \"event.peak\" }";
    measure_in_another_unit: "{ level = \"event.length\", class = \"call\", low = false, at = \"now\" }";
    score_in_a_field_of_levels: "{ level = \"event.score\", class = \"call\", low = false, at = \"now\" }";
    number_in_a_field_of_levels: "{ level = \"event.pulses\", class = \"call\", low = false, at = \"now\" }";
    message_where_none_is_told: "{ level = \"message.level\", class = \"call\", low = false, at = \"now\" }";
}

/// A level without its reference, one with another, and the same reference written otherwise.
#[test]
fn regress_levels_in_fields_of_other_references() {
    let with = |unit: &str, measure: &str| {
        let fields = format!(
            "fields = [{{ name = \"x\", unit = \"{unit}\", from = 0, to = 200, step = 1 }}]\n\n[behaviour.tell]"
        );
        let text = changed(SMALL, "size = \"12 B\"\n\n[behaviour.tell]", &fields);
        let values = format!(
            "do = [{{ publish = \"alert/call\", values = {{ x = \"event.{measure}\" }} }}]"
        );
        said(&Files::one(changed(
            &text,
            "do = [{ publish = \"alert/call\" }]",
            &values,
        )))
    };
    insta::assert_snapshot!("level_without_its_reference", with("dB", "level"));
    insta::assert_snapshot!("level_of_another_reference", with("dB re 1 uPa2 s", "peak"));
    for unit in ["dB re 1 uPa", "dB re 1 \u{b5}Pa"] {
        let told = with(unit, "background");
        assert!(!told.contains("wrong-dimension"), "{told}");
    }
    let told = with("dB", "score");
    assert!(!told.contains("wrong-dimension"), "{told}");
}

#[test]
fn regress_fields_that_cross_a_link_without_a_check() {
    let text = changed(
        SMALL,
        "stack = [\"ethernet\", \"ipv6\", \"udp\"]",
        "stack = [\"ethernet\"]",
    );
    let text = changed(
        &text,
        "link = \"10BASE-T1L\"",
        "link = \"free\"\nlink_rate = \"1 Mbit/s\"",
    );
    let size = "size = \"12 B\"\n\n[behaviour.tell]";
    let fields = "fields = [{ name = \"low\", flag = true }]CRC\n\n[behaviour.tell]";
    let text = changed(&text, size, fields);
    let bare = said(&Files::one(changed(&text, "CRC", "")));
    insta::assert_snapshot!("fields_without_a_check", bare);
    let checked = said(&Files::one(changed(&text, "CRC", "\ncrc = true")));
    assert!(!checked.contains("no-check"), "{checked}");
}
