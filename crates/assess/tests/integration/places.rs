//! Whether a part may be added: against a circuit simulator, closed forms, frame times by hand, and the reserve of the same line.

use std::path::Path;

use assess::{
    Along, Answer, Place, PlaceAsk, PlaceError, Places, Publishes, Room, Shelf, Talk, Verdict,
    line_reserve, places,
};
use plan::Reading;

use crate::support::{PLAN, close, requirement};

const TWO: &str = include_str!("two.toml");

fn part(power_w: f64) -> String {
    format!(
        r#"
[part.more]
is = "module"
input = {{ minimum = "20 V", maximum = "100 V" }}
loads = {{ on = "{power_w} W" }}
boot = {{ time = "1 s", power = "0 W" }}
passes = {{ power = "always", data = "always" }}
through = {{ resistance = "0 ohm" }}
processing = "100 us"
housing = {{ rated_depth = "100 m" }}

[part.stub]
is = "span"
conductor = "16 mm2 class 5"
contacts = {{ mated_pins_in_loop = 0, resistance = "0 ohm" }}
"#
    )
}

fn ask() -> PlaceAsk {
    PlaceAsk {
        part: "part.more".to_owned(),
        catalogue: None,
        id: "added".to_owned(),
        talk: Talk::Silent,
        speaks: Vec::new(),
        along: Vec::new(),
        cable: None,
        stub_m: 1.0,
        years: true,
        threads: 2,
    }
}

fn read(text: &str) -> Reading {
    assess::read(Path::new("plan.toml"), &|_| Ok(text.as_bytes().to_vec()))
}

fn asked(text: &str, ask: &PlaceAsk) -> Result<Places, PlaceError> {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let none = |_: &Path| Err(std::io::Error::from(std::io::ErrorKind::NotFound));
    let path = Path::new("plan.toml");
    places(path, &reading, &Shelf::default(), &none, ask, &|_, _| true)
}

#[track_caller]
fn found(text: &str, ask: &PlaceAsk) -> Places {
    asked(text, ask).unwrap()
}

#[track_caller]
fn at<'p>(places: &'p Places, id: &str) -> &'p Place {
    places.places.iter().find(|p| p.site.id == id).unwrap()
}

/// What a requirement says of a subject with the part in place.
#[track_caller]
fn value(place: &Place, id: &str, subject: &str) -> f64 {
    let check = place.check.as_ref().unwrap();
    let verdicts = &requirement(check, id).verdicts;
    let of = verdicts.iter().find(|v| v.subject() == subject);
    match of.unwrap() {
        Verdict::Known(k) => k.value.value,
        other => panic!("{subject}: {}", other.why()),
    }
}

fn replaced(text: &str, changes: &[(&str, &str)]) -> String {
    let mut text = text.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "`{from}` is not in the plan");
        text = text.replace(from, to);
    }
    text
}

/// The two-module line, whose far end passes power on.
fn two(changes: &[(&str, &str)], power_w: f64) -> String {
    let onwards = (
        "passes = { power = \"never\", data = \"never\" }",
        "passes = { power = \"always\", data = \"always\" }",
    );
    let all: Vec<(&str, &str)> = [onwards].into_iter().chain(changes.to_vec()).collect();
    replaced(TWO, &all) + &part(power_w)
}

fn stubbed() -> PlaceAsk {
    PlaceAsk {
        cable: Some("part.stub".to_owned()),
        stub_m: 0.001,
        ..ask()
    }
}

/// 25 W and 3 W more at the end of 20 ohm: `V = 24 + sqrt(24^2 - 20 * 28) = 28` (closed form of one load at the end of one resistance).
#[test]
fn val_a_load_more_lowers_the_voltage_as_the_closed_form_says() {
    let places = found(&two(&[], 3.0), &stubbed());
    let far = at(&places, "module.far");
    assert_eq!(far.answer, Answer::MayGo, "{:?}", far.unknown);
    close(value(far, "voltage", "module.far"), 28.0, 1e-4);
    close(value(far, "voltage", "module.added"), 28.0, 1e-4);
    close(value(far, "supply", "supply.bench"), 1.0, 1e-5);
    // Beside the base, whose supply has no resistance, nothing changes for the far module: 24 + sqrt(24^2 - 20 * 25).
    let base = at(&places, "module.base");
    close(
        value(base, "voltage", "module.far"),
        24.0 + 76.0_f64.sqrt(),
        1e-9,
    );
}

