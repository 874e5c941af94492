//! How surely requirements are met: closed forms of normal laws through a linear model, what is unknown, years, threads.

use assess::input::energy;
use assess::{
    Certain, Certainty, CertaintyAsk, CertaintyError, DrawnShare, Shelf, Sureness, Word, certainty,
    check, run_years,
};
use plan::{Reading, SupplyIx};

use crate::sky::{measured, plain_years};
use crate::support::{changed, close, read};

pub(crate) const TWO: &str = include_str!("two.toml");
const DRAWS: usize = 2000;

pub(crate) fn ask(draws: usize) -> CertaintyAsk {
    CertaintyAsk {
        draws,
        seed: 1,
        years: 3,
        threads: 2,
    }
}

pub(crate) fn with(text: &str, changes: &[(&str, &str)]) -> String {
    let mut text = text.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "`{from}` is not in the plan");
        text = text.replace(from, to);
    }
    text
}

#[track_caller]
pub(crate) fn drawn(text: &str, ask: &CertaintyAsk) -> Certainty {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    of(&reading, ask)
}

#[track_caller]
pub(crate) fn of(reading: &Reading, ask: &CertaintyAsk) -> Certainty {
    let checked = check(reading, &Shelf::default());
    certainty(reading, &Shelf::default(), &checked, ask, &|_| true)
        .unwrap()
        .unwrap()
}

pub(crate) fn certain<'c>(found: &'c Certainty, id: &str) -> &'c Certain {
    let all = found.requirements.iter().chain(&found.standing);
    all.clone().find(|c| c.id == id).unwrap()
}

pub(crate) fn share<'c>(found: &'c Certainty, id: &str) -> &'c DrawnShare {
    match &certain(found, id).sureness {
        Sureness::Drawn(drawn) => drawn,
        Sureness::AsWritten { why } => panic!("{id} is not drawn: {why}"),
    }
}

/// A constant current of 0.5 A through 3.9 ohm of cable and the contacts.
pub(crate) fn linear(supply: &str, aged: &str, minimum: &str) -> String {
    with(
        TWO,
        &[
            ("voltage = \"48 V\"", &format!("voltage = \"{supply}\"")),
            ("aged = \"16.1 ohm\"", &format!("aged = \"{aged}\"")),
            (
                "resistance = \"16.1 ohm\"",
                "resistance = \"1 ohm ± 0.2 ohm\"",
            ),
            ("working = \"25 W\"", "working = \"0.5 A\""),
            ("minimum = \"20 V\"", &format!("minimum = \"{minimum}\"")),
        ],
    )
}

/// By hand: `V = Vs - I (R + r)` with I = 0.5 A, R = 3.9 ohm, Vs normal about 48 V with a deviation of 0.6 V, r normal about 16.1 ohm with
/// one of 1.6 ohm. V is normal about 38 V with a deviation of sqrt(0.6^2 + 0.8^2) = 1 V, so that its margin over 36.7 V lies 1.3
/// deviations above nothing. Quantiles and shares of the normal law: SciPy 1.17.1, scipy.stats.norm.
#[test]
fn val_a_voltage_drop_has_the_mean_and_the_spread_of_its_closed_form() {
    const MEAN_V: f64 = 38.0 - 36.7;
    const AT_95: f64 = 1.6448536269514722;
    const BELOW_1_3: f64 = 0.9031995154143897;
    let found = drawn(
        &linear("48 V ± 1.2 V", "16.1 ohm ± 3.2 ohm", "36.7 V"),
        &ask(DRAWS),
    );
    let voltage = share(&found, "voltage");
    assert_eq!(certain(&found, "voltage").nominal, Word::Met);
    let margins = voltage.margins.as_ref().unwrap();
    assert_eq!(margins.unit, "V");
    // Four standard errors of a quantile of as many plain draws: sqrt(p (1 - p) / n) over the density there.
    let error = |p: f64, density: f64| 4.0 * (p * (1.0 - p) / DRAWS as f64).sqrt() / density;
    let [low, _, middle, _, high] = margins.at_5_25_50_75_95;
    close(middle, MEAN_V, error(0.5, 0.398_942));
    close(low, MEAN_V - AT_95, error(0.05, 0.103_136));
    close(high, MEAN_V + AT_95, error(0.95, 0.103_136));
    assert_eq!(voltage.met + voltage.broken, DRAWS);
    assert!(
        voltage.share_low < BELOW_1_3 && BELOW_1_3 < voltage.share_high,
        "{voltage:?}"
    );
    let limits = chance::clopper_pearson(voltage.met as u64, DRAWS as u64, 0.95).unwrap();
    assert_eq!((voltage.share_low, voltage.share_high), limits);
}

