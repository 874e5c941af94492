//! How surely requirements are met: closed forms of normal laws through a linear model, what is unknown, years, threads.

use assess::input::energy;
use assess::{
    Certain, Certainty, CertaintyAsk, CertaintyError, DrawnShare, Shelf, Sureness, Word, certainty,
    check, run_years,
};
use plan::SupplyIx;

use crate::support::{changed, close, read};

const TWO: &str = include_str!("two.toml");
const DRAWS: usize = 2000;

fn ask(draws: usize) -> CertaintyAsk {
    CertaintyAsk {
        draws,
        seed: 1,
        years: 3,
        threads: 2,
    }
}

fn with(text: &str, changes: &[(&str, &str)]) -> String {
    let mut text = text.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "`{from}` is not in the plan");
        text = text.replace(from, to);
    }
    text
}

#[track_caller]
fn drawn(text: &str, ask: &CertaintyAsk) -> Certainty {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let checked = check(&reading, &Shelf::default());
    certainty(&reading, &Shelf::default(), &checked, ask, &|_| true)
        .unwrap()
        .unwrap()
}

fn certain<'c>(found: &'c Certainty, id: &str) -> &'c Certain {
    let all = found.requirements.iter().chain(&found.standing);
    all.clone().find(|c| c.id == id).unwrap()
}

fn share<'c>(found: &'c Certainty, id: &str) -> &'c DrawnShare {
    match &certain(found, id).sureness {
        Sureness::Drawn(drawn) => drawn,
        Sureness::AsWritten { why } => panic!("{id} is not drawn: {why}"),
    }
}

/// A constant current of 0.5 A through 3.9 ohm of cable and the contacts.
fn linear(supply: &str, aged: &str, minimum: &str) -> String {
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
    let [low, middle, high] = margins.at_5_50_95;
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
        let [low, _, high] = share(&found, "voltage")
            .margins
            .as_ref()
            .unwrap()
            .at_5_50_95;
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
    assert_eq!(plain.at_5_50_95, more.at_5_50_95);
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