/// Built backwards from 30 V at the far end: 0.5 A makes 15 W there and 35 V in the middle of two halves of 10 ohm; 1.3 A from the
/// supply leave 0.8 A, 28 W, to the module between them.
#[test]
fn val_a_module_within_a_span_halves_its_resistance() {
    // 19.5 ohm/km and back (IEC 60228, class 5, 1.0 mm2).
    let length = format!("length = \"{} m\"", 10.0 / 19.5e-3);
    let text = two(
        &[
            ("25 W", "15 W"),
            ("length = \"100 m\"", &length),
            ("mated_pins_in_loop = 1", "mated_pins_in_loop = 0"),
        ],
        28.0,
    );
    let places = found(&text, &ask());
    let cut = at(&places, "span.cable");
    assert_eq!(cut.answer, Answer::MayGo, "{:?}", cut.unknown);
    assert_eq!(cut.depth_m, Some(10.0));
    close(value(cut, "voltage", "module.added"), 35.0, 1e-5);
    close(value(cut, "voltage", "module.far"), 30.0, 1e-5);
    close(value(cut, "supply", "supply.bench"), 1.3, 1e-6);
}

/// Both halves of a span that is cut have its contacts: 2 * (1.95 + 16.1) ohm carry at most `48^2/(4 * 36.1) = 15.95 W` to their end, so
/// that nothing at all may go into the cable that carries 25 W now.
#[test]
fn val_a_joint_more_may_be_too_much() {
    let places = found(&two(&[], 0.0), &ask());
    let cut = at(&places, "span.cable");
    assert_eq!(cut.answer, Answer::MayNot);
    let binds = cut.binds.as_ref().unwrap();
    let share = value(cut, "collapse-factor", "the line");
    close(share, 100.0 * 48.0 * 48.0 / (4.0 * 36.1) / 25.0, 1e-4);
    assert!(binds.left < 0.0, "{binds:?}");
}

/// Each place of a string against a circuit simulator (ngspice, `reference/make/power_places.py`).
#[test]
fn val_voltages_at_every_place_are_those_of_a_circuit_simulator() {
    let truth = truth::json("power/ngspice-places.json");
    let number = |pointer: &str| truth.pointer(pointer).unwrap().as_f64().unwrap();
    let module = |id: &str, depth: u32| {
        let watt = number(&format!("/loads_w/{id}"));
        format!(
            "[module.{id}]\nposition = {{ depth = \"{depth} m\" }}\ninput = {{ minimum = \"20 V\", maximum = \"100 V\" }}\nloads = {{ on = \"{watt} W\" }}\nboot = {{ time = \"1 s\", power = \"0 W\" }}\npasses = {{ power = \"always\", data = \"always\" }}\nthrough = {{ resistance = \"0 ohm\" }}\nhousing = {{ rated_depth = \"100 m\" }}\n"
        )
    };
    let span = |id: &str, from: &str, to: &str| {
        let length_m = number(&format!("/lengths_m/{id}"));
        format!(
            "[span.{id}]\nfrom = \"module.{from}\"\nto = \"module.{to}\"\nlength = \"{length_m} m\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = {{ mated_pins_in_loop = 4, resistance = \"8 mohm\", aged = \"80 mohm\" }}\n"
        )
    };
    let start = TWO.find("[module.far]").unwrap();
    let end = TWO.find("[requirement.voltage]").unwrap();
    let head = replaced(
        &TWO[..start],
        &[(
            "resistance = \"0 ohm\", current",
            "resistance = \"0.4 ohm\", current",
        )],
    );
    let text = [
        head,
        module("near", 10),
        module("far", 20),
        span("upper", "base", "near"),
        span("lower", "near", "far"),
        TWO[end..].to_owned(),
        part(number("/added_w")),
    ]
    .concat();
    let ask = PlaceAsk {
        stub_m: number("/stub_m"),
        ..ask()
    };
    let places = found(&text, &ask);
    let expected = truth["places"].as_object().unwrap();
    assert_eq!(places.places.len(), expected.len());
    for (id, voltages) in expected {
        for (module, volt) in voltages.as_object().unwrap() {
            let got = value(at(&places, id), "voltage", module);
            close(got, volt.as_f64().unwrap(), 1e-6);
        }
    }
}