/// Of two normal inputs that add up, each and the sum follow the bivariate normal law with the input's share of the sum's deviation, 0.8 and
/// 0.6; its rank correlation is that of SciPy (reference/make/chance_sampling.py). Four standard errors of 1 / sqrt(n - 1) are more than
/// these have.
#[test]
fn val_what_moves_a_voltage_is_ranked_as_the_bivariate_normal_law_has_it() {
    let found = drawn(
        &linear("48 V ± 1.2 V", "16.1 ohm ± 3.2 ohm", "36.7 V"),
        &ask(DRAWS),
    );
    let of = |r: &str| -> f64 {
        let rows = truth::rows("chance/scipy-sampling.csv");
        let mut rows = rows.iter().filter(|row| row[0] == "spearman-of-law");
        rows.find(|row| row[1] == r).unwrap()[3].parse().unwrap()
    };
    let tolerance = 4.0 / (DRAWS as f64 - 1.0).sqrt();
    let margins = share(&found, "voltage").margins.as_ref().unwrap();
    let told: Vec<(&str, f64)> = margins
        .moved_by
        .iter()
        .map(|m| (found.inputs[m.input].paths[0].as_str(), m.rank_correlation))
        .collect();
    // The new contacts are drawn too and move nothing: the aged ones are worse.
    assert_eq!(found.inputs.len(), 3);
    assert_eq!(told.len(), 2, "{told:?}");
    assert_eq!(told[0].0, "span.cable.contacts.aged");
    assert_eq!(told[1].0, "supply.bench.output.voltage");
    close(told[0].1, -of("0.8"), tolerance);
    close(told[1].1, of("0.6"), tolerance);
}

/// A load of constant power P behind R is carried from `Vs = sqrt(4 R P)` on, here 44.72 V, and its voltage is then the upper root of
/// `V^2 - Vs V + R P = 0`. Vs is normal about one deviation of 1.28 V above that: by SciPy 1.17.1 `norm.cdf` there 15.8 % of the draws
/// collapse. These have no voltage, and the margins of all others are those of the law cut off there.
#[test]
fn val_draws_that_collapse_have_no_margin_of_a_voltage() {
    const R_OHM: f64 = 20.0;
    const LOAD_W: f64 = 25.0;
    // norm.cdf((sqrt(4 R P) - 46) / 1.28), and 46 + 1.28 norm.ppf(c + (1 - c) p) at p of 5, 50 and 95 %, with the density there.
    const COLLAPSED: f64 = 0.1589123992483666;
    const AT: [(f64, f64, f64); 3] = [
        (0.05, 44.92713858254242, 0.33382243951597784),
        (0.5, 46.25664320364476, 0.4648782674021243),
        (0.95, 48.21097993423322, 0.10670255147719789),
    ];
    let found = drawn(
        &with(
            TWO,
            &[
                ("voltage = \"48 V\"", "voltage = \"46 V ± 2.56 V\""),
                // So that the lower limit is always the nearer one.
                ("maximum = \"72 V\"", "maximum = \"1000 V\""),
            ],
        ),
        &ask(DRAWS),
    );
    // As written 46 V carry 106 % of the load: however wide the margin, no more than just met.
    assert_eq!(certain(&found, "voltage").nominal, Word::Marginal);
    let voltage = share(&found, "voltage");
    let margins = voltage.margins.as_ref().unwrap();
    assert_eq!(margins.unit, "V");
    close(margins.without as f64, COLLAPSED * DRAWS as f64, 1.0);
    assert_eq!(margins.without, voltage.broken);
    assert_eq!(margins.draws, voltage.met);
    assert_eq!(voltage.met + voltage.broken, DRAWS);
    let (_, unit) = margins.first_without.as_ref().unwrap();
    // Of the load that is asked.
    assert_eq!(unit.as_deref(), Some("points"));
    let [low_v, _, middle_v, _, high_v] = margins.at_5_25_50_75_95;
    for (found_v, (share, supply_v, density)) in [low_v, middle_v, high_v].into_iter().zip(AT) {
        let load_v =
            |supply_v: f64| 0.5 * (supply_v + (supply_v * supply_v - 4.0 * R_OHM * LOAD_W).sqrt());
        // Four standard errors of a quantile of as many plain draws, over the slope of the root.
        let error = 4.0 * (share * (1.0 - share) / margins.draws as f64).sqrt() / density * 1.28;
        let slope = (load_v(supply_v + 0.01) - load_v(supply_v - 0.01)) / 0.02;
        close(found_v, load_v(supply_v) - 20.0, slope * error);
    }
}

