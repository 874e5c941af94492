//! Voltages and currents against the closed form of one load at the end of one resistance.

use assess::{Check, Ruling, Shelf, Status, Verdict, Word, check};

use crate::support::{checked, close, known, read, requirement, why_unknown};

const TWO: &str = include_str!("two.toml");
const SUPPLY_V: f64 = 48.0;
const LOOP_OHM: f64 = 20.0;

#[track_caller]
fn two(changes: &[(&str, &str)]) -> Check {
    let mut text = TWO.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "`{from}` is not in the plan");
        text = text.replace(from, to);
    }
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

/// `V = (Vs + sqrt(Vs^2 - 4 P R)) / 2`: 48 V, 20 ohm, 25 W give 32.717797887 V and 0.764110106 A (a circuit simulator finds the
/// same root to 1e-8 V: ngspice 39, started at 40 V).
#[test]
fn val_the_lowest_voltage_is_the_high_root_of_the_quadratic() {
    let check = two(&[]);
    let far = known(&check, "voltage");
    assert_eq!(far.subject, "module.far");
    close(far.value.value, 32.717_797_887, 1e-8);
    close(far.limit.value, 20.0, 0.0);
    close(far.margin.value, 12.717_797_887, 1e-8);
    let supply = known(&check, "supply");
    close(supply.value.value, 0.764_110_106, 1e-8);
    close(supply.limit.value, 5.0, 0.0);
    assert_eq!(check.status(), Status::Met);
}

/// A cable between two modules that have each a supply of their own and pass no power on lies at 0 V: all else is as without it. 48 V with 20 ohm of their own feed the
/// 25 W of the closed form above, and the bench supply feeds nothing.
#[test]
fn val_a_cable_that_no_supply_reaches_leaves_the_rest_known() {
    let own = "passes = { power = \"never\", data = \"always\" }";
    let supply = "[module.far]\n";
    let with = format!(
        "[supply.own]\nat = \"module.far\"\nkind = \"bench\"\noutput = {{ voltage = \"48 V\", resistance = \"20 ohm\", current_limit = \"5 A\" }}\n\n{supply}"
    );
    let always = "passes = { power = \"always\", data = \"always\" }";
    let check = two(&[(always, own), (supply, &with)]);
    let far = known(&check, "voltage");
    assert_eq!(far.subject, "module.far");
    close(far.value.value, 32.717_797_887, 1e-8);
    close(known(&check, "supply").value.value, 0.764_110_106, 1e-8);
}

/// What flows in a cable that no supply reaches is unknown, with the reason; that it has a rating and a fuse makes nothing of it met. A module behind it without a
/// supply of its own changes nothing of that, and a cable that is reached is judged.
#[test]
fn verif_the_current_of_a_cable_that_no_supply_reaches_is_unknown() {
    let never = "passes = { power = \"never\", data = \"always\" }";
    let always = "passes = { power = \"always\", data = \"always\" }";
    let rated = "[span.cable]\nrated_current = \"4 A\"\nfuse = \"3 A\"\n";
    let supply = "[supply.own]\nat = \"module.far\"\nkind = \"bench\"\noutput = { voltage = \"48 V\", resistance = \"20 ohm\", current_limit = \"5 A\" }\n\n[module.far]\n";
    let own = [
        (always, never),
        ("[module.far]\n", supply),
        ("[span.cable]\n", rated),
    ];
    for changes in [&own[..], &[own[0], own[2]]] {
        let check = two(changes);
        let judged = requirement(&check, "span-current");
        let [Verdict::Unknown { subject, why }] = &judged.verdicts[..] else {
            panic!("{judged:?}")
        };
        assert_eq!(subject, "span.cable");
        assert!(
            why.contains("no supply reaches it") && why.contains("module.base passes power never"),
            "{why}"
        );
    }
    let reached = two(&own[2..]);
    let judged = requirement(&reached, "span-current");
    assert_eq!(judged.word(), Word::Met);
    assert_eq!(judged.verdicts.len(), 2);
}

/// The low root, 15.282202113 V, satisfies Kirchhoff's laws too; it must never be the answer.
#[test]
fn val_the_low_root_is_not_taken() {
    let check = two(&[("minimum = \"20 V\"", "minimum = \"10 V\"")]);
    assert!((known(&check, "voltage").value.value - 15.282_202_113).abs() > 10.0);
}

