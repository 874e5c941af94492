//! Messages through calm and high seas: shares in closed form, the limits in which the sea says nothing, what attempts draw, and what is unknown.

use assess::input::{energy, supply_load};
use assess::{Check, Memo, Shelf, UplinkAshore, Verdict, Word, check, uplink_ashore};
use plan::{SupplyIx, UplinkIx};

use crate::support::{checked, close, good, known, read, requirement, why_unknown};

const SURE: &str = "success = \"100 %\"\n";
const ON: &str = "on = \"module.ear.sensor.one\"\n";
const BUDGET: &str = "[requirement.budget]";
const PETREL: &str = include_str!("../../../../plans/petrel-bank/plan.toml");

fn winds(mean: &str) -> String {
    let months = vec![format!("\"{mean}\""); 12];
    format!("shipping = 0.2\nwind = [{}]", months.join(", "))
}

fn wait(at_most: &str, share: &str) -> String {
    format!(
        "[requirement.wait]\nthat = \"uplink-wait\"\nof = \"uplink.shore\"\nat_most = \"{at_most}\"\nshare = \"{share}\"\n\n{BUDGET}"
    )
}

fn ashore(changes: &[(&str, &str)]) -> UplinkAshore {
    let line = good(changes).line.unwrap();
    uplink_ashore(&line, UplinkIx(0), &Memo::new()).unwrap()
}

/// Calm always succeeds and high never does: of the messages a share h waits, and each 15 s (a session of 5 s and a back-off of 10 s) a share `g (1 - exp(-15 s / (T g)))` of them finds a calm sea.
/// Rayleigh's law: 10 m/s about a mean of 8 m/s is passed for `exp(-(pi/4) (10/8)^2)` of the time. Closed forms, by hand.
#[test]
fn val_messages_wait_for_a_calm_sea_as_the_closed_form_says() {
    let sea =
        "sea = { wind = \"10 m/s\", calm = \"100 %\", high = \"0 %\", high_lasts = \"3 h\" }\n";
    let found = ashore(&[(SURE, sea), ("shipping = 0.2", &winds("8 m/s"))]);
    let high = (-std::f64::consts::FRAC_PI_4 * 1.5625_f64).exp();
    let calm = 1.0 - high;
    let turns = calm * (1.0 - (-15.0 / (3.0 * 3600.0 * calm)).exp());
    for month in &found.months {
        close(month.high_share.unwrap(), high, 1e-12);
        close(month.success, calm, 1e-12);
        for k in [0, 1, 10, 100, 1000] {
            let time_s = 5.0 + 15.0 * f64::from(k);
            let wanted = 1.0 - high * (1.0 - turns).powi(k);
            close(month.share_within(time_s), wanted, 1e-9);
        }
        // The mean number of attempts: 1 + h / turns.
        close(month.attempts, 1.0 + high / turns, 1e-2);
    }
}

fn heights(mean: &str, more: &str) -> String {
    let months = vec![format!("\"{mean}\""); 12];
    format!(
        "shipping = 0.2\nwave_height = [{}]\n{more}",
        months.join(", ")
    )
}

/// High above a wave height, where the site says how its heights spread: a Weibull law of shape 2 with the mean 2 m passes 2.5 m for `exp(-(pi/4) (2.5/2)^2)` of the time (by hand:
/// `c = m / gamma(3/2) = 2 m / sqrt(pi)`), and a message that finds a high sea finds a calm one 15 s later with `g (1 - exp(-15 s / memory))`.
#[test]
fn val_a_sea_above_a_wave_height_follows_the_waves_of_the_site() {
    let sea = "sea = { wave_height = \"2.5 m\", calm = \"100 %\", high = \"0 %\" }\n";
    let waves = heights("2 m", "waves = { shape = 2, memory = \"6 h\" }");
    let found = ashore(&[(SURE, sea), ("shipping = 0.2", &waves)]);
    let high = (-std::f64::consts::FRAC_PI_4 * 1.5625_f64).exp();
    let turns = (1.0 - high) * (1.0 - (-15.0_f64 / (6.0 * 3600.0)).exp());
    for month in &found.months {
        close(month.high_share.unwrap(), high, 1e-12);
        for k in [0, 1, 10, 100, 1000] {
            let wanted = 1.0 - high * (1.0 - turns).powi(k);
            close(month.share_within(5.0 + 15.0 * f64::from(k)), wanted, 1e-9);
        }
    }
    // Written, how long a high sea lasts is as written.
    let lasts = sea.replace("\"0 %\"", "\"0 %\", high_lasts = \"3 h\"");
    let found = ashore(&[(SURE, &lasts), ("shipping = 0.2", &waves)]);
    let turns = (1.0 - high) * (1.0 - (-15.0 / (3.0 * 3600.0 * (1.0 - high))).exp());
    let wanted = 1.0 - high * (1.0 - turns).powi(100);
    close(found.months[0].share_within(1505.0), wanted, 1e-9);
}