/// A line that collapses as it is written has a margin of its load; draws that carry it have none in that unit.
#[test]
fn verif_margins_have_the_unit_of_the_plan_as_it_is_written() {
    let found = drawn(
        &with(
            TWO,
            &[("voltage = \"48 V\"", "voltage = \"44 V ± 2.56 V\"")],
        ),
        &ask(200),
    );
    let voltage = share(&found, "voltage");
    let margins = voltage.margins.as_ref().unwrap();
    assert_eq!(margins.unit, "points");
    assert_eq!(margins.without, voltage.met);
    assert!(
        voltage.met > 0 && margins.lowest_highest.1 < 0.0,
        "{margins:?}"
    );
    let (_, unit) = margins.first_without.as_ref().unwrap();
    assert_eq!(unit.as_deref(), Some("V"));
}

/// Two spans in a row from one part: apart, their resistances add up as `sqrt 2`, as one batch they add up as 2.
#[test]
fn val_one_batch_spreads_wider_than_parts_apart() {
    let width_v = |shared: &str| {
        let text = with(
            &linear("48 V", "16.1 ohm", "20 V"),
            &[
                ("[span.cable]\n", "[span.cable]\npart = \"part.cable\"\n"),
                (
                    "length = \"100 m\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = { mated_pins_in_loop = 1, resistance = \"1 ohm ± 0.2 ohm\", aged = \"16.1 ohm\" }\n",
                    "",
                ),
                (
                    "[module.far]\n",
                    &format!(
                        "[part.cable]\nis = \"span\"\n{shared}length = \"50 m\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = {{ mated_pins_in_loop = 1, resistance = \"1 ohm\", aged = \"8.05 ohm ± 1.6 ohm\" }}\n\n[module.mid]\nposition = {{ depth = \"10 m\" }}\npasses = {{ power = \"always\", data = \"always\" }}\nthrough = {{ resistance = \"0 ohm\" }}\n\n[span.lower]\npart = \"part.cable\"\nfrom = \"module.mid\"\nto = \"module.far\"\n\n[module.far]\n"
                    ),
                ),
            ],
        );
        let text = text.replacen(
            "from = \"module.base\"\nto = \"module.far\"",
            "from = \"module.base\"\nto = \"module.mid\"",
            1,
        );
        let found = drawn(&text, &ask(DRAWS));
        let [low, _, _, _, high] = share(&found, "voltage")
            .margins
            .as_ref()
            .unwrap()
            .at_5_25_50_75_95;
        (high - low, found.inputs.len())
    };
    // A deviation of 0.8 ohm each at 0.5 A is 0.4 V; from 5 % to 95 % are 2 times 1.6449 deviations.
    let each_v = 2.0 * 1.6448536269514722 * 0.4;
    let (apart_v, inputs) = width_v("");
    assert_eq!(inputs, 2);
    close(apart_v, 2.0_f64.sqrt() * each_v, 0.1);
    let (batch_v, inputs) = width_v("shared = \"batch\"\n");
    assert_eq!(inputs, 1);
    close(batch_v, 2.0 * each_v, 0.05);
}

/// A half width as large as the value: two standard deviations below it is nothing, and 2.275 % of the draws (SciPy 1.17.1,
/// `norm.cdf(-2)` = 0.022750131948179195) lie below. In strata that is one draw more or less.
#[test]
fn val_draws_that_make_no_plan_are_counted_and_met_nowhere() {
    let found = drawn(&linear("48 V", "16.1 ohm ± 16.1 ohm", "20 V"), &ask(DRAWS));
    let none = found.no_line.as_ref().unwrap();
    close(none.draws as f64, 0.022750131948179195 * DRAWS as f64, 1.0);
    assert_eq!(
        none.why,
        "span.cable.contacts.aged is drawn where it may not be: here it is zero or more"
    );
    for c in found.requirements.iter().chain(&found.standing) {
        let of = share(&found, &c.id);
        assert!(of.unknown >= none.draws, "{}", c.id);
        assert_eq!(of.met + of.broken + of.unknown, DRAWS);
        let limits = |met: usize| chance::clopper_pearson(met as u64, DRAWS as u64, 0.95).unwrap();
        assert_eq!(of.share_low, limits(of.met).0);
        assert_eq!(of.share_high, limits(of.met + of.unknown).1);
    }
}