/// `Pmax = Vs^2 / (4 R)` is 28.8 W: of 36 W the line carries 80 %.
#[test]
fn val_a_line_that_cannot_carry_its_load_is_broken_with_its_share() {
    let check = two(&[("25 W", "36 W")]);
    let worst = known(&check, "voltage");
    assert_eq!(worst.ruling, Ruling::Broken);
    assert_eq!(worst.subject, "the line");
    let share = 100.0 * SUPPLY_V * SUPPLY_V / (4.0 * LOOP_OHM) / 36.0;
    close(share, 80.0, 1e-12);
    close(worst.value.value, share, 1e-4);
    assert!(worst.why.contains("module.far"), "{}", worst.why);
    assert_eq!(known(&check, "supply").ruling, Ruling::Broken);
    assert_eq!(check.status(), Status::Broken);
}

/// What is said to be just enough is: `Pmax` goes with `Vs^2` and with `1 / R`, so 36 W need `48 V / sqrt(0.8)` or 80 % of the
/// 20 ohm. A tenth of a volt less, or of a percent more, and the line collapses again.
#[test]
fn val_what_would_just_carry_the_load_does() {
    let check = two(&[("25 W", "36 W")]);
    let volts = SUPPLY_V / 0.8_f64.sqrt();
    let why = &known(&check, "voltage").why;
    assert!(why.contains("supply.bench at 53.7 V"), "{why}");
    assert!(why.contains("at 80.0 % of theirs"), "{why}");
    assert!((53.6..53.7).contains(&volts));
    let collapses = |changes: &[(&str, &str)]| {
        let check = two(changes);
        let voltage = requirement(&check, "voltage");
        let told = |v: &Verdict| matches!(v, Verdict::Known(k) if k.why.contains("with every") && k.why.contains("it collapses, first"));
        voltage.is_broken() && voltage.verdicts.iter().any(told)
    };
    let supply = |v: &str| collapses(&[("25 W", "36 W"), ("voltage = \"48 V\"", v)]);
    assert!(supply("voltage = \"53.6 V\""));
    assert!(!supply("voltage = \"53.7 V\""));
}

/// Just below and just above the most that the line carries: so near its collapse no voltage is more than just met.
#[test]
fn val_the_limit_of_carrying_lies_at_a_quarter_of_vs_squared_over_r() {
    assert_eq!(
        requirement(&two(&[("25 W", "28.79 W")]), "voltage").word(),
        Word::Marginal
    );
    assert_eq!(
        requirement(&two(&[("25 W", "28.81 W")]), "voltage").word(),
        Word::Broken
    );
}

/// 0.764110106 A against 0.7 A.
#[test]
fn val_a_current_over_the_supply_limit_is_broken() {
    let check = two(&[("current_limit = \"5 A\"", "current_limit = \"0.7 A\"")]);
    let supply = known(&check, "supply");
    assert_eq!(supply.ruling, Ruling::Broken);
    close(supply.value.value, 0.764_110_106, 1e-8);
    close(supply.margin.value, -0.064_110_106, 1e-8);
    assert_eq!(requirement(&check, "voltage").word(), Word::Broken);
}

/// Within 0.5 V and within 0.1 A of the limit.
#[test]
fn verif_what_is_close_to_its_limit_is_marginal() {
    let check = two(&[
        ("minimum = \"20 V\"", "minimum = \"32.3 V\""),
        ("current_limit = \"5 A\"", "current_limit = \"0.8 A\""),
    ]);
    assert_eq!(requirement(&check, "voltage").word(), Word::Marginal);
    assert_eq!(requirement(&check, "supply").word(), Word::Marginal);
    assert_eq!(check.status(), Status::Met);
}

/// Without a load the far end has the voltage of the supply: 48 V against 47 V at most.
#[test]
fn val_the_highest_voltage_is_that_without_load() {
    let check = two(&[("maximum = \"72 V\"", "maximum = \"47 V\"")]);
    let far = known(&check, "voltage");
    assert_eq!(far.ruling, Ruling::Broken);
    close(far.value.value, SUPPLY_V, 1e-9);
    assert!(far.why.contains("no load"), "{}", far.why);
}

/// 10 ohm with new contacts and 20 ohm with aged ones: the lowest voltage is that of 20 ohm.
#[test]
fn val_aged_contacts_count() {
    let check = two(&[("resistance = \"16.1 ohm\",", "resistance = \"6.1 ohm\",")]);
    let far = known(&check, "voltage");
    close(far.value.value, 32.717_797_887, 1e-8);
    assert!(far.why.contains("aged contacts"), "{}", far.why);
}