/// Neither the uplink's sea nor the site says how long a high sea lasts: unknown, with both keys; nor is anything known of heights that are not there.
#[test]
fn verif_how_long_a_sea_of_waves_lasts_is_not_guessed() {
    let sea = "sea = { wave_height = \"2.5 m\", calm = \"97 %\", high = \"20 %\" }\n";
    let winds = winds("8 m/s");
    let silent = waiting(sea, &winds, &wait("10 min", "90 %"));
    let why = why_unknown(&silent, "wait");
    assert!(why.contains("`high_lasts` of its `sea`"), "{why}");
    assert!(why.contains("`site.waves`"), "{why}");
    let only_spread = format!("{winds}\nwaves = {{ shape = 2, memory = \"6 h\" }}");
    let no_heights = waiting(sea, &only_spread, &wait("10 min", "90 %"));
    let why = why_unknown(&no_heights, "wait");
    assert!(why.contains("`site.wave_height` is not written"), "{why}");
}

/// Ten messages a day over an uplink in a sea of these winds, and what is asked of their wait.
fn waiting(uplink: &str, winds: &str, asked: &str) -> Check {
    checked(&[
        (SURE, uplink),
        ("shipping = 0.2", winds),
        (ON, &format!("{ON}expects = \"10 per d\"\n")),
        (BUDGET, asked),
    ])
}

/// Where the sea is never high, or both seas are alike, everything is as with one chance: the delay, the wait and what sending draws.
#[test]
fn verif_a_sea_that_says_nothing_changes_nothing() {
    let winds = winds("8 m/s");
    let of = |uplink: &str| {
        let uplink = format!("{uplink}failed_attempts = \"free\"\n");
        waiting(&uplink, &winds, &wait("40 s", "80 %"))
    };
    let plain = of("success = \"95 %\"\n");
    for sea in [
        "sea = { wind = \"85 m/s\", calm = \"95 %\", high = \"1 %\", high_lasts = \"9 h\" }\n",
        "sea = { wind = \"9 m/s\", calm = \"95 %\", high = \"95 %\" }\n",
    ] {
        let with = of(sea);
        for id in ["wait", "messages", "budget"] {
            let (ours, theirs) = (known(&with, id), known(&plain, id));
            close(ours.value.value, theirs.value.value, 1e-9);
            assert_eq!(
                requirement(&with, id).word(),
                requirement(&plain, id).word()
            );
        }
    }
    assert_eq!(requirement(&plain, "wait").word(), Word::Met);
    let sentence = &requirement(&plain, "wait").sentence;
    assert!(
        sentence.contains("80 % of the messages of the worst month"),
        "{sentence}"
    );
    assert!(!sentence.contains("cases"), "{sentence}");
    let load = |uplink: &str| {
        let line = good(&[(SURE, uplink), ("shipping = 0.2", &winds)])
            .line
            .unwrap();
        supply_load(&line, SupplyIx(0)).unwrap()
    };
    let plain = load("success = \"50 %\"\n");
    let sea = load("sea = { wind = \"9 m/s\", calm = \"50 %\", high = \"50 %\" }\n");
    close(sea.mean_w(), plain.mean_w(), 1e-9);
    close(sea.most_w(), plain.mean_w(), 1e-9);
    assert_eq!(plain.by_month_w(), None);
}

