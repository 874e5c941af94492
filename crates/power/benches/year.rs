//! Time of one generated year: days of clearness, panels on a yawing buoy, battery, account; beside the same years with
//! NumPy, many side by side.
//!
//! For people who change the hourly loop: bound 40 ns an hour, on one thread. The peer is `bench/power_year.py`, run with
//! the interpreter named by the environment variable PYTHON (default python3). Equal results come first: the peer
//! works out our days, and hours off, energy not served and lowest charge must be ours, in years with outage and in
//! years without. Then ours and theirs take turns.
//! Prints one table. Exit status 1 if results differ, the peer does not run, or the bound is missed.
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a bench tells its figures"
)]

use std::collections::BTreeMap;
use std::io::Write;
use std::process::{Command, ExitCode, Stdio};
use std::time::Instant;

use power::battery::{Battery, Chemistry};
use power::sun::{
    Array, DAYS, HOURS, Horizon, Iam, Mounting, Observer, PlaneYear, SOLAR_CONSTANT_2011_W_M2,
    Site, Sky, SunYear,
};
use power::weather::{Bendt, ClearnessModel, ClearnessYears, DayShapes, MonthMean, PERSISTENCE};
use power::year::{
    Climate, Extra, GeneratedYields, Load, PanelModel, PowerSystem, Scratch, Start, StateShare,
    YearAccount, YearPlan, first_hour_of_month,
};
use serde_json::{Value, json};

const ROUNDS: usize = 5;
const YEARS: u64 = 300;
const COMPARED: u64 = 40;
const BATCHES: [u64; 2] = [256, 2048];
const BOUND_S: f64 = 40e-9;
/// Energy over what was asked for, and state of charge.
const SAME: f64 = 1e-9;

/// Twelve invented months of a northern sea.
const CLEARNESS: [f64; 12] = [
    0.33, 0.36, 0.40, 0.43, 0.44, 0.43, 0.42, 0.41, 0.40, 0.37, 0.34, 0.31,
];
const AIR_DEGC: [f64; 12] = [
    0.5, -1.0, 1.5, 3.0, 5.5, 8.0, 11.0, 12.0, 9.0, 5.5, 2.5, 1.0,
];
const WIND_M_S: [f64; 12] = [8.0, 7.5, 7.0, 6.5, 5.5, 5.0, 5.0, 5.0, 6.0, 7.0, 7.5, 8.0];
const LIGHT_LEFT: [f64; 12] = [
    0.98, 0.98, 0.96, 0.93, 0.90, 0.88, 0.88, 0.88, 0.92, 0.95, 0.97, 0.98,
];
const ALBEDO: f64 = 0.06;

fn main() -> ExitCode {
    match run() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(why) => {
            eprintln!("year bench: {why}");
            ExitCode::FAILURE
        }
    }
}

