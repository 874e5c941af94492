//! Spares, waits for weather, and the charge with which a battery goes overboard.

use assess::{Shelf, Word, check, spares, weather_waits};

use crate::support::{changed, close, good, known, read, requirement, why_unknown};

const SEAS: [(&str, [f64; 12]); 2] = [
    (
        "ocean",
        [3.4, 3.2, 2.7, 2.2, 1.7, 1.5, 1.4, 1.5, 1.9, 2.5, 3.0, 3.3],
    ),
    (
        "lee",
        [1.2, 1.1, 1.0, 0.8, 0.6, 0.5, 0.5, 0.5, 0.7, 0.9, 1.1, 1.2],
    ),
];
const SITE: &str = "[site]\n";

fn heights(sea: &str) -> String {
    let (_, means) = SEAS.iter().find(|(name, _)| *name == sea).unwrap();
    let means: Vec<String> = means.iter().map(|m| format!("\"{m} m\"")).collect();
    format!("wave_height = [{}]", means.join(", "))
}

fn asking(that: &str) -> String {
    format!("[requirement.asked]\n{that}\n\n[requirement.voltage]\n")
}

const ASKED: &str = "[requirement.voltage]\n";

/// The wait of each case of `scipy-calms.csv`: Weibull law, matrices of the months, and waits drawn hour by hour.
#[test]
fn val_waits_for_weather_are_those_of_scipy() {
    for row in truth::rows("chance/scipy-calms.csv") {
        let [
            sea,
            shape,
            memory,
            wave,
            lasts,
            ready,
            slip,
            share,
            chance,
            drawn,
            p50,
            p90,
        ] = row.try_into().unwrap();
        let number = truth::number;
        let site = format!(
            "[site]\n{}\nwaves = {{ shape = {shape}, memory = \"{memory} h\" }}\n",
            heights(&sea)
        );
        let start = format!(
            "start = {ready}\nstart_slip = \"{slip} h\"\ndeploying = {{ wave = \"{wave} m\", lasts = \"{lasts} h\" }}"
        );
        let reading = good(&[("start = 2027-01-01", &start), (SITE, &site)]);
        let line = reading.line.as_ref().unwrap();
        let waits = weather_waits(line);
        assert!(waits.recovering.is_none());
        let wait = waits.deploying.unwrap().unwrap();
        let month: usize = ready[5..7].parse().unwrap();
        close(wait.months[month - 1].calm_share, number(&share), 1e-10);
        let found = &wait.ready[0];
        close(found.in_slip.unwrap(), number(&chance), 1e-10);
        assert!((found.in_slip.unwrap() - number(&drawn)).abs() < 0.012);
        for (which, hours) in [p50, p90].iter().enumerate() {
            let days = found.within_d[which];
            match number(hours) {
                more if more > 2880.0 => assert_eq!(days, None),
                hours => close(24.0 * days.unwrap(), hours, 1e-9),
            }
        }
    }
}

/// A verdict on windows is that of the worse day of readiness; what is not written is unknown, with its key.
#[test]
fn verif_windows_are_judged_at_the_worse_corner_and_tell_what_is_missing() {
    let site = format!(
        "[site]\n{}\nwaves = {{ shape = 1.7, memory = \"30 h\" }}\n",
        heights("ocean")
    );
    let work = "deploying = { wave = \"2 m\", lasts = \"6 h\" }\nrecovering = { wave = \"1.5 m\", lasts = \"12 h\" }";
    let dates =
        format!("duration = \"90 d\"\nstart_slip = \"40 d\"\nrecovery_slip = \"10 d\"\n{work}");
    let asked = asking("that = \"weather-window\"\nat_least = \"50 %\"");
    let changes = [
        ("start = 2027-01-01", "start = 2027-08-01"),
        ("duration = \"1 d\"", dates.as_str()),
        (SITE, site.as_str()),
        (ASKED, asked.as_str()),
    ];
    let reading = good(&changes);
    let judged = check(&reading, &Shelf::default());
    let line = reading.line.as_ref().unwrap();
    let recovering = weather_waits(line).recovering.unwrap().unwrap();
    // Ready at the end of October, or 40 d later in December, when the sea is higher.
    assert_eq!(recovering.ready.len(), 2);
    let chances: Vec<f64> = recovering
        .ready
        .iter()
        .map(|r| r.in_slip.unwrap())
        .collect();
    assert!(chances[1] < chances[0], "{chances:?}");
    let told = requirement(&judged, "asked");
    let worst = told
        .verdicts
        .iter()
        .find(|v| v.subject() == "deployment.recovering")
        .unwrap();
    let assess::Verdict::Known(worst) = worst else {
        panic!("{worst:?}");
    };
    close(worst.value.value, 100.0 * chances[1], 1e-12);
    assert!(worst.why.contains("40 d late"), "{}", worst.why);

    for (from, to, missing) in [
        (site.as_str(), SITE, "site.wave_height"),
        ("recovery_slip = \"10 d\"\n", "", "recovery_slip"),
        (
            "recovering = { wave = \"1.5 m\", lasts = \"12 h\" }",
            "",
            "lasts = ",
        ),
        (
            "\nwaves = { shape = 1.7, memory = \"30 h\" }",
            "",
            "site.waves",
        ),
    ] {
        let text = changed(&changes).replace(from, to);
        let judged = check(&read(&text), &Shelf::default());
        let told = requirement(&judged, "asked");
        assert_eq!(told.word(), Word::Unknown, "{missing}");
        let all = format!("{:?}", told.verdicts);
        assert!(all.contains(missing), "{missing}: {all}");
    }
}