/// What `reserve` tells of a module is what a part beside it may draw: found by halving between what may and may not go.
#[test]
fn verif_what_just_fits_is_the_reserve_of_its_neighbour() {
    let bare = read(&two(&[], 0.0));
    let reserve = line_reserve(bare.line.as_ref().unwrap()).unwrap();
    let told = reserve
        .modules
        .iter()
        .find(|m| m.path == "module.far")
        .unwrap();
    let Room::Power { power_w, .. } = told.room else {
        panic!("{told:?}")
    };
    // 28.8 W is all that 48 V give over 20 ohm (closed form).
    close(power_w, 3.8, 1e-6);
    let goes = |power_w: f64| {
        let places = found(&two(&[], power_w), &stubbed());
        at(&places, "module.far").answer == Answer::MayGo
    };
    let (mut fits, mut not) = (0.0, 10.0);
    assert!(goes(fits) && !goes(not));
    while not - fits > 1e-4 {
        let middle = (fits + not) / 2.0;
        if goes(middle) {
            fits = middle;
        } else {
            not = middle;
        }
    }
    // The stub of a millimetre and the step of the halving.
    close(fits, power_w, 3e-4);
}

/// Bursts grow by whole bits; a bit lasts 0.1 us at 10 Mb/s.
const BIT_S: f64 = 0.1e-6;

/// Bounds are whole nanoseconds, rounded up at each step.
const STEPS_S: f64 = 5e-9;

/// At least what is expected, and at most one bit of growth more.
#[track_caller]
fn to_the_bit(seconds: f64, expected_s: f64) {
    let over_s = seconds - expected_s;
    assert!(
        over_s > -1e-12 && over_s <= BIT_S + STEPS_S,
        "{seconds} is not {expected_s}"
    );
}

fn talking() -> String {
    let onwards = replaced(
        PLAN,
        &[
            (
                "passes = { power = \"never\", data = \"never\" }",
                "passes = { power = \"always\", data = \"always\" }",
            ),
            ("at_most = \"10 per min\"", "at_most = \"1 per min\""),
        ],
    );
    onwards + &part(0.1)
}

fn publishing(text: &str, size: &str, priority: i64) -> Talk {
    let publishes = Publishes {
        topic: "log/more".to_owned(),
        each: "10 min".to_owned(),
        size: Some(size.to_owned()),
        at_most: None,
        priority: Some(priority),
        told: vec!["module.base".to_owned()],
    };
    let reading = read(text);
    Talk::Tables(
        publishes
            .tables(reading.line.as_ref().unwrap(), "added")
            .unwrap(),
    )
}

/// 1000 bytes of payload are 1086 on the wire, 868.8 us at 10 Mb/s (IEEE 802.3 framing, RFC 8200, RFC 768): so much longer an alert may wait
/// behind a frame that goes after it, on the one link that both cross.
#[test]
fn val_a_stream_that_goes_after_holds_an_alert_up_by_one_frame() {
    let text = talking();
    let told_s = |talk: Talk, place: &str| {
        let places = found(&text, &PlaceAsk { talk, ..ask() });
        value(at(&places, place), "told", "detector.call to module.base")
    };
    let alone = told_s(Talk::Silent, "module.ear");
    let behind = told_s(publishing(&text, "1000 B", 2), "module.ear");
    close(behind - alone, 868.8e-6, 1e-9);
    // Beside the base it crosses no link that the alert does.
    let beside = told_s(publishing(&text, "1000 B", 2), "module.base");
    close(beside, told_s(Talk::Silent, "module.base"), 1e-12);
    // A stream of the same priority adds the larger frame that may be under way, in place of its own, and its burst.
    let equal = told_s(publishing(&text, "1000 B", 0), "module.ear");
    to_the_bit(equal - alone, (868.8 - 148.8 + 868.8) * 1e-6);
}