#[test]
fn verif_threads_and_a_second_run_change_nothing_and_a_seed_does() {
    let text = linear("48 V ± 1.2 V", "16.1 ohm ± 3.2 ohm", "36.7 V");
    let one = |seed, threads| {
        drawn(
            &text,
            &CertaintyAsk {
                seed,
                threads,
                ..ask(200)
            },
        )
    };
    assert_eq!(one(1, 1), one(1, 4));
    assert_eq!(one(1, 3), one(1, 3));
    assert_ne!(
        share(&one(1, 1), "voltage").margins,
        share(&one(2, 1), "voltage").margins
    );
}

/// A value that gets a spread moves no draw of another: each has a stream of its own.
#[test]
fn verif_a_new_spread_moves_no_other() {
    let margins = |supply_ohm: &str| {
        let text = with(
            &linear("48 V ± 1.2 V", "16.1 ohm", "36.7 V"),
            &[("through = { resistance = \"0 ohm\" }\nhousing", supply_ohm)],
        );
        let found = drawn(&text, &ask(100));
        (
            found.inputs.len(),
            share(&found, "voltage").margins.clone().unwrap(),
        )
    };
    // The far module passes no power on, so what it puts in the way counts nowhere.
    let (before, plain) = margins("through = { resistance = \"0 ohm\" }\nhousing");
    let (after, more) = margins("through = { resistance = \"1 ohm ± 0.5 ohm\" }\nhousing");
    assert_eq!((before, after), (2, 3));
    assert_eq!(plain.at_5_25_50_75_95, more.at_5_25_50_75_95);
}

const SUN: (&str, &str) = (
    "kind = \"bench\"",
    "kind = \"solar-battery\"\npanels = { peak_power_each = \"60 W\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }\nbattery = { chemistry = \"lifepo4\", capacity = \"240 Ah\", voltage = \"12.8 V\" }",
);
const CLEARNESS: (&str, &str) = (
    "shipping = 0.2",
    "shipping = 0.2\nclearness = [0.34, 0.38, 0.42, 0.45, 0.47, 0.46, 0.43, 0.42, 0.41, 0.37, 0.33, 0.31]",
);
const CHARGE: (&str, &str) = (
    "[requirement.voltage]\n",
    "[requirement.charge]\nthat = \"lowest-charge\"\nat_least = \"93 %\"\nshare = \"90 %\"\nconfidence = \"95 %\"\n\n[requirement.voltage]\n",
);

/// Without a spread the draws differ by their weather alone: those of draw i are the years 3 i, 3 i + 1 and 3 i + 2 of the seed.
#[test]
fn verif_each_draw_has_its_own_few_weather_years() {
    const FEW: usize = 6;
    let text = changed(&[
        SUN,
        CLEARNESS,
        CHARGE,
        (
            "[detector.call]\n",
            "[detector.call]\nexpects = \"60 per d\"\n",
        ),
    ]);
    let found = drawn(&text, &ask(FEW));
    assert!(found.inputs.is_empty());
    assert_eq!(found.years_each, Some(3));
    let charge = share(&found, "charge");

    let line = read(&text).line.unwrap();
    let input = energy(&line, SupplyIx(0)).unwrap();
    let mut lowest = Vec::new();
    run_years(&line, &input, 1, 3 * FEW as u64, &mut |_, accounts, _| {
        let charges = accounts.iter().map(|a| a.lowest_charge);
        lowest.push(100.0 * charges.fold(f64::INFINITY, f64::min));
        true
    })
    .unwrap();
    let years = charge.years.unwrap();
    assert_eq!(years.of, 3 * FEW as u64);
    assert_eq!(
        years.held as usize,
        lowest.iter().filter(|c| **c >= 93.0).count()
    );
    let worst: Vec<f64> = lowest
        .chunks(3)
        .map(|own| own.iter().copied().fold(f64::INFINITY, f64::min))
        .collect();
    let met = worst.iter().filter(|c| **c >= 93.0).count();
    assert!(met > 0 && met < FEW, "a check that sees both: {worst:?}");
    assert_eq!(charge.met, met);
    let (least, most) = charge.margins.as_ref().unwrap().lowest_highest;
    close(
        least,
        worst.iter().copied().fold(f64::INFINITY, f64::min) - 93.0,
        1e-12,
    );
    close(
        most,
        worst.iter().copied().fold(f64::NEG_INFINITY, f64::max) - 93.0,
        1e-12,
    );
}