/// What the plan does not say is unknown, not zero.
#[test]
fn verif_what_is_not_said_is_unknown_and_never_met() {
    let ear_input = "input = { minimum = \"20 V\", maximum = \"56 V\" }";
    for (what, changes) in [
        (
            "contacts",
            [(
                "contacts = { mated_pins_in_loop = 0, resistance = \"0 ohm\" }\n",
                "",
            )],
        ),
        (
            "aged contacts",
            [("mated_pins_in_loop = 0", "mated_pins_in_loop = 4")],
        ),
        (
            "standing loss",
            [(
                ear_input,
                "input = { minimum = \"20 V\", maximum = \"56 V\", efficiency = 0.9 }",
            )],
        ),
        (
            "boot",
            [("boot = { time = \"2 s\", power = \"3 W\" }\n", "")],
        ),
        (
            "through-resistance",
            [(
                "passes = { power = \"always\", data = \"running\" }\nthrough = { resistance = \"0 ohm\" }",
                "passes = { power = \"always\", data = \"running\" }",
            )],
        ),
        (
            "power",
            [("kind = \"lamp\"\npower = \"10 W\"", "kind = \"lamp\"")],
        ),
    ] {
        let check = checked(&changes);
        for id in ["voltage", "supply"] {
            let why = why_unknown(&check, id);
            assert!(why.contains(what), "{what}: {why}");
        }
        assert_eq!(check.status(), Status::Unknown, "{what}");
    }
}

#[test]
fn verif_a_supply_without_a_limit_has_an_unknown_current() {
    let check = two(&[(", current_limit = \"5 A\"", "")]);
    assert_eq!(requirement(&check, "supply").word(), Word::Unknown);
    assert_eq!(requirement(&check, "voltage").word(), Word::Met);
}

/// Which of 25 W and 0.6 A draws more depends on the voltage: behind 20 ohm 0.6 A leave 36 V, 25 W the 32.7 V of the closed form.
#[test]
fn val_of_loads_in_mixed_units_the_worst_is_searched() {
    let sending = [
        (
            "working = \"25 W\"",
            "sending = \"0.6 A\", working = \"25 W\"",
        ),
        ("boot =", "starts_in = \"working\"\nboot ="),
    ];
    let check = two(&sending);
    close(known(&check, "voltage").value.value, 32.717_797_887, 1e-8);
    close(known(&check, "supply").value.value, 0.764_110_106, 1e-8);
    let check = two(&[sending[0], sending[1], ("0.6 A", "0.9 A")]);
    close(known(&check, "voltage").value.value, 30.0, 1e-9);
    close(known(&check, "supply").value.value, 0.9, 1e-9);
    // 110 ohm draw 48^2/110 = 21 W at the source, but less than 0.6 A behind the cable.
    let resistor = two(&[sending[0], sending[1], ("25 W", "110 ohm")]);
    close(known(&resistor, "voltage").value.value, 36.0, 1e-9);
}

/// Of mixed loads neither the current that warms a cable most nor the highest voltage behind a module that passes power only
/// while powered is known.
#[test]
fn verif_what_mixed_loads_leave_unknown() {
    let mixed = [
        (
            "working = \"25 W\"",
            "sending = \"0.6 A\", working = \"25 W\"",
        ),
        ("boot =", "starts_in = \"working\"\nboot ="),
    ];
    let cable = "conductor = \"1.0 mm2 class 5\"";
    let heat = format!(
        "{cable}\nheat = {{ lies_in = \"sediment\", core = \"1.3 mm\", insulated = \"2.3 mm\", under_jacket = \"5 mm\", outer = \"7 mm\", insulation = \"epr\", jacket = \"pvc\", buried = \"0.5 m\", sediment = \"1 K.m/W\" }}"
    );
    let warm = two(&[mixed[0], mixed[1], (cable, &heat)]);
    assert!(why_unknown(&warm, "voltage").contains("how warm the cables become"));
    let never = "passes = { power = \"never\", data = \"never\" }";
    let powered = "passes = { power = \"powered\", data = \"never\" }";
    let behind = two(&[mixed[0], mixed[1], (never, powered)]);
    assert!(why_unknown(&behind, "voltage").contains("which state is the lightest"));
}