/// A hop more, by network calculus of hops one after the other (Le Boudec and Thiran): `L/R + b/R` and the time that the added module takes, with 186
/// bytes of a frame and a burst of one, 148.8 us each; the burst grows by the bit to which it is rounded up.
#[test]
fn val_a_cut_makes_a_hop_more() {
    let text = talking();
    let places = found(&text, &ask());
    let told_s = |place: &str| value(at(&places, place), "told", "detector.call to module.base");
    let before = told_s("module.base");
    to_the_bit(told_s("span.cable") - before, (2.0 * 148.8 + 100.0) * 1e-6);
}

#[test]
fn verif_what_nobody_says_is_unknown() {
    let text = talking();
    let unsaid = found(
        &text,
        &PlaceAsk {
            talk: Talk::Unsaid,
            ..ask()
        },
    );
    for place in &unsaid.places {
        assert_eq!(place.answer, Answer::Unknown);
        assert!(
            place.unknown.iter().any(|r| r.contains("publishes")),
            "{:?}",
            place.unknown
        );
    }
    let silent = found(&text, &ask());
    assert!(silent.places.iter().all(|p| p.answer == Answer::MayGo));
    // A rehearsal of the line as it is shows nothing of the line with the part.
    assert_eq!(silent.anew, ["night"]);
    let bootless = text.replace("boot = { time = \"1 s\", power = \"0 W\" }\n", "");
    let bootless = found(&bootless, &ask());
    for place in &bootless.places {
        assert_eq!(place.answer, Answer::Unknown);
        let boot = "module.added says nothing of its boot";
        assert!(
            place.unknown.iter().any(|r| r.contains(boot)),
            "{:?}",
            place.unknown
        );
    }
    let speaks = PlaceAsk {
        speaks: vec!["CAN 2.0".to_owned()],
        ..ask()
    };
    for place in &found(&text, &speaks).places {
        assert_eq!(place.answer, Answer::MayNot);
        assert!(
            place.refused[0].contains("10BASE-T1L"),
            "{:?}",
            place.unknown
        );
    }
}

/// A housing for 12 m may go to the base and into the middle of the cable, at 10 m, and not to the ear at 20 m.
#[test]
fn verif_a_housing_goes_no_deeper_than_it_may() {
    let text = talking().replace("rated_depth = \"100 m\"", "rated_depth = \"12 m\"");
    let places = found(&text, &ask());
    assert_eq!(at(&places, "module.base").answer, Answer::MayGo);
    assert_eq!(at(&places, "span.cable").answer, Answer::MayGo);
    let ear = at(&places, "module.ear");
    assert_eq!(ear.answer, Answer::MayNot);
    let binds = ear.binds.as_ref().unwrap();
    assert_eq!(binds.requirement, "housing-depth");
    close(binds.known.margin.value, -8.0, 0.0);
}

#[test]
fn verif_what_is_broken_already_is_not_held_against_the_part() {
    let text = talking().replace("at_most = \"50 EUR\"", "at_most = \"1 EUR\"");
    let places = found(&text, &ask());
    assert!(places.places.iter().all(|p| p.answer == Answer::MayGo));
    assert_eq!(places.broken_already.len(), 1);
    assert_eq!(places.broken_already[0].0, "budget");
    // 47 W at the end of 20 ohm, which carry 28.8 W: with more there is nothing to be told but that.
    let lost = found(&two(&[("25 W", "47 W")], 1.0), &ask());
    let far = at(&lost, "module.far");
    assert_eq!(far.answer, Answer::Unknown);
    assert!(
        far.unknown.iter().any(|u| u.contains("mend that first")),
        "{:?}",
        far.unknown
    );
}