/// High seas that last make a wait broken that the same mean chance, each attempt on its own, meets; a share is never more than that of lone messages.
#[test]
fn verif_high_seas_that_last_break_a_wait() {
    let winds = winds("8 m/s");
    let of = |uplink: &str| waiting(uplink, &winds, &wait("10 min", "95 %"));
    // The mean chance is 0.97 - 0.96 e^(-(pi/4) 1.5625), 0.69.
    let alone = of("success = \"70 %\"\n");
    assert_eq!(requirement(&alone, "wait").word(), Word::Met);
    let lasting =
        of("sea = { wind = \"10 m/s\", calm = \"97 %\", high = \"1 %\", high_lasts = \"12 h\" }\n");
    let found = known(&lasting, "wait");
    assert_eq!(requirement(&lasting, "wait").word(), Word::Broken);
    assert!(found.why.contains("drawn months"), "{}", found.why);
    assert!(found.why.contains("12.0 h at a time"), "{}", found.why);
    // Of all delays ashore the bound of the burst is later too.
    let assumed = lasting.assumed.join("\n");
    for told in [
        "longer tails",
        "registers in no time",
        "no low charge switches it off",
    ] {
        assert!(assumed.contains(told), "{assumed}");
    }
    assert!(
        alone
            .assumed
            .join("\n")
            .contains("because no `sea` is written")
    );
}

/// A delay to the shore in a share of cases is that of the same chain: a burst of one message without windows takes as long as the lone message does in that share.
#[test]
fn verif_the_delay_ashore_rests_on_the_same_chain() {
    let sea =
        "sea = { wind = \"10 m/s\", calm = \"97 %\", high = \"20 %\", high_lasts = \"12 h\" }\n";
    let limit = "to = \"uplink.shore\"\nat_most = \"10 min\"\nshare = \"90 %\"\n";
    let winds = winds("8 m/s");
    let changes = |share: &str| {
        let shared = limit.replace("90 %", share);
        let all = [
            (SURE, sea),
            ("shipping = 0.2", &*winds),
            (limit, &*shared),
            ("at_most = \"12 per d\"", "at_most = \"1 per d\""),
        ];
        let check = checked(&all);
        let month = ashore(&all).months[0].clone();
        (known(&check, "shore").why.clone(), month)
    };
    for (share, of) in [("50 %", 0), ("90 %", 1), ("99 %", 2)] {
        let (why, month) = changes(share);
        let lone_s = month.within_s[of].unwrap();
        let told = format!("{lone_s:.0} s on uplink.shore");
        assert!(why.contains(&told), "{told}: {why}");
    }
}

/// What the plan does not say is unknown, and says which key is missing.
#[test]
fn verif_what_is_missing_is_told() {
    let sea = "sea = { wind = \"10 m/s\", calm = \"97 %\", high = \"20 %\" }\n";
    let no_wind = checked(&[(SURE, sea), (BUDGET, &wait("10 min", "90 %"))]);
    let why = why_unknown(&no_wind, "wait");
    assert!(why.contains("`wind` of the site's months"), "{why}");
    // Met by lone messages, but nobody says how many others come.
    let no_events = checked(&[
        (SURE, "success = \"99 %\"\n"),
        (BUDGET, &wait("10 min", "90 %")),
    ]);
    let why = why_unknown(&no_events, "wait");
    assert!(why.contains("wait for each other is not known"), "{why}");
    assert!(why.contains("`expects`"), "{why}");
    // Broken by lone messages alone is broken, whatever else comes.
    let late = checked(&[
        (SURE, "success = \"50 %\"\n"),
        (BUDGET, &wait("6 s", "90 %")),
    ]);
    assert_eq!(requirement(&late, "wait").word(), Word::Broken);
    close(known(&late, "wait").value.value, 50.0, 1e-9);
    let always = "sea = { wind = \"0 m/s\", calm = \"97 %\", high = \"0 %\" }\n";
    let never = checked(&[
        (SURE, always),
        ("shipping = 0.2", &winds("8 m/s")),
        (BUDGET, &wait("10 min", "90 %")),
    ]);
    let why = why_unknown(&never, "wait");
    assert!(why.contains("no attempt ever succeeds"), "{why}");
}