/// The losses of a converter come on top of a boot and not of a load in A at its input: 8 W of boot take `8/0.9 + 0.2 x 8^2` W.
#[test]
fn val_a_boot_through_a_lossy_converter_is_weighed_at_the_input() {
    let check = two(&[
        (
            "maximum = \"72 V\" }",
            "maximum = \"72 V\", efficiency = 0.9, standing = \"0 W\", loss_per_watt = \"20 %\" }",
        ),
        ("25 W", "0.5 A"),
        ("power = \"5 W\"", "power = \"8 W\""),
    ]);
    let input_w = 8.0 / 0.9 + 0.2 * 64.0;
    let volt = 0.5 * (48.0 + (48.0_f64 * 48.0 - 80.0 * input_w).sqrt());
    let voltage = known(&check, "voltage");
    close(voltage.value.value, volt, 1e-8);
    assert!(voltage.why.contains("booting"), "{}", voltage.why);
    close(known(&check, "supply").value.value, input_w / volt, 1e-8);
}

/// A module that passes power only while it is powered: without load nothing comes through it, and that is no broken voltage.
#[test]
fn verif_a_module_left_without_power_by_an_idle_neighbour_is_not_broken() {
    let check = checked(&[(
        "passes = { power = \"always\", data = \"running\" }",
        "passes = { power = \"powered\", data = \"running\" }",
    )]);
    let voltage = requirement(&check, "voltage");
    assert_eq!(voltage.word(), Word::Met, "{voltage:?}");
    let ear = voltage
        .verdicts
        .iter()
        .find_map(|v| match v {
            Verdict::Known(k) if k.subject == "module.ear" => Some(k),
            _ => None,
        })
        .unwrap();
    assert!(ear.value.value > 40.0, "{ear:?}");
}

/// One module restarts while the other works: each draws the larger of its boot and its heaviest state. 12.5 W and 12.5 W at the
/// end of 20 ohm are the 25 W of the closed form, though all working draw 17.5 W and all booting draw 17.5 W.
#[test]
fn val_one_module_may_restart_while_the_others_work() {
    let pair = r#"loads = { working = "12.5 W" }
boot = { time = "1 s", power = "5 W" }
passes = { power = "always", data = "never" }
through = { resistance = "0 ohm" }
housing = { rated_depth = "200 m" }

[module.other]
position = { depth = "20 m" }
input = { minimum = "20 V", maximum = "72 V" }
loads = { working = "5 W" }
boot = { time = "1 s", power = "12.5 W" }
passes = { power = "never", data = "never" }
through = { resistance = "0 ohm" }
housing = { rated_depth = "200 m" }

[span.joint]
from = "module.far"
to = "module.other"
length = "1 cm"
conductor = "50 mm2 class 5"
contacts = { mated_pins_in_loop = 0, resistance = "0 ohm" }
"#;
    let one = r#"loads = { working = "25 W" }
boot = { time = "1 s", power = "5 W" }
passes = { power = "never", data = "never" }
through = { resistance = "0 ohm" }
housing = { rated_depth = "200 m" }
"#;
    let check = two(&[(one, pair)]);
    let worst = known(&check, "voltage");
    // The joint of 1 cm has 8e-6 ohm.
    close(worst.value.value, 32.717_797_887, 1e-5);
    assert!(
        worst
            .why
            .contains("the larger of its boot and its heaviest state"),
        "{}",
        worst.why
    );
    close(known(&check, "supply").value.value, 0.764_110_106, 1e-7);
}

/// 0.6 A is 12 W at the lowest voltage and 43.2 W at the highest: whether a boot of 20 W draws more is searched. 20 W leave
/// 37.3 V, 0.6 A leave 36 V and a boot of 22 W 35.7 V.
#[test]
fn val_a_boot_in_watts_beside_a_load_in_amperes_is_searched() {
    let with = |boot: &str| two(&[("25 W", "0.6 A"), ("power = \"5 W\"", boot)]);
    close(
        known(&with("power = \"20 W\""), "voltage").value.value,
        36.0,
        1e-9,
    );
    close(
        known(&with("power = \"5 W\""), "voltage").value.value,
        36.0,
        1e-9,
    );
    let volt = 24.0 + 0.5 * (48.0_f64 * 48.0 - 80.0 * 22.0).sqrt();
    let check = with("power = \"22 W\"");
    close(known(&check, "voltage").value.value, volt, 1e-8);
    close(known(&check, "supply").value.value, 22.0 / volt, 1e-8);
}