/// A lamp on the ear's outlet is fed by nobody where the ear passes no power on.
#[test]
fn verif_an_end_of_the_line_passes_nothing_on() {
    let ends = PLAN.to_owned() + &part(0.1);
    let places = found(&ends, &ask());
    let ear = at(&places, "module.ear");
    assert_eq!(ear.answer, Answer::MayNot);
    assert_eq!(ear.refused, ["module.ear passes no power on"]);
    assert_eq!(at(&places, "module.base").answer, Answer::MayGo);
    assert_eq!(at(&places, "span.cable").answer, Answer::MayGo);
}

#[test]
fn verif_the_changed_plan_keeps_what_is_written() {
    let text = talking().replace("[span.cable]", "# The only cable.\n[span.cable]");
    let places = found(&text, &ask());
    for place in &places.places {
        let changed = &place.text;
        assert!(
            changed.contains("# The only cable.\n[span.cable]"),
            "{changed}"
        );
        assert_eq!(changed.matches("# The only cable.").count(), 1);
        assert!(!read(changed).has_errors());
        let kept = text.lines().filter(|l| !changed.contains(*l)).count();
        // Of a cut span its length and its end change.
        assert!(kept <= 2, "{kept}");
    }
    // One thread or many, the same.
    let alone = found(
        &text,
        &PlaceAsk {
            threads: 1,
            ..ask()
        },
    );
    for (a, b) in alone.places.iter().zip(&places.places) {
        assert_eq!((&a.text, &a.check, a.answer), (&b.text, &b.check, b.answer));
    }
}

/// The same plan written in other forms of TOML has the same places.
#[test]
fn verif_a_plan_may_be_written_in_any_form() {
    let usual = two(&[], 1.0);
    let start = usual.find("[span.cable]").unwrap();
    let end = usual.find("[requirement.voltage]").unwrap();
    let fields = "from = \"module.base\", to = \"module.far\", length = \"100 m\", conductor = \"1.0 mm2 class 5\"";
    let contacts = "mated_pins_in_loop = 1, resistance = \"16.1 ohm\", aged = \"16.1 ohm\"";
    let forms = [
        format!("[span]\ncable = {{ {fields}, contacts = {{ {contacts} }} }}\n"),
        format!(
            "[span.cable]\n{}\n[span.cable.contacts]\n{}\n",
            fields.replace(", ", "\n"),
            contacts.replace(", ", "\n")
        ),
        format!(
            "[span]\n{}\ncable.contacts = {{ {contacts} }}\n",
            fields
                .split(", ")
                .map(|f| format!("cable.{f}"))
                .collect::<Vec<_>>()
                .join("\n")
        ),
    ];
    let expected = found(&usual, &ask());
    for form in forms {
        let text = [&usual[..start], &form, &usual[end..]].concat();
        let places = found(&text, &ask());
        for (place, other) in expected.places.iter().zip(&places.places) {
            assert_eq!(place.site, other.site);
            assert_eq!(place.answer, other.answer, "{}", other.text);
            assert_eq!(
                place.binds.as_ref().map(|b| b.left),
                other.binds.as_ref().map(|b| b.left)
            );
        }
    }
}

