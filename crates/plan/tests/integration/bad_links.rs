//! Links and buses that cannot be, and what is said of them.

use crate::support::{Files, SMALL, bad, changed, said};

const LINK: &str = "link = \"10BASE-T1L\"";

bad! {
    serial_link_without_a_rate: LINK => "link = \"TIA-485\"\nframe = { header = \"8 B\", characters = \"8N1\", turnaround = \"2 ms\" }";
    serial_link_without_a_frame: LINK => "link = \"TIA-485\"\nlink_rate = \"9600 b/s\"";
    serial_frame_without_its_characters: LINK => "link = \"TIA-232\"\nlink_rate = \"9600 b/s\"\nframe = { header = \"8 B\" }";
    rate_that_can_does_not_have: LINK => "link = \"CAN 2.0\"\nlink_rate = \"300 kbit/s\"\nframe = { header = \"1 B\", ids = \"11 bit\" }";
    rate_above_the_standard: LINK => "link = \"TIA-232\"\nlink_rate = \"1 Mbit/s\"\nframe = { header = \"8 B\", characters = \"8N1\" }";
    can_header_that_fills_the_frame: LINK => "link = \"CAN 2.0\"\nlink_rate = \"250 kbit/s\"\nframe = { header = \"8 B\", ids = \"29 bit\" }";
    can_data_below_a_megabit: LINK => "link = \"CAN FD\"\nlink_rate = \"1 Mbit/s\"\nframe = { header = \"1 B\", ids = \"11 bit\", data_rate = \"0.5 Mbit/s\" }";
    characters_on_ethernet: LINK => "link = \"10BASE-T1L\"\nframe = { characters = \"8N1\" }";
    identifiers_on_a_serial_line: LINK => "link = \"TIA-232\"\nlink_rate = \"9600 b/s\"\nframe = { header = \"8 B\", characters = \"8N1\", ids = \"11 bit\" }";
    errors_closer_than_they_are_assumed: LINK => "link = \"CAN 2.0\"\nlink_rate = \"125 kbit/s\"\nframe = { header = \"0 B\", ids = \"11 bit\" }\nbit_error_rate = 1e-2\nerrors_apart = \"50 ms\"";
    errors_apart_where_nothing_is_sent_again: LINK => "link = \"10BASE-T1L\"\nerrors_apart = \"100 ms\"";
    somebody_asks_on_can: LINK => "link = \"CAN 2.0\"\nlink_rate = \"250 kbit/s\"\nframe = { header = \"1 B\", ids = \"11 bit\" }\npolled_by = \"module.buoy\"";
    longest_length_beside_a_standard: LINK => "link = \"10BASE-T1L\"\nlink_longest = \"1500 m\"";
    link_and_bus: LINK => "link = \"10BASE-T1L\"\nbus = \"bus.side\"\n[bus.side]\nlink = \"SDI-12\"\npolled_by = \"module.buoy\"";
    rate_on_a_piece_of_a_bus: LINK => "bus = \"bus.side\"\nlink_rate = \"1200 b/s\"\n[bus.side]\nlink = \"SDI-12\"\npolled_by = \"module.buoy\"";
    bus_that_does_not_exist: LINK => "bus = \"bus.sid\"\n[bus.side]\nlink = \"SDI-12\"\npolled_by = \"module.buoy\"";
    bus_without_spans: LINK => "link = \"10BASE-T1L\"\n[bus.side]\nlink = \"SDI-12\"\npolled_by = \"module.buoy\"";
    nobody_asks_on_a_polled_link: LINK => "link = \"TIA-485\"\nlink_rate = \"9600 b/s\"\nframe = { header = \"8 B\", characters = \"8N1\", turnaround = \"2 ms\" }";
    nobody_asks_on_a_bus: LINK => "bus = \"bus.side\"\n[bus.side]\nlink = \"SDI-12\"";
    asked_from_elsewhere: LINK => "bus = \"bus.side\"\n[bus.side]\nlink = \"SDI-12\"\npolled_by = \"module.far\"\n[module.far]\nposition = { depth = \"1 m\" }\ninput = { minimum = \"9 V\", maximum = \"36 V\" }\nloads = { idle = \"1 W\" }\nprocessing = \"1 ms\"\n[span.far]\nfrom = \"module.buoy\"\nto = \"module.far\"\nlength = \"2 m\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = { mated_pins_in_loop = 0, resistance = \"8 mohm\" }";
    link_with_three_ends: LINK => "bus = \"bus.side\"\n[bus.side]\nlink = \"100BASE-TX\"\n[module.far]\nposition = { depth = \"1 m\" }\ninput = { minimum = \"9 V\", maximum = \"36 V\" }\nloads = { idle = \"1 W\" }\nprocessing = \"1 ms\"\n[span.far]\nfrom = \"module.buoy\"\nto = \"module.far\"\nlength = \"2 m\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = { mated_pins_in_loop = 0, resistance = \"8 mohm\" }\nbus = \"bus.side\"";
}

/// Twelve sensors on an SDI-12 bus that is known to carry a recorder and ten.
#[test]
fn regress_more_stations_than_a_wire_has() {
    let mut text = changed(
        SMALL,
        LINK,
        "bus = \"bus.side\"\n[bus.side]\nlink = \"SDI-12\"\npolled_by = \"module.buoy\"",
    );
    for i in 0..10 {
        text.push_str(&format!(
            "\n[module.far-{i}]\nposition = {{ depth = \"1 m\" }}\ninput = {{ minimum = \"9 V\", maximum = \"36 V\" }}\nloads = {{ idle = \"1 W\" }}\nprocessing = \"1 ms\"\n[span.far-{i}]\nfrom = \"module.buoy\"\nto = \"module.far-{i}\"\nlength = \"2 m\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = {{ mated_pins_in_loop = 0, resistance = \"8 mohm\" }}\nbus = \"bus.side\"\n"
        ));
    }
    insta::assert_snapshot!("more_stations_than_a_wire_has", said(&Files::one(text)));
}

#[test]
fn verif_a_bus_resolves_to_what_it_says() {
    let text = changed(
        SMALL,
        LINK,
        "bus = \"bus.side\"\n[bus.side]\nlink = \"CAN FD\"\nlink_rate = \"250 kbit/s\"\nframe = { header = \"1 B\", ids = \"29 bit\", data_rate = \"2 Mbit/s\" }",
    );
    let reading = Files::one(text).read();
    let line = reading.line.unwrap();
    let bus = &line.buses[0];
    assert_eq!(
        (bus.id.as_str(), bus.link.standard.as_str()),
        ("side", "CAN FD")
    );
    assert_eq!(bus.link.rate_bps.unwrap().si, 250_000.0);
    let frame = bus.link.frame.unwrap();
    assert_eq!(
        (
            frame.id_bits,
            frame.header_bytes.unwrap().si,
            frame.data_rate_bps.unwrap().si
        ),
        (Some(29), 1.0, 2.0e6)
    );
    assert_eq!(line.spans[0].bus, Some(plan::BusIx(0)));
    assert_eq!(line.stations(plan::BusIx(0)).len(), 2);
}