/// Registration before each attempt lengthens it, and is drawn as often; position fixes draw for their share of the time. By hand.
#[test]
fn val_registration_and_fixes_by_hand() {
    let winds = winds("8 m/s");
    let with = |more: &str| {
        let uplink = format!("success = \"80 %\"\n{more}");
        let line = good(&[(SURE, &uplink), ("shipping = 0.2", &winds)])
            .line
            .unwrap();
        let found = uplink_ashore(&line, UplinkIx(0), &Memo::new()).unwrap();
        (found, supply_load(&line, SupplyIx(0)).unwrap())
    };
    let (plain, plain_load) = with("");
    close(plain.months[0].within_s[0].unwrap(), 5.0, 1e-3);
    let (registered, load) = with("registers = { takes = \"20 s\", when = \"each-attempt\" }\n");
    close(registered.months[0].within_s[0].unwrap(), 25.0, 1e-3);
    // Five times as long at the same state.
    let sends = |load: &assess::input::SupplyLoad| -> f64 {
        let parts = load
            .parts
            .iter()
            .filter(|p| p.what.contains("uplink.shore"));
        parts.map(|p| p.power_w).sum()
    };
    close(sends(&load) / sends(&plain_load), 5.0, 1e-9);
    let (later, load) = with("registers = { takes = \"20 s\", when = \"power-on\" }\n");
    close(later.months[0].within_s[0].unwrap(), 5.0, 1e-3);
    close(load.mean_w(), plain_load.mean_w(), 1e-12);
    assert!(
        later
            .assumed
            .join("\n")
            .contains("after each return of power")
    );
    // Half of a time in the sending state draws half of what it adds.
    let (_, half) = with("fix = { takes = \"30 min\", every = \"1 h\", state = \"sending\" }\n");
    let (_, whole) = with("fix = { takes = \"1 h\", every = \"1 h\" }\n");
    let adds = |load: &assess::input::SupplyLoad| load.mean_w() - plain_load.mean_w();
    assert!(adds(&half) > 0.0);
    close(adds(&whole) / adds(&half), 2.0, 1e-9);
}

fn petrel(from: &str, to: &str) -> plan::Line {
    assert!(PETREL.contains(from));
    let reading = read(&PETREL.replace(from, to));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading.line.unwrap()
}

/// The year asks in each month for what that month's attempts draw, and the months of the parts add up to it; stormy months draw more.
#[test]
fn verif_the_year_reads_attempts_month_by_month() {
    let line = petrel("off_below", "off_below");
    let load = supply_load(&line, SupplyIx(0)).unwrap();
    let by_month = load.by_month_w().unwrap();
    assert!(by_month[0] > by_month[5], "{by_month:?}");
    let hourly_wh = energy(&line, SupplyIx(0))
        .unwrap()
        .load
        .hourly_wh()
        .unwrap();
    let mut hours = hourly_wh.iter();
    let mut year_wh = 0.0;
    for (month, days) in assess::MONTH_DAYS.into_iter().enumerate() {
        let asked: Vec<f64> = hours
            .by_ref()
            .take(24 * usize::from(days))
            .copied()
            .collect();
        assert!(asked.iter().all(|wh| (wh - by_month[month]).abs() < 1e-9));
        year_wh += asked.iter().sum::<f64>();
    }
    close(year_wh / 8760.0, load.mean_w(), 1e-9);
    // In the water from October on, 120 days: to January.
    let most = [9, 10, 11, 0]
        .map(|m| by_month[m])
        .into_iter()
        .fold(0.0, f64::max);
    close(load.most_w(), most, 1e-12);
}