#[test]
fn verif_a_length_along_a_section_is_cut_where_it_is_asked() {
    let hung = replaced(
        &talking(),
        &[
            (
                "[supply.bench]",
                "[anchor.clump]\n[section.drop]\nfrom = \"module.base\"\nto = \"anchor.clump\"\nlength = \"40 m\"\n[supply.bench]",
            ),
            (
                "position = { depth = \"20 m\" }",
                "position = { section = \"section.drop\", from_top = \"20 m\" }",
            ),
            ("length = \"100 m\"\n", ""),
        ],
    );
    let along = |from_top_m| PlaceAsk {
        along: vec![Along {
            section: "drop".to_owned(),
            from_top_m,
        }],
        ..ask()
    };
    let lengths = |from_top_m| {
        let places = found(&hung, &along(from_top_m));
        let reading = read(&places.places[0].text);
        let spans = &reading.line.as_ref().unwrap().spans;
        let lengths: Vec<(String, f64)> =
            spans.iter().map(|s| (s.id.clone(), s.length_m)).collect();
        lengths
    };
    let named = |a: &str, x: f64, b: &str, y: f64| [(a.to_owned(), x), (b.to_owned(), y)];
    assert_eq!(lengths(5.0), named("added-onwards", 15.0, "cable", 5.0));
    assert_eq!(lengths(30.0), named("added", 10.0, "cable", 20.0));
    assert!(matches!(
        asked(&hung, &along(41.0)),
        Err(PlaceError::Site(_))
    ));
    assert!(matches!(
        asked(&hung, &along(20.0)),
        Err(PlaceError::Site(_))
    ));
}

#[test]
fn verif_wrong_questions_are_refused() {
    let text = talking();
    let no_part = PlaceAsk {
        part: "part.moer".to_owned(),
        ..ask()
    };
    let error = asked(&text, &no_part).unwrap_err().to_string();
    assert!(error.contains("did you mean `part.more`?"), "{error}");
    let cable = PlaceAsk {
        part: "part.stub".to_owned(),
        ..ask()
    };
    assert!(matches!(
        asked(&text, &cable),
        Err(PlaceError::OfAnotherKind { .. })
    ));
    let taken = PlaceAsk {
        id: "ear".to_owned(),
        ..ask()
    };
    assert!(matches!(
        asked(&text, &taken),
        Err(PlaceError::Taken { .. })
    ));
    let wrong = PlaceAsk {
        talk: Talk::Tables("\n[topic.\"log/more\"]\nsise = \"4 B\"\n".to_owned()),
        ..ask()
    };
    let error = asked(&text, &wrong).unwrap_err().to_string();
    assert!(error.contains("line 3"), "{error}");
}

/// What is told of a place is the check of the changed plan, years and all.
#[test]
fn verif_a_place_is_checked_as_its_changed_plan_is() {
    let path = truth::in_repository("plans/harrow-sound/plan.toml");
    let fetch = plan::from_folder_of(&path);
    let reading = assess::read(&path, &fetch);
    let ask = PlaceAsk {
        part: "part.flow-meter".to_owned(),
        along: [10.0, 40.0]
            .map(|from_top_m| Along {
                section: "riser".to_owned(),
                from_top_m,
            })
            .to_vec(),
        ..ask()
    };
    let shelf = Shelf::default();
    let found = places(&path, &reading, &shelf, &fetch, &ask, &|_, _| true).unwrap();
    for place in &found.places {
        let changed = |wanted: &Path| match wanted == path {
            true => Ok(place.text.as_bytes().to_vec()),
            false => fetch(wanted),
        };
        let alone = assess::check(&assess::read(&path, &changed), &shelf);
        assert_eq!(place.check.as_ref(), Some(&alone));
        assert!(value(place, "winter-charge", "supply.sun") > 30.0);
    }
}

/// Beside a module that an acoustic span and a cable lead to, the stub is a cable: what carries no power feeds nobody.
#[test]
fn verif_a_stub_is_like_a_span_that_carries_power() {
    let far = r#"
[supply.own]
at = "module.gate"
kind = "bench"
output = { voltage = "48 V", resistance = "0 ohm" }

[module.gate]
position = { depth = "10 m" }
passes = { power = "always", data = "always" }
through = { resistance = "0 ohm" }

[traffic]
stack = ["ethernet", "ipv6", "udp"]
packet = "1400 B"

[span.air]
from = "module.base"
to = "module.gate"
length = "50 m"
link = "10BASE-T1L"
"#;
    let places = found(&(TWO.to_owned() + &part(1.0) + far), &ask());
    let base = at(&places, "module.base");
    let told = format!("{:?}", base.site.way);
    assert!(told.contains("cable"), "{told}");
    let volts = value(base, "voltage", "module.added");
    assert!(volts > 40.0 && volts < 48.0, "{volts}");
}