/// Asks a share of years of the charge and of the hours off.
fn shares_of_years(share: &str, confidence: &str) -> String {
    format!(
        "[requirement.charge]\nthat = \"lowest-charge\"\nat_least = \"30 %\"\nshare = \"{share}\"\nconfidence = \"{confidence}\"\n\n[requirement.winter]\nthat = \"outage-hours\"\nat_most = \"0 h\"\nshare = \"{share}\"\nconfidence = \"{confidence}\"\n\n[requirement.voltage]\n"
    )
}

/// The few years of a draw answer no share of years that the plan's own years do not answer.
#[test]
fn verif_a_claim_on_years_that_is_unknown_as_written_stays_so() {
    let unknown = |found: &Certainty, reason: &str| {
        for id in ["charge", "winter"] {
            let of = certain(found, id);
            assert_eq!(of.nominal, Word::Unknown, "{id}");
            match &of.sureness {
                Sureness::AsWritten { why } => assert!(why.contains(reason), "{why}"),
                Sureness::Drawn(drawn) => panic!("{id} is drawn: {drawn:?}"),
            }
        }
        assert_eq!(found.years_each, None);
    };
    for (share, confidence, reason) in [
        ("100 %", "95 %", "no number of years shows"),
        ("99.9 %", "99 %", "are drawn at most"),
    ] {
        let asked = shares_of_years(share, confidence);
        let text = changed(&[SUN, CLEARNESS, ("[requirement.voltage]\n", &asked)]);
        unknown(&drawn(&text, &ask(4)), reason);
    }
    let asked = shares_of_years("90 %", "95 %");
    let bright = plain_years(&[2021, 2022, 2023], 900.0);
    let reading = measured(&[("[requirement.voltage]\n", &asked)], &bright);
    unknown(&of(&reading, &ask(4)), "neither shows nor refutes");
}

/// Five years of which one is dark: each counts once, however many draws have it and however many years a draw asks for.
#[test]
fn verif_a_measured_year_counts_once() {
    let mut weather = plain_years(&[2019, 2020, 2021, 2022], 900.0);
    let dark = plain_years(&[2023], 0.0);
    weather += dark.split_once('\n').unwrap().1;
    let asked = shares_of_years("30 %", "50 %");
    let reading = measured(&[("[requirement.voltage]\n", &asked)], &weather);
    for years in [3, 7] {
        let found = of(&reading, &CertaintyAsk { years, ..ask(6) });
        for id in ["charge", "winter"] {
            let of = share(&found, id);
            let held = of.years.unwrap();
            assert!(held.measured);
            assert_eq!((held.held, held.of), (4, 5), "{id}, {years} years each");
            // Draws 1, 3 and 4 of six have the fifth year among their three; all have it among five.
            assert_eq!(of.broken, if years == 3 { 3 } else { 6 });
        }
    }
}

const EXPECTED: (&str, &str) = (
    "[detector.call]\n",
    "[detector.call]\nexpects = \"60 per d\"\n",
);

/// A second battery, on an island to which no conductor leads, whose panels never see enough.
const DARK: &str = "[supply.dark]\nat = \"module.island\"\nkind = \"solar-battery\"\noutput = { voltage = \"48 V\", resistance = \"0 ohm\", current_limit = \"5 A\" }\npanels = { peak_power_each = \"0.1 W\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }\nbattery = { chemistry = \"lifepo4\", capacity = \"10 Ah\", voltage = \"12.8 V\" }\n\n[module.island]\nposition = { depth = \"0 m\" }\ninput = { minimum = \"20 V\", maximum = \"56 V\" }\nloads = { working = \"2 W\" }\nhousing = { rated_depth = \"10 m\" }\nboot = { time = \"2 s\", power = \"3 W\" }\npasses = { power = \"never\", data = \"never\" }\nthrough = { resistance = \"0 ohm\" }\n\n[span.tie]\nfrom = \"module.base\"\nto = \"module.island\"\nlength = \"10 m\"\nlink = \"10BASE-T1L\"\n\n[module.ear]\n";