/// Two modules and a span of their own, one of three dead: by hand 2/3 each without a spare; a spare of the module `ear` fills it with 1 - (1/3)^2.
#[test]
fn val_spares_fill_places_by_the_binomial_law() {
    let dead = "start = 2027-01-01\ndead_on_deck = \"33.33333333333333 %\"";
    let reading = good(&[("start = 2027-01-01", dead)]);
    let found = spares(reading.line.as_ref().unwrap());
    let works: f64 = 2.0 / 3.0;
    close(
        found.all_filled.unwrap(),
        works.powi(i32::try_from(found.rows.len()).unwrap()),
        1e-12,
    );
    let spare = "[spare.ear]\nof = \"module.ear\"\ncarried = 1\n\n[requirement.voltage]\n";
    let asked = asking("that = \"spares\"\nat_least = \"20 %\"").replace(ASKED, spare);
    let reading = good(&[("start = 2027-01-01", dead), (ASKED, &asked)]);
    let found = spares(reading.line.as_ref().unwrap());
    let row = found.rows.iter().find(|r| r.of == "module.ear").unwrap();
    close(row.filled.unwrap(), 1.0 - 1.0 / 9.0, 1e-12);
    // 1 - (1/3)^(1 + s) reaches 95 % with two and 99 % with four.
    assert_eq!(row.needed, Some([2, 4]));
    let judged = check(&reading, &Shelf::default());
    close(
        known(&judged, "asked").value.value,
        100.0 * found.all_filled.unwrap(),
        1e-12,
    );
}

/// Modules of one part share their spares; the least numbers are those of `scipy.stats.binom`.
#[test]
fn val_things_of_one_part_share_their_spares() {
    let part = "[part.spool]\nis = \"span\"\nconductor = \"1.0 mm2 class 5\"\n\n";
    let text = changed(&[(
        "start = 2027-01-01",
        "start = 2027-01-01\ndead_on_deck = \"10 %\"",
    )]);
    let mut all = text.replacen("[span.", &format!("{part}[span."), 1);
    let count = all.matches("[span.").count();
    // Each span says what it has; the part fills nothing, but names what is alike.
    all = all
        .split("[span.")
        .enumerate()
        .map(|(k, piece)| match k {
            0 => piece.to_owned(),
            _ => format!(
                "[span.{}",
                piece.replacen("]\n", "]\npart = \"part.spool\"\n", 1)
            ),
        })
        .collect();
    all.push_str("\n[spare.spool]\nof = \"part.spool\"\ncarried = 2\n");
    let reading = read(&all);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let found = spares(reading.line.as_ref().unwrap());
    let row = found.rows.iter().find(|r| r.of == "part.spool").unwrap();
    assert_eq!((row.places, row.carried), (count as u64, 2));
    let works = vec![0.9; count + 2];
    close(
        row.filled.unwrap(),
        chance::at_least(count, &works).unwrap(),
        1e-14,
    );
}

#[test]
fn verif_a_part_whose_chance_is_not_written_leaves_the_spares_unknown() {
    let asked = asking("that = \"spares\"\nat_least = \"90 %\"");
    let judged = check(&good(&[(ASKED, &asked)]), &Shelf::default());
    assert!(why_unknown(&judged, "asked").contains("dead_on_deck"));
}

/// A mistake in a requirement that has nothing to do with them leaves spares judged.
#[test]
fn verif_a_mistake_elsewhere_leaves_spares_judged() {
    let dead = "start = 2027-01-01\ndead_on_deck = \"10 %\"";
    let spare = "[spare.ear]\nof = \"module.ear\"\ncarried = 1\n\n[requirement.voltage]\n";
    let asked = asking("that = \"spares\"\nat_least = \"20 %\"").replace(ASKED, spare);
    let text = changed(&[("start = 2027-01-01", dead), (ASKED, &asked)]);
    let right = known(&check(&read(&text), &Shelf::default()), "asked").clone();
    let wrong =
        format!("{text}\n[requirement.wrong]\nthat = \"anchor-load\"\nat_least = \"9 N\"\n");
    let reading = read(&wrong);
    assert!(reading.has_errors());
    let judged = check(&reading, &Shelf::default());
    assert_eq!(known(&judged, "asked").value, right.value);
}