/// What a battery carries without light, and how long cells last, is asked of the heaviest month in the water: of a summer's work no winter counts, of a winter's no mean with summer.
#[test]
fn verif_cells_carry_the_heaviest_month_in_the_water() {
    let of = |start: &str| {
        let line = petrel("start = 2027-10-01\nduration = \"120 d\"", start);
        let load = supply_load(&line, SupplyIx(0)).unwrap();
        let by_month = load.by_month_w().unwrap();
        let currents = load.currents(&line, SupplyIx(0), 12.0, 0.0).unwrap();
        let mean_a: f64 = currents.iter().map(|c| c.share * c.current_a).sum();
        (by_month, load.most_w(), 12.0 * mean_a)
    };
    let (by_month, most_w, carried_w) = of("start = 2027-06-01\nduration = \"50 d\"");
    close(most_w, by_month[5].max(by_month[6]), 1e-12);
    assert!(most_w < by_month[0]);
    // What several things at once lose on the way is all that sets the two apart.
    assert!(
        (carried_w / most_w - 1.0).abs() < 1e-3,
        "{carried_w} {most_w}"
    );
    let (by_month, most_w, carried_w) = of("start = 2027-12-01\nduration = \"50 d\"");
    close(most_w, by_month[11].max(by_month[0]), 1e-12);
    let mean_w = by_month.iter().sum::<f64>() / 12.0;
    assert!(carried_w > mean_w && (carried_w / most_w - 1.0).abs() < 1e-3);
}

/// An uplink that is switched off below a charge lets nothing through in those hours: below nothing it is never off, below all of it nearly always.
#[test]
fn verif_a_low_charge_switches_it_off() {
    let months = |below: &str| {
        let line = petrel("off_below = \"20 %\"", &format!("off_below = \"{below}\""));
        uplink_ashore(&line, UplinkIx(0), &Memo::new())
            .unwrap()
            .months
    };
    let never = months("0 %");
    assert!(never.iter().all(|m| m.off_share == 0.0));
    let (some, most) = (months("60 %"), months("95 %"));
    for ((n, s), m) in never.iter().zip(&some).zip(&most) {
        assert!(s.off_share <= m.off_share);
        let within = |month: &assess::UplinkMonth| month.share_within(3600.0);
        close(within(m), (1.0 - m.off_share) * within(n), 1e-12);
    }
    let december = most[11].off_share;
    assert!(december > 0.0, "{december}");
    // Of a bench supply there is no charge.
    let bench = ashore(&[(SURE, &format!("{SURE}off_below = \"50 %\"\n"))]);
    assert_eq!(bench.months[0].off_share, 0.0);
}

/// Heartbeats that go ashore: one in a hundred is later than the time at which the shore looks; 0.01 of 30 d of them, and one interval more until a stop is noticed.
#[test]
fn verif_when_the_shore_should_look() {
    let line = petrel("every = \"12 h\"", "every = \"6 h\"");
    let found = uplink_ashore(&line, UplinkIx(0), &Memo::new()).unwrap();
    let [watch] = &found.watches[..] else {
        panic!("{:?}", found.watches)
    };
    close(watch.false_alarms(), 1.2, 1e-9);
    for (month, m) in found.months.iter().enumerate() {
        let look_s = watch.look_after_s[month].unwrap();
        close(look_s, m.within_s[2].unwrap(), 1e-9);
        assert!(m.share_within(look_s) >= 0.99 - 1e-9);
        close(
            watch.noticed_within_s(month).unwrap(),
            6.0 * 3600.0 + look_s,
            1e-9,
        );
    }
}

/// A mistake in the uplink leaves the wait unknown, one elsewhere leaves it standing.
#[test]
fn verif_a_mistake_elsewhere_leaves_the_wait_standing() {
    let whole = |changes: &[(&str, &str)]| {
        let mut all = vec![
            (SURE, "success = \"50 %\"\n"),
            (
                BUDGET,
                Box::leak(wait("6 s", "90 %").into_boxed_str()) as &str,
            ),
        ];
        all.extend(changes);
        let reading = read(&crate::support::changed(&all));
        check(&reading, &Shelf::default())
    };
    let storage = whole(&[("capacity = \"1 TB\"", "capacity = \"1 V\"")]);
    assert_eq!(requirement(&storage, "wait").word(), Word::Broken);
    let uplink = whole(&[("session = \"5 s\"", "session = \"5 V\"")]);
    assert!(matches!(
        requirement(&uplink, "wait").verdicts[0],
        Verdict::Unknown { .. }
    ));
}