/// Behind a converter with a standing loss of 0.3 W, 5 % and 0.002 for each watt, 10 W draw 11 W: 42.867962264 V over 20 ohm from
/// 48 V by the quadratic. The same converter as efficiencies by output power gives the same at its points.
#[test]
fn val_a_converter_with_a_quadratic_loss_is_read() {
    let converters = [
        "efficiency = 0.9523809523809523, standing = \"0.3 W\", loss_per_watt = \"0.2 %\"",
        "efficiency_at = [{ output = \"1 W\", efficiency = 0.7396449704142012 }, { output = \"10 W\", efficiency = 0.9090909090909091 }]",
    ];
    for converter in converters {
        let input = format!("input = {{ minimum = \"20 V\", {converter}, ");
        let check = two(&[("input = { minimum = \"20 V\", ", &input), ("25 W", "10 W")]);
        close(known(&check, "voltage").value.value, 42.867_962_264, 1e-8);
        assert!(
            !check.assumed.iter().any(|a| a.contains("no converter")),
            "{:?}",
            check.assumed
        );
    }
}

/// 25 W lie beyond efficiencies that end at 20 W: nothing is known, and it is said where.
#[test]
fn verif_a_load_beyond_the_efficiencies_is_unknown() {
    let check = two(&[(
        "input = { minimum = \"20 V\", ",
        "input = { minimum = \"20 V\", efficiency_at = [{ output = \"1 W\", efficiency = 0.7 }, { output = \"20 W\", efficiency = 0.9 }], ",
    )]);
    let why = why_unknown(&check, "voltage");
    assert!(why.contains("module.far") && why.contains("25 W"), "{why}");
}

/// 25 W behind 20 ohm of a 48 V supply draw 0.764110106 A: a fuse of 0.7 A melts in normal work, one of 0.9 A is close (1.25 times
/// the steady current, common practice, would be 0.955 A), one of 1 A bears it; conductors rated at 0.75 A do not.
#[test]
fn val_the_working_current_of_a_span_is_held_to_its_fuse_and_its_rating() {
    let with = |key: &str| {
        let span = format!("conductor = \"1.0 mm2 class 5\"\n{key}");
        two(&[("conductor = \"1.0 mm2 class 5\"", &span)])
    };
    for (key, word, limit_a) in [
        ("fuse = \"0.7 A\"", Word::Broken, 0.7),
        ("fuse = \"0.9 A\"", Word::Marginal, 0.9),
        ("fuse = \"1 A\"", Word::Met, 1.0),
        ("rated_current = \"0.75 A\"", Word::Broken, 0.75),
        ("rated_current = \"2 A\"", Word::Met, 2.0),
    ] {
        let check = with(key);
        assert_eq!(requirement(&check, "span-current").word(), word, "{key}");
        let current = known(&check, "span-current");
        assert_eq!(current.subject, "span.cable");
        close(current.value.value, 0.764_110_106, 1e-8);
        close(current.limit.value, limit_a, 0.0);
    }
    let plain = two(&[]);
    assert!(plain.standing.iter().all(|j| j.id != "span-current"));
}

/// A second supply of 24 V at the far end of the 20 ohm: without load 24 V / 20.5 ohm = 1.1707 A flow back into it, and nothing
/// says that it bears that.
#[test]
fn verif_a_supply_that_is_fed_backwards_is_not_met() {
    let second = "[supply.aux]\nat = \"module.far\"\nkind = \"bench\"\noutput = { voltage = \"24 V\", resistance = \"0.5 ohm\", current_limit = \"9 A\" }\n[span.cable]";
    let check = two(&[
        ("[span.cable]", second),
        (
            "passes = { power = \"never\", data = \"never\" }",
            "passes = { power = \"always\", data = \"never\" }",
        ),
    ]);
    let supply = requirement(&check, "supply");
    assert_ne!(supply.word(), Word::Met);
    let told = supply.verdicts.iter().find_map(|v| match v {
        Verdict::Unknown { subject, why } if subject == "supply.aux" => Some(why.as_str()),
        _ => None,
    });
    assert!(
        told.is_some_and(|t| t.contains("feed 1.171 A into it")),
        "{:?}",
        supply.verdicts
    );
}