/// No year holds for both.
#[test]
fn verif_a_year_holds_that_holds_for_every_battery() {
    let held = |island: (&str, &str)| {
        let text = changed(&[SUN, CLEARNESS, CHARGE, EXPECTED, island]);
        let found = drawn(&text, &ask(6));
        let charge = share(&found, "charge");
        assert_eq!(charge.unknown, 0, "{charge:?}");
        let years = charge.years.unwrap();
        (years.held, years.of, charge.met)
    };
    let (one, of, _) = held(("[module.ear]\n", "[module.ear]\n"));
    assert!(one > 0 && of == 18, "{one} of {of}");
    assert_eq!(held(("[module.ear]\n", DARK)), (0, 18, 0));
}

/// A claim on one of two batteries is drawn as if the other were not there.
#[test]
fn verif_a_claim_on_one_of_several_batteries_is_drawn() {
    let of = |claim: (&str, &str), island: (&str, &str)| {
        let text = changed(&[SUN, CLEARNESS, CHARGE, claim, EXPECTED, island]);
        share(&drawn(&text, &ask(6)), "charge").clone()
    };
    let named = (
        "that = \"lowest-charge\"",
        "that = \"lowest-charge\"\nof = \"supply.bench\"",
    );
    let alone = of(named, ("[module.ear]\n", "[module.ear]\n"));
    let beside = of(named, ("[module.ear]\n", DARK));
    assert_eq!(beside.unknown, 0, "{beside:?}");
    assert!(beside.met > 0, "{beside:?}");
    assert_eq!((alone.met, alone.years), (beside.met, beside.years));
    let dark = (
        "that = \"lowest-charge\"",
        "that = \"lowest-charge\"\nof = \"supply.dark\"",
    );
    let dark = of(dark, ("[module.ear]\n", DARK));
    assert_eq!((dark.met, dark.broken), (0, 6));
}

/// Of two batteries one is of primary cells, whose years no hourly year tells: in no draw is the claim on both met, and it is broken where the
/// other's years break it.
#[test]
fn verif_a_claim_on_several_batteries_is_drawn_where_one_is_unknown() {
    let of = |least: &str| {
        let cells = DARK.replace("\"solar-battery\"", "\"primary-cells\"").replace(
            "panels = { peak_power_each = \"0.1 W\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }\nbattery = { chemistry = \"lifepo4\"",
            "battery = { chemistry = \"alkaline\"",
        );
        assert!(!cells.contains("panels"));
        let least = format!("at_least = \"{least}\"\nshare = \"90 %\"");
        let text = changed(&[
            SUN,
            CLEARNESS,
            CHARGE,
            EXPECTED,
            ("at_least = \"93 %\"\nshare = \"90 %\"", &least),
            ("[module.ear]\n", &cells),
        ]);
        share(&drawn(&text, &ask(6)), "charge").clone()
    };
    let held = of("1 %");
    assert_eq!((held.met, held.broken, held.unknown), (0, 0, 6));
    assert!(held.first_unknown.unwrap().1.starts_with("supply.dark"));
    let broken = of("100 %");
    assert_eq!((broken.met, broken.broken, broken.unknown), (0, 6, 0));
}

#[test]
fn verif_what_rests_on_evidence_stays_as_it_is_written() {
    let found = drawn(&changed(&[]), &ask(2));
    let night = certain(&found, "night");
    assert_eq!(night.nominal, Word::Unknown);
    assert!(matches!(night.sureness, Sureness::AsWritten { .. }));
}

#[test]
fn verif_what_cannot_be_drawn_is_refused() {
    let refused = |text: &str, ask: CertaintyAsk| {
        let reading = read(text);
        let checked = check(&reading, &Shelf::default());
        certainty(&reading, &Shelf::default(), &checked, &ask, &|_| true).unwrap_err()
    };
    assert_eq!(refused(TWO, ask(1)), CertaintyError::Draws { draws: 1 });
    let many = ask(100_001);
    assert_eq!(refused(TWO, many), CertaintyError::Draws { draws: 100_001 });
    let none = CertaintyAsk {
        years: 0,
        ..ask(10)
    };
    assert_eq!(refused(TWO, none), CertaintyError::Years { years: 0 });
    let mistaken = TWO.replace("\"48 V\"", "\"48\"");
    assert_eq!(refused(&mistaken, ask(10)), CertaintyError::Mistakes);
}

#[test]
fn verif_a_watch_that_says_stop_stops_it() {
    let reading = read(TWO);
    let checked = check(&reading, &Shelf::default());
    let found = certainty(&reading, &Shelf::default(), &checked, &ask(50), &|share| {
        share < 0.1
    });
    assert_eq!(found, Ok(None));
}
