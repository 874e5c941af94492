//! Solar batteries that have run empty: the gap that holds the load, the dawn, and the way up from flat.

use assess::{Check, Judged, Known, Shelf, Verdict, Word, check};

use crate::support::{close, read, requirement};

/// One module of 3.8 W that boots with 26 W, at the buoy itself: the load at the battery is the load over 0.9, and nothing is lost on the way.
const PLAN: &str = "format = 1
[deployment]
name = \"A buoy that comes back\"
start = 2027-04-05
duration = \"120 d\"
[site]
latitude = \"57 deg\"
longitude = \"-6 deg\"
water_depth = \"90 m\"
profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]
clearness = [0.3, 0.35, 0.4, 0.45, 0.45, 0.45, 0.42, 0.42, 0.4, 0.35, 0.3, 0.28]
wind = [\"9 m/s\", \"9 m/s\", \"8 m/s\", \"7 m/s\", \"6 m/s\", \"6 m/s\", \"6 m/s\", \"6 m/s\", \"7 m/s\", \"8 m/s\", \"9 m/s\", \"9 m/s\"]
[supply.sun]
at = \"module.buoy\"
kind = \"solar-battery\"
output = { voltage = \"24 V\", resistance = \"0 ohm\" }
standing = \"0.3 W\"
panels = { peak_power_each = \"40 W\", faces = 4, tilt = \"50 deg\", loss = \"15 %\" }
charger = { starts_on = \"panels\" }
[supply.sun.battery]
chemistry = \"lifepo4\"
capacity = \"200 Ah\"
voltage = \"12.8 V\"
discharge_efficiency = \"90 %\"
disconnect_voltage = \"11.5 V\"
reconnect_voltage = \"11.7 V\"
reconnect_after = \"60 s\"
resistance = \"300 mohm\"
open_voltage = [{ charge = \"0 %\", voltage = \"10 V\" }, { charge = \"5 %\", voltage = \"12 V\" }, { charge = \"20 %\", voltage = \"12.9 V\" }, { charge = \"90 %\", voltage = \"13.3 V\" }, { charge = \"100 %\", voltage = \"13.8 V\" }]
protection = { cuts_off = \"10 V\", wakes = \"by-charge\" }
[module.buoy]
position = { depth = \"0 m\" }
input = { minimum = \"9 V\", maximum = \"36 V\" }
loads = { listening = \"3.42 W\" }
boot = { time = \"25 s\", power = \"23.4 W\" }
passes = { power = \"never\", data = \"never\" }
[requirement.dawn]
that = \"dawn-restarts\"
at_most = 2
[requirement.flat]
that = \"wakes-from-flat\"
";

fn checked(changes: &[(&str, &str)]) -> Check {
    let mut text = PLAN.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "`{from}` is not in the plan");
        text = text.replacen(from, to, 1);
    }
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

fn of<'c>(check: &'c Check, id: &str) -> &'c Judged {
    let mut all = check.requirements.iter().chain(&check.standing);
    all.find(|j| j.id == id).unwrap()
}

fn known<'c>(check: &'c Check, id: &str) -> &'c Known {
    match &of(check, id).verdicts[0] {
        Verdict::Known(known) => known,
        other => panic!("{} is not known: {}", other.subject(), other.why()),
    }
}

/// Ohm's law: 26 W and 0.3 W through 300 mohm at 11.5 V. What the boot draws, 0.18 Wh, is 0.003 V of this battery besides.
#[test]
fn val_the_gap_that_holds_the_load() {
    let check = checked(&[]);
    let back = known(&check, "comes-back");
    let drop_v = 0.3 * 26.3 / 11.5;
    close(back.value.value, 11.7, 1e-12);
    close(back.limit.value, 11.5 + drop_v - 0.3 * 0.3 / 11.7, 0.006);
    assert_eq!(of(&check, "comes-back").word(), Word::Broken);
    assert!(back.why.contains("draws up to 26.0 W"), "{}", back.why);
    assert!(
        back.why
            .contains("between `disconnect_voltage` and `reconnect_voltage`, which 12.2 V gives"),
        "{}",
        back.why
    );
    let wide = checked(&[(
        "reconnect_voltage = \"11.7 V\"",
        "reconnect_voltage = \"12.3 V\"",
    )]);
    assert_eq!(of(&wide, "comes-back").word(), Word::Met);
    assert_eq!(known(&wide, "dawn").value.value, 0.0);
    let stiff = checked(&[("resistance = \"300 mohm\"", "resistance = \"20 mohm\"")]);
    assert_eq!(of(&stiff, "comes-back").word(), Word::Met);
}

/// With a narrow gap it is taken off again and again, and less often the longer the switch waits; without a wait nobody can count.
#[test]
fn verif_a_narrow_gap_switches_until_there_is_charge_enough() {
    let count = |changes: &[(&str, &str)]| known(&checked(changes), "dawn").value.value;
    let often = checked(&[]);
    let falls = known(&often, "dawn").value.value;
    assert!(falls > 2.0, "{falls}");
    assert_eq!(of(&often, "dawn").word(), Word::Broken);
    let why = &known(&often, "dawn").why;
    assert!(
        why.contains("is first taken off again after 0 s, and stays from"),
        "{why}"
    );
    let slower = count(&[("reconnect_after = \"60 s\"", "reconnect_after = \"600 s\"")]);
    assert!(slower < falls && slower > 0.0, "{slower}");
    let borne = count(&[(
        "resistance = \"300 mohm\"",
        "resistance = \"300 mohm\"\ndisconnect_after = \"30 s\"",
    )]);
    assert_eq!(borne, 0.0);
    let endless = checked(&[("reconnect_after = \"60 s\"\n", "")]);
    assert_eq!(of(&endless, "dawn").word(), Word::Unknown);
    assert!(
        of(&endless, "dawn").verdicts[0]
            .why()
            .contains("`reconnect_after`")
    );
    // More light brings the charge sooner.
    let bright = count(&[("peak_power_each = \"40 W\"", "peak_power_each = \"160 W\"")]);
    assert!(bright < falls, "{bright}");
}

/// Each key that breaks the way up from flat, or leaves it unknown, is the one that is named.
#[test]
fn verif_the_first_condition_that_fails_is_named() {
    let good: (&str, &str) = (
        "reconnect_voltage = \"11.7 V\"",
        "reconnect_voltage = \"12.3 V\"",
    );
    let met = checked(&[good]);
    assert_eq!(of(&met, "flat").word(), Word::Met, "{:?}", of(&met, "flat"));
    close(known(&met, "flat").value.value, 7.0, 0.0);
    let broken: [(&str, &str, &str); 7] = [
        (
            "wakes = \"by-charge\"",
            "wakes = \"by-hand\"",
            "the protection of its cells closes fails",
        ),
        (
            "starts_on = \"panels\"",
            "starts_on = \"battery\"",
            "its charger starts fails",
        ),
        (
            "starts_on = \"panels\"",
            "starts_on = \"panels\", from = \"9 V\"",
            "its charger starts fails",
        ),
        (
            "temperature = \"9 degC\"",
            "temperature = \"-1.5 degC\"",
            "its cells take charge fails",
        ),
        (
            "standing = \"0.3 W\"",
            "standing = \"20 W\"",
            "the light is more than it draws itself fails",
        ),
        (
            "peak_power_each = \"40 W\"",
            "peak_power_each = \"1 W\"",
            "the load comes back fails",
        ),
        (
            "boot = { time = \"25 s\", power = \"23.4 W\" }",
            "boot = { time = \"1 h\", power = \"300 W\" }",
            "it stays fails",
        ),
    ];
    for (from, to, told) in broken {
        let check = checked(&[good, (from, to)]);
        assert_eq!(of(&check, "flat").word(), Word::Broken, "{to}");
        let why = &known(&check, "flat").why;
        assert!(
            why.starts_with(&format!("it does not wake: that {told}")),
            "{to}: {why}"
        );
    }
    let open: [(&str, &str, &str); 5] = [
        (
            "protection = { cuts_off = \"10 V\", wakes = \"by-charge\" }\n",
            "",
            "`battery.protection`",
        ),
        (", wakes = \"by-charge\"", "", "`battery.protection.wakes`"),
        ("charger = { starts_on = \"panels\" }\n", "", "`charger`"),
        ("standing = \"0.3 W\"\n", "", "`standing`"),
        ("resistance = \"300 mohm\"\n", "", "`resistance`"),
    ];
    for (from, to, told) in open {
        let check = checked(&[good, (from, to)]);
        assert_eq!(of(&check, "flat").word(), Word::Unknown, "{told}");
        let why = of(&check, "flat").verdicts[0].why();
        assert!(why.contains(told), "{told}: {why}");
    }
    // Broken and unknown at once is broken, and both are told.
    let both = checked(&[
        good,
        ("wakes = \"by-charge\"", "wakes = \"by-hand\""),
        ("standing = \"0.3 W\"\n", ""),
    ]);
    assert_eq!(of(&both, "flat").word(), Word::Broken);
    assert!(known(&both, "flat").why.contains("\nunknown: the light"));
    // Of seven one fails, and one is not known: that counts for nothing good.
    close(known(&both, "flat").value.value, 5.0, 0.0);
}

/// Where the voltages are written the hourly year takes the load off at the charges that they mean.
#[test]
fn verif_the_year_takes_the_load_off_by_voltage() {
    let asked = (
        "[requirement.dawn]",
        "[requirement.days]\nthat = \"autonomy\"\nat_least = \"2 d\"\n[requirement.dawn]",
    );
    let by_voltage = checked(&[asked]);
    // The mean load of 3.8 W and 0.3 W through 300 mohm: at rest 11.5 + 0.3 x 4.1 / 11.5 V, on the first straight line of the table.
    let open_v = 11.5 + 0.3 * 4.1 / 11.5;
    let left = 0.05 * (open_v - 10.0) / 2.0;
    let days = known(&by_voltage, "days").value.value;
    let usable = checked(&[
        asked,
        (
            "disconnect_voltage = \"11.5 V\"\nreconnect_voltage = \"11.7 V\"\n",
            "disconnect_at = \"0 %\"\nreconnect_at = \"10 %\"\n",
        ),
    ]);
    let of_usable = known(&usable, "days").value.value;
    // By share the cold keeps its own part back; by voltage only what lies below the threshold, or the cold, whichever is more.
    assert!(days <= of_usable * (1.0 + 1e-12), "{days} {of_usable}");
    assert!(
        days >= of_usable * (1.0 - left) * 0.999,
        "{days} {of_usable}"
    );
    let missing = checked(&[asked, ("resistance = \"300 mohm\"\n", "")]);
    assert_eq!(of(&missing, "days").word(), Word::Unknown);
    assert!(
        of(&missing, "days").verdicts[0]
            .why()
            .contains("`resistance`")
    );
}

#[test]
fn verif_boots_in_turn_spare_the_battery() {
    let two = "[module.deep]
position = { depth = \"30 m\" }
input = { minimum = \"9 V\", maximum = \"36 V\", lock_out = { on = \"16 V\", off = \"9 V\" } }
loads = { listening = \"1 W\" }
boot = { time = \"25 s\", power = \"23.4 W\" }
passes = { power = \"never\", data = \"never\" }
[span.down]
from = \"module.buoy\"
to = \"module.deep\"
length = \"30 m\"
conductor = \"6 mm2 class 5\"
contacts = { mated_pins_in_loop = 0, resistance = \"0 ohm\" }
[requirement.dawn]";
    let passes = (
        "passes = { power = \"never\", data = \"never\" }",
        "through = { resistance = \"0 ohm\" }\npasses = { power = \"always\", data = \"always\" }",
    );
    let check = checked(&[
        passes,
        ("[requirement.dawn]", two),
        (
            "reconnect_voltage = \"11.7 V\"",
            "reconnect_voltage = \"12.35 V\"",
        ),
    ]);
    assert_eq!(of(&check, "comes-back").word(), Word::Broken);
    let why = &known(&check, "comes-back").why;
    assert!(
        why.contains("with boots staggered the battery gives no more than"),
        "{why}"
    );
    assert!(
        why.contains("module.deep `wakes_after = \"27 s\"`"),
        "{why}"
    );
}

/// What several conditions want is told once, with all of them.
#[test]
fn verif_what_several_conditions_want_is_told_once() {
    let by_charge = "disconnect_voltage = \"11.5 V\"\nreconnect_voltage = \"11.7 V\"\nreconnect_after = \"60 s\"\n";
    let check = checked(&[(AT_REST, ""), (by_charge, "")]);
    let why = of(&check, "flat").verdicts[0].why();
    let missing = "says nothing of its voltage at rest by charge";
    assert_eq!(why.matches(missing).count(), 1, "{why}");
    assert!(
        why.contains(
            "whether its cells take charge, whether the light is more than it draws itself, whether"
        ),
        "{why}"
    );
}

const AT_REST: &str = "open_voltage = [{ charge = \"0 %\", voltage = \"10 V\" }, { charge = \"5 %\", voltage = \"12 V\" }, { charge = \"20 %\", voltage = \"12.9 V\" }, { charge = \"90 %\", voltage = \"13.3 V\" }, { charge = \"100 %\", voltage = \"13.8 V\" }]";
const NARROW: (&str, &str) = (
    "reconnect_voltage = \"11.7 V\"",
    "reconnect_voltage = \"11.55 V\"",
);
const ASKS: (&str, &str) = (
    "that = \"wakes-from-flat\"\n",
    "that = \"wakes-from-flat\"\n[requirement.dark]\nthat = \"autonomy\"\nat_least = \"1 d\"\n[requirement.winter]\nthat = \"outage-hours\"\nat_most = \"0 h\"\nshare = \"95 %\"\n",
);

/// Ohm's law: the mean load of 3.8 W and 0.3 W lower the terminals by 0.3 x 4.1 / 11.5 = 0.107 V, more than the gap. What is worst is told as broken, and what does not ask whether the load comes back is judged.
#[test]
fn val_a_battery_that_never_stays_on_is_broken() {
    let wide = checked(&[ASKS]);
    let check = checked(&[ASKS, NARROW]);
    let back = known(&check, "comes-back");
    assert_eq!(of(&check, "comes-back").word(), Word::Broken);
    close(
        back.limit.value,
        known(&wide, "comes-back").limit.value,
        1e-3,
    );
    assert_eq!(of(&check, "dawn").word(), Word::Broken);
    assert_eq!(known(&check, "dark").value, known(&wide, "dark").value);
    let winter = of(&check, "winter");
    assert_eq!(winter.word(), Word::Unknown);
    let why = winter.verdicts[0].why();
    assert!(
        why.contains("never stay on in the dark; see `comes-back`"),
        "{why}"
    );
}

/// Full and at rest there are 13.8 V; 160 W of panels through 300 mohm, of which the cells take no more than half their capacity an hour, leave V with V (V - 13.8) = 0.3 x 160.
#[test]
fn val_a_load_that_comes_back_at_a_voltage_beyond_full() {
    let at = |on: &str| {
        checked(&[(
            "reconnect_voltage = \"11.7 V\"",
            &format!("reconnect_voltage = \"{on} V\""),
        )])
    };
    let beyond = at("17.5");
    let back = known(&beyond, "comes-back");
    assert_eq!(of(&beyond, "comes-back").word(), Word::Broken);
    close(back.limit.value, 6.9 + f64::sqrt(6.9 * 6.9 + 48.0), 1e-9);
    assert_eq!(of(&beyond, "flat").word(), Word::Broken);
    assert_eq!(of(&beyond, "dawn").word(), Word::Broken);
    let charged = at("14.4");
    assert_eq!(of(&charged, "comes-back").word(), Word::Unknown);
    let why = of(&charged, "comes-back").verdicts[0].why().to_owned();
    assert!(why.contains("only while it is charged"), "{why}");
}

/// Conservation: panels of a hundredth give less in a mean day than the supply draws itself, so that no battery comes back; nothing restarts then, and a limit on restarts is broken all the same.
#[test]
fn verif_a_line_that_stays_dead_keeps_no_limit_on_restarts() {
    let wide = (
        "reconnect_voltage = \"11.7 V\"",
        "reconnect_voltage = \"12.3 V\"",
    );
    assert_eq!(of(&checked(&[wide]), "dawn").word(), Word::Met);
    let dark = checked(&[
        wide,
        ("peak_power_each = \"40 W\"", "peak_power_each = \"0.4 W\""),
    ]);
    let dawn = known(&dark, "dawn");
    // April to August, and each of them dead.
    assert_eq!((dawn.value.value, dawn.limit.value), (5.0, 0.0));
    assert_eq!(of(&dark, "dawn").word(), Word::Broken);
    assert!(dawn.why.contains("the line stays dead"), "{}", dawn.why);
}

/// The energy balance of the night: between 11.51 V, where the load is taken off, and 11.4 V, where the protection opens, lie 0.11 V of the 2 V that 5 % of 2560 Wh make: 7 Wh, which a controller of 3 W has drawn by 02:21, before any light. What then needs a hand is dead; a charger's voltage wakes it.
#[test]
fn verif_a_protection_that_needs_a_hand_keeps_the_line_dead() {
    let night = |wakes: &str| {
        checked(&[
            ("standing = \"0.3 W\"", "standing = \"3 W\""),
            (
                "{ cuts_off = \"10 V\", wakes = \"by-charge\" }",
                &format!("{{ cuts_off = \"11.4 V\", wakes = \"{wakes}\" }}"),
            ),
            (
                "disconnect_voltage = \"11.5 V\"",
                "disconnect_voltage = \"11.51 V\"",
            ),
            ("resistance = \"300 mohm\"", "resistance = \"1 mohm\""),
        ])
    };
    let by_hand = night("by-hand");
    assert_eq!(of(&by_hand, "dawn").word(), Word::Broken);
    let why = &known(&by_hand, "dawn").why;
    assert!(why.contains("a person has to close it"), "{why}");
    assert_ne!(of(&night("by-charge"), "dawn").word(), Word::Broken);
}

/// Where even the full battery is below where the load is taken off, it carries it for no time.
#[test]
fn verif_a_battery_that_never_holds_its_mean_load() {
    let check = checked(&[
        ASKS,
        (
            "disconnect_voltage = \"11.5 V\"",
            "disconnect_voltage = \"13.75 V\"",
        ),
        (
            "reconnect_voltage = \"11.7 V\"",
            "reconnect_voltage = \"13.79 V\"",
        ),
    ]);
    assert_eq!(known(&check, "dark").value.value, 0.0);
    assert_eq!(of(&check, "comes-back").word(), Word::Broken);
}

/// A mistake in the supply leaves open whether its battery comes back, and says so.
#[test]
fn verif_a_mistake_in_the_supply_hides_no_check_of_it() {
    let text = PLAN.replacen("capacity = \"200 Ah\"", "capacity = \"200 W\"", 1);
    let reading = read(&text);
    assert!(reading.has_errors());
    let check = check(&reading, &Shelf::default());
    for id in ["comes-back", "input-voltage"] {
        let judged = of(&check, id);
        assert_eq!(judged.word(), Word::Unknown, "{id}");
        assert!(judged.verdicts[0].subject() == "supply.sun", "{judged:?}");
    }
}

fn petrel_bank(changes: &[(&str, &str)]) -> Check {
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../plans/petrel-bank/plan.toml"
    );
    let mut text = std::fs::read_to_string(path).unwrap();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    check(&read(&text), &Shelf::default())
}

/// Below 18 V and 15 V the converters of a buoy and an ear draw as resistors of 187 and 97 ohm: at 13 V they take 0.2 A, all that the supply gives, and the line stays there (Ohm's law): it starts never, and is never ready.
#[test]
fn verif_a_line_that_never_starts_is_never_ready() {
    let weak = [
        ("current_limit = \"4 A\"", "current_limit = \"0.2 A\""),
        ("uplinking = \"4 W\"", "uplinking = \"1 W\""),
    ];
    let found = petrel_bank(&weak);
    let word = |id: &str| requirement(&found, id).word();
    assert_eq!(word("starts"), Word::Broken);
    assert_eq!(word("ready"), Word::Unknown);
    for id in ["flat", "dawn"] {
        assert_eq!(word(id), Word::Broken, "{id}");
    }
}

/// A protection that opens at 13.3 V keeps no load that comes back at 13.0 V at rest.
#[test]
fn verif_a_protection_that_opens_holds_no_load() {
    let found = petrel_bank(&[("cuts_off = \"10.4 V\"", "cuts_off = \"13.3 V\"")]);
    for id in ["comes-back", "flat", "dawn"] {
        let word = requirement(&found, id).word();
        assert_eq!(word, Word::Broken, "{id}");
    }
    let whole = petrel_bank(&[]);
    assert_eq!(requirement(&whole, "comes-back").word(), Word::Met);
}