/// What was timed; median, low, high.
type Row = (&'static str, [f64; 3]);

/// All that a year is made from.
struct Bench {
    sun: SunYear,
    clearness: ClearnessYears,
    yields: GeneratedYields,
    system: PowerSystem,
    panels: PanelModel,
    load: Load,
    plan: YearPlan,
}

fn run() -> Result<bool, Box<dyn std::error::Error>> {
    let bench = Bench::new()?;
    let question = bench.question()?;
    let accounts = bench.accounts()?;
    let mut seconds: BTreeMap<String, Vec<[f64; 3]>> = BTreeMap::new();
    let (mut same, mut farthest) = (true, 0.0_f64);
    for _ in 0..ROUNDS {
        for (name, taken) in bench.time()? {
            seconds.entry(name.to_owned()).or_default().push(taken);
        }
        let theirs = peer(&question)?;
        for (year, ours) in accounts.iter().enumerate() {
            same &= theirs["hours_off"][year].as_u64() == Some(u64::from(ours.hours_off));
            let unserved = (ours.unserved_wh - number(&theirs["unserved_wh"][year])?).abs();
            let charge = (ours.lowest_charge - number(&theirs["lowest_charge"][year])?).abs();
            farthest = farthest.max(charge).max(unserved / ours.asked_wh);
        }
        for size in BATCHES {
            let taken = number(&theirs["seconds_an_hour"][size.to_string()])?;
            let name = format!("theirs, {size} years at once (lowest to highest)");
            seconds.entry(name).or_default().push([taken; 3]);
        }
    }
    let off = accounts.iter().filter(|year| year.hours_off > 0).count();
    println!(
        "a year of {HOURS} h, one thread, time an hour; {COMPARED} years ({off} with outage) the same: {}, largest \
         difference {farthest:.1e}",
        if same { "yes" } else { "no" }
    );
    let whole_s = middle(seconds.get(WHOLE).ok_or("no row of ours")?)[0];
    println!(
        "{:<50} {:>9} {:>20} {:>7}",
        "", "median", "10 % to 90 %", "ratio"
    );
    for (name, rounds) in &seconds {
        let [median, low, high] = if name.starts_with("theirs") {
            lowest_to_highest(rounds)
        } else {
            middle(rounds)
        };
        let range = format!("{:.1} to {:.1} ns", low * 1e9, high * 1e9);
        println!(
            "{name:<50} {:>6.1} ns {range:>20} {:>7.1}",
            median * 1e9,
            median / whole_s
        );
    }
    let met = whole_s <= BOUND_S;
    println!(
        "bound {:.0} ns: {}",
        BOUND_S * 1e9,
        if met { "met" } else { "missed" }
    );
    let both = (1..accounts.len()).contains(&off);
    Ok(same && farthest <= SAME && met && both)
}

const WHOLE: &str = "ours, the whole";

impl Bench {
    fn new() -> Result<Self, Box<dyn std::error::Error>> {
        let sun = SunYear::new(&Site {
            observer: Observer {
                latitude_deg: 57.3,
                longitude_deg: -6.0,
                elevation_m: 0.0,
                pressure_pa: 101_325.0,
                temperature_degc: 8.0,
            },
            year: 2027,
            utc_offset_h: 0.0,
            delta_t_s: 70.0,
            solar_constant_w_m2: SOLAR_CONSTANT_2011_W_M2,
            linke_turbidity: [3.0; 12],
            horizon: Horizon::open(),
        })?;
        let plane = PlaneYear::new(
            &sun,
            &Array {
                mounting: Mounting::Yawing { tilt_deg: 60.0 },
                beam_iam: Iam::None,
                sky: Sky::Isotropic,
                albedo: ALBEDO,
            },
        )?;
        let panels = PanelModel {
            temperature_coefficient_per_k: -0.004,
            loss: 0.15,
            light_left: LIGHT_LEFT,
        };
        let climate = Climate {
            air_temperature_degc: AIR_DEGC,
            wind_speed_m_s: WIND_M_S,
        };
        let model = ClearnessModel::Bendt {
            persistence: PERSISTENCE,
        };
        let system = PowerSystem {
            peak_power_w: 550.0,
            standby_w: 0.3,
            battery: Battery {
                capacity_wh: 5000.0,
                age_years: 1.0,
                chemistry: Chemistry::lithium_iron_phosphate(),
            },
            battery_temperature_degc: AIR_DEGC,
            start: Start::At {
                hour: first_hour_of_month(6)?,
                charge: 1.0,
            },
        };
        let load = Load {
            states: vec![
                StateShare {
                    power_w: 5.0,
                    share: 0.9,
                },
                StateShare {
                    power_w: 14.0,
                    share: 0.1,
                },
            ],
            extra: Extra::EveryHour(0.1),
        };
        Ok(Self {
            clearness: ClearnessYears::new(model, &CLEARNESS, MonthMean::OverYears, &sun)?,
            yields: GeneratedYields::new(&sun, &plane, &panels, &climate)?,
            plan: YearPlan::new(&system, &load)?,
            sun,
            system,
            panels,
            load,
        })
    }

    fn accounts(&self) -> Result<Vec<YearAccount>, Box<dyn std::error::Error>> {
        let (mut days, mut hours, mut scratch) = ([0.0; DAYS], Vec::new(), Scratch::default());
        let mut accounts = Vec::new();
        for year in 0..COMPARED {
            self.clearness.fill(1, year, &mut days);
            self.yields.fill(&days, &mut hours)?;
            accounts.push(self.plan.run(&hours, &mut scratch)?);
        }
        Ok(accounts)
    }

    /// Time an hour of the parts and the whole: median, 10 % and 90 % quantile over the years.
    fn time(&self) -> Result<Vec<Row>, Box<dyn std::error::Error>> {
        let (mut days, mut hours, mut scratch) = ([0.0; DAYS], Vec::new(), Scratch::default());
        let mut parts = [const { Vec::new() }; 4];
        for year in 0..YEARS + YEARS / 10 {
            let begin = Instant::now();
            self.clearness.fill(1, year, &mut days);
            let drawn = Instant::now();
            self.yields.fill(&days, &mut hours)?;
            let filled = Instant::now();
            let account = self.plan.run(&hours, &mut scratch)?;
            let end = Instant::now();
            std::hint::black_box(account);
            if year >= YEARS / 10 {
                for (part, taken) in
                    parts
                        .iter_mut()
                        .zip([drawn - begin, filled - drawn, end - filled, end - begin])
                {
                    part.push(taken.as_secs_f64() / HOURS as f64);
                }
            }
        }
        let [weather, panels, battery, whole] = parts.map(spread);
        Ok(vec![
            ("ours, days of clearness", weather),
            ("ours, panels", panels),
            ("ours, battery and account", battery),
            (WHOLE, whole),
        ])
    }

    /// What the peer needs to know.
    fn question(&self) -> Result<Value, Box<dyn std::error::Error>> {
        let shapes = DayShapes::new(&self.sun);
        let of_hours = |of: fn(&power::sun::SunHour) -> Value| -> Vec<Value> {
            self.sun.hours().iter().map(of).collect()
        };
        let months: Vec<Bendt> = CLEARNESS
            .iter()
            .map(|&monthly| Bendt::new(monthly))
            .collect::<Result<_, _>>()?;
        let mut years = Vec::new();
        let mut days = [0.0; DAYS];
        for year in 0..COMPARED {
            self.clearness.fill(1, year, &mut days);
            years.push(days.to_vec());
        }
        let battery = &self.system.battery;
        let chemistry = &battery.chemistry;
        let charging = chemistry.charging.ok_or("a battery that is charged")?;
        let cutoff = chemistry
            .cutoff
            .ok_or("a controller that takes the load off")?;
        let taper = charging.limit.ok_or("a charging power that falls")?;
        let capacity_wh = battery.aged_capacity_wh()?;
        let highest_wh = taper.highest_per_h * capacity_wh;
        let usable = AIR_DEGC
            .iter()
            .map(|&degc| chemistry.usable_share(degc))
            .collect::<Result<Vec<_>, _>>()?;
        let Start::At { hour: start, .. } = self.system.start else {
            return Err("a year with a start".into());
        };
        Ok(json!({
            "site": {
                "month_of_day": self.sun.days().iter().map(|day| day.month).collect::<Vec<_>>(),
                "sunset_deg": self.sun.days().iter().map(|day| day.sunset_hour_angle_deg).collect::<Vec<_>>(),
                "outside_wh_m2": self.sun.days().iter().map(|day| day.extraterrestrial_wh_m2).collect::<Vec<_>>(),
                "apparent_zenith_deg": of_hours(|hour| json!(hour.apparent_zenith_deg)),
                "hidden": of_hours(|hour| json!(hour.hidden)),
                "global_share": shapes.hours().iter().map(|hour| hour.global).collect::<Vec<_>>(),
                "diffuse_share": shapes.hours().iter().map(|hour| hour.diffuse).collect::<Vec<_>>(),
            },
            "gamma": months.iter().map(Bendt::gamma).collect::<Vec<_>>(),
            "highest": months.iter().map(Bendt::highest).collect::<Vec<_>>(),
            "persistence": PERSISTENCE,
            "clearness": years,
            "batches": BATCHES,
            "system": {
                "albedo": ALBEDO,
                "light_left": LIGHT_LEFT,
                "air_degc": AIR_DEGC,
                "wind_m_s": WIND_M_S,
                "loss": self.panels.loss,
                "coefficient": self.panels.temperature_coefficient_per_k,
                "peak_w": self.system.peak_power_w,
                "capacity_wh": capacity_wh,
                "load_wh": self.load.hourly_wh()?[0],
                "standby_wh": self.system.standby_w,
                "self_discharge": chemistry.self_discharge_per_month,
                "charge_efficiency": charging.efficiency,
                "discharge_efficiency": chemistry.discharge_efficiency,
                "disconnect_at": cutoff.disconnect_at,
                "reconnect_at": cutoff.reconnect_at,
                "highest_wh": highest_wh,
                "at_full_wh": taper.left * highest_wh,
                "slope": (1.0 - taper.left) * taper.highest_per_h / (1.0 - taper.from),
                "usable": usable,
                "chargeable": AIR_DEGC.map(|degc| degc >= charging.lowest_degc),
                "start": start,
            },
        }))
    }
}

fn number(value: &Value) -> Result<f64, String> {
    value
        .as_f64()
        .ok_or_else(|| format!("the peer printed {value} for a number"))
}

fn peer(question: &Value) -> Result<Value, Box<dyn std::error::Error>> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = format!("{}/../../bench/power_year.py", env!("CARGO_MANIFEST_DIR"));
    let mut child = Command::new(&python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()?;
    let mut input = child.stdin.take().ok_or("the peer has no input")?;
    input.write_all(&serde_json::to_vec(question)?)?;
    drop(input);
    let output = child.wait_with_output()?;
    if !output.status.success() {
        let why = String::from_utf8_lossy(&output.stderr).into_owned();
        return Err(format!("{python} failed: {why}").into());
    }
    Ok(serde_json::from_slice(&output.stdout)?)
}

/// Median, 10 % and 90 % quantile.
fn spread(mut seconds: Vec<f64>) -> [f64; 3] {
    seconds.sort_by(f64::total_cmp);
    let at = |share: usize| seconds[(seconds.len() - 1) * share / 100];
    [at(50), at(10), at(90)]
}

/// Median, lowest and highest of single values.
fn lowest_to_highest(rounds: &[[f64; 3]]) -> [f64; 3] {
    let mut sorted: Vec<f64> = rounds.iter().map(|round| round[0]).collect();
    sorted.sort_by(f64::total_cmp);
    [
        sorted[sorted.len() / 2],
        sorted[0],
        sorted[sorted.len() - 1],
    ]
}

/// The round with the median of the medians.
fn middle(rounds: &[[f64; 3]]) -> [f64; 3] {
    let mut sorted = rounds.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]));
    sorted[sorted.len() / 2]
}
