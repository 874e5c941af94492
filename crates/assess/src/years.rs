//! Years of panels, battery and load of a supply: run one by one, and kept for all requirements that ask for them.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::Arc;

use plan::{Line, SupplyIx, SupplyKind, That};
use power::year::{Claim, LowestCharges, Outages, Scratch, ShareOfYears, YearAccount, YearPlan};

use crate::check::Tier;
use crate::hours::HeardYears;
use crate::input::{EnergyInput, InputError, LightScratch, energy_of, year_error};
use crate::memo::{Canon, Canonical, Digest, Job, Memo};
use crate::month::UnderLoad;
use crate::mooring_verdicts::Hangs;

/// Confidence that counts where none is written.
pub(crate) const CONFIDENCE: f64 = 0.95;
/// Seed of the weather: the same plan has the same years.
pub const WEATHER_SEED: u64 = 1;
/// Years of a quick check: enough to tell a battery that is far too small, few enough not to be waited for.
pub(crate) const QUICK_YEARS: u64 = 30;
/// Most years that a check draws; about half a second.
pub(crate) const MOST_YEARS: u64 = 3000;

/// What gets each year of [`run_years`].
pub type EachYear<'a> = dyn FnMut(u64, &[YearAccount], &[f64]) -> bool + 'a;

/// The years of a supply, generated or measured.
///
/// `each` gets the number of the year, its account for each of the input's starts, the planned one first, and the usable state of
/// charge at the end of each hour of the planned one, 1 January first; it says whether to go on.
///
/// # Errors
/// [`InputError`] for what the energy year refuses, and for more years than were measured.
pub fn run_years(
    line: &Line,
    input: &EnergyInput,
    seed: u64,
    years: u64,
    each: &mut EachYear<'_>,
) -> Result<(), InputError> {
    let plans = input.plans(line)?;
    let what = format!("supply.{}", line.supplies[input.supply.0].id);
    let (mut light, mut scratch) = (LightScratch::default(), Scratch::default());
    let memo = Memo::with_room(0);
    for year in 0..years {
        let yields = input.light.year(seed, year, &memo, &mut light)?;
        // The planned start last, whose hours are then still there.
        let mut accounts = Vec::with_capacity(plans.len());
        for plan in plans.iter().rev() {
            let account = plan.run(yields, &mut scratch);
            accounts.push(account.map_err(|source| year_error(&what, source))?);
        }
        accounts.reverse();
        if !each(year, &accounts, scratch.charge()) {
            return Ok(());
        }
    }
    Ok(())
}

/// Of a year's accounts that of the worse start.
pub(crate) fn worse(accounts: &[YearAccount]) -> &YearAccount {
    accounts
        .iter()
        .max_by_key(|account| account.hours_off)
        .expect("a year has at least the planned start")
}

/// Lowest charge of a year's accounts.
pub(crate) fn lowest(accounts: &[YearAccount]) -> f64 {
    let charges = accounts.iter().map(|account| account.lowest_charge);
    charges.fold(f64::INFINITY, f64::min)
}

/// A year of a supply's battery.
pub(crate) struct BatteryYear<'a> {
    pub(crate) supply: &'a str,
    pub(crate) input: &'a EnergyInput,
    pub(crate) plans: &'a [YearPlan],
    /// What every year of this battery is made from ([`battery_from`]).
    pub(crate) made_from: Digest,
    pub(crate) seed: u64,
    pub(crate) year: u64,
    pub(crate) rooms: &'a RefCell<(LightScratch, Scratch)>,
}

/// What the years of a battery are made from.
pub(crate) fn battery_from(input: &EnergyInput, seed: u64) -> Digest {
    let mut made_from = Canon::new("years of a battery");
    seed.write(&mut made_from);
    input.light.made_from().write(&mut made_from);
    made_from.debug(&(&input.systems, &input.load));
    made_from.digest()
}

/// What came of it.
pub(crate) struct YearOff {
    /// The account of the worse start.
    account: YearAccount,
    /// The lowest charge of any start.
    lowest: f64,
    /// Each start, the planned one first.
    starts: Vec<StartOff>,
}

/// A year of one start.
pub(crate) struct StartOff {
    /// Hours off.
    pub(crate) hours_off: u32,
    lowest_charge: f64,
    /// Hours at which it goes off or on again, by turns, from 1 January; on before the first.
    turns: Vec<u16>,
    /// Hours of the year.
    hours: usize,
}

impl StartOff {
    fn new(account: &YearAccount, off: &[bool]) -> StartOff {
        let before = |hour: usize| hour > 0 && off[hour - 1];
        let turns = (0..off.len()).filter(|hour| off[*hour] != before(*hour));
        StartOff {
            hours_off: account.hours_off,
            lowest_charge: account.lowest_charge,
            turns: turns.map(|hour| hour as u16).collect(),
            hours: off.len(),
        }
    }

    /// Whether each hour is off, 1 January first.
    pub(crate) fn off(&self) -> Vec<bool> {
        let mut off = vec![false; self.hours];
        for pair in self.turns.chunks(2) {
            let end = pair.get(1).map_or(self.hours, |hour| usize::from(*hour));
            off[usize::from(pair[0])..end].fill(true);
        }
        off
    }
}

impl YearOff {
    /// Each start, the planned one first.
    pub(crate) fn starts(&self) -> &[StartOff] {
        &self.starts
    }
}

impl Canonical for BatteryYear<'_> {
    fn write(&self, to: &mut Canon) {
        self.supply.write(to);
        self.made_from.write(to);
        self.year.write(to);
    }
}

impl Job for BatteryYear<'_> {
    const METHOD: &'static str = "battery year/2";
    type Out = Result<YearOff, InputError>;

    fn run(&self, memo: &Memo) -> Self::Out {
        let (light, scratch) = &mut *self.rooms.borrow_mut();
        let yields = self.input.light.year(self.seed, self.year, memo, light)?;
        let mut starts = Vec::with_capacity(self.plans.len());
        let accounts = self.plans.iter().map(|plan| {
            let account = plan.run(yields, scratch);
            let account = account.map_err(|source| year_error(self.supply, source))?;
            starts.push(StartOff::new(&account, scratch.off()));
            Ok(account)
        });
        let accounts: Vec<YearAccount> = accounts.collect::<Result<_, InputError>>()?;
        Ok(YearOff {
            lowest: lowest(&accounts),
            account: worse(&accounts).clone(),
            starts,
        })
    }

    fn bytes(out: &Self::Out) -> usize {
        let week = |year: &YearOff| {
            size_of_val(year.account.worst_week.charge.as_slice())
                + size_of_val(year.starts.as_slice())
                + year
                    .starts
                    .iter()
                    .map(|s| size_of_val(s.turns.as_slice()))
                    .sum::<usize>()
        };
        out.as_ref().map_or(0, week)
    }
}

/// The years of one supply.
pub(crate) struct SupplyYears {
    pub(crate) input: EnergyInput,
    /// Number of each year.
    numbers: Vec<u64>,
    years: Vec<Arc<Result<YearOff, InputError>>>,
}

impl SupplyYears {
    /// How many years a claim takes: as many as it needs when none is bad, and all that were measured. A quick check may have fewer.
    pub(crate) fn count(&self, needed: u64) -> u64 {
        let needed = self.input.light.measured_years().unwrap_or(needed);
        needed.min(self.years.len() as u64)
    }

    /// Which of a draw's own years `held`, in their order.
    pub(crate) fn own_held(&self, held: Vec<bool>) -> OwnHeld {
        OwnHeld {
            measured: self.input.light.measured_years().is_some(),
            numbers: self.numbers.clone(),
            held,
        }
    }

    /// Number of each year.
    pub(crate) fn numbers(&self) -> &[u64] {
        &self.numbers
    }

    /// Hours off of each year, the worse of the starts.
    pub(crate) fn hours_off(&self) -> Vec<u32> {
        let all = self.first(self.years.len() as u64);
        all.map(|year| year.account.hours_off).collect()
    }

    /// Lowest usable charge of each year, 0 to 1, the lower of the starts.
    pub(crate) fn lowest_of_each(&self) -> Vec<f64> {
        let all = self.first(self.years.len() as u64);
        all.map(|year| year.lowest).collect()
    }

    /// The first of them, so many.
    fn first(&self, years: u64) -> impl Iterator<Item = &YearOff> {
        let first = self.years.iter().take(years as usize);
        first.filter_map(|year| year.as_ref().as_ref().ok())
    }

    /// In how many of so many years the planned start is worse than the last one, and in how many that is: by hours off, or by the lowest charge.
    pub(crate) fn worse_starts(&self, years: u64, by_charge: bool) -> (usize, usize) {
        let (mut planned, mut last) = (0, 0);
        for year in self.first(years) {
            let (Some(a), Some(b)) = (year.starts.first(), year.starts.last()) else {
                continue;
            };
            let order = match by_charge {
                true => b.lowest_charge.total_cmp(&a.lowest_charge),
                false => a.hours_off.cmp(&b.hours_off),
            };
            match order {
                std::cmp::Ordering::Greater => planned += 1,
                std::cmp::Ordering::Less => last += 1,
                std::cmp::Ordering::Equal => {}
            }
        }
        (planned, last)
    }

    /// Hours off of so many years.
    pub(crate) fn outages(&self, years: u64) -> Outages {
        let mut outages = Outages::new();
        for year in self.first(years) {
            outages.add(&year.account);
        }
        outages
    }

    /// Lowest charge of so many years.
    pub(crate) fn lowest_charges(&self, years: u64) -> LowestCharges {
        let mut lowest = LowestCharges::new();
        for year in self.first(years) {
            lowest
                .add(year.lowest)
                .expect("a usable state of charge lies between 0 and 1");
        }
        lowest
    }
}

/// The years that requirements of a plan ask for: each supply's are run once, as many as the hardest claim on it needs.
pub(crate) struct Years<'a> {
    line: &'a Line,
    /// Results of earlier checks.
    pub(crate) memo: &'a Memo,
    tier: Tier,
    run: BTreeMap<usize, Result<SupplyYears, String>>,
    /// Values that counted in them although the plan does not write them.
    pub(crate) assumed: Vec<String>,
    /// Shapes of the line in its design cases.
    pub(crate) hangs: Hangs<'a>,
    pub(crate) load: UnderLoad<'a>,
    /// Years of hearing, once a requirement has asked for them.
    heard: Option<Result<HeardYears, String>>,
    /// Where the line is one draw of a plan's: the years that are its own, which count instead of those that claims need.
    own: Option<OwnYears>,
    /// The only ones that count; all where there are none.
    pub(crate) few: Option<&'a FewYears>,
    /// Which of its own years held what the last requirement asks of every supply; since they were taken.
    held: Option<OwnHeld>,
}

/// The only years that count, by their numbers, where some tell what is broken before all are run: a claim that is broken in these is broken in all, one that
/// is not is not decided by them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct FewYears {
    /// Those of supplies, by their place in the line; of another all count.
    pub(crate) supplies: BTreeMap<usize, Vec<u64>>,
    /// Those of hearing; all where there are none.
    pub(crate) hearing: Option<Vec<u64>>,
}

/// The few years of one draw.
#[derive(Clone, Copy, Debug)]
pub(crate) struct OwnYears {
    pub(crate) seed: u64,
    /// Number of the first.
    pub(crate) first: u64,
    pub(crate) count: u64,
}

/// Which of a draw's own years held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct OwnHeld {
    /// Whether they were measured.
    pub(crate) measured: bool,
    /// Number of each year, each once.
    pub(crate) numbers: Vec<u64>,
    /// Whether it held.
    pub(crate) held: Vec<bool>,
}

impl<'a> Years<'a> {
    /// Those of one draw, each with few years of its own; what takes long and changes no ruling is left out.
    pub(crate) fn of_a_draw(line: &'a Line, memo: &'a Memo, own: OwnYears) -> Self {
        Self {
            load: UnderLoad::LeftOut,
            own: Some(own),
            ..Self::new(line, memo, Tier::Full)
        }
    }

    /// The few years of a supply that are the draw's own; `None` where the line is no draw.
    pub(crate) fn own(&mut self, of: SupplyIx) -> Option<Result<&SupplyYears, String>> {
        self.own.is_some().then(|| self.of(of))
    }

    /// Notes which years of a draw held for a supply. A year holds that holds for each supply of which it is noted.
    pub(crate) fn note(&mut self, of_supply: OwnHeld) {
        match &mut self.held {
            Some(all) => {
                for (all, one) in all.held.iter_mut().zip(of_supply.held) {
                    *all &= one;
                }
            }
            None => self.held = Some(of_supply),
        }
    }

    /// What was noted since the last time.
    pub(crate) fn take_held(&mut self) -> Option<OwnHeld> {
        self.held.take()
    }

    pub(crate) fn new(line: &'a Line, memo: &'a Memo, tier: Tier) -> Self {
        Self {
            line,
            memo,
            tier,
            run: BTreeMap::new(),
            assumed: Vec::new(),
            hangs: Hangs::new(line, memo),
            load: UnderLoad::new(memo),
            heard: None,
            own: None,
            few: None,
            held: None,
        }
    }

    /// Whether the line is one draw of a plan's.
    pub(crate) fn is_a_draw(&self) -> bool {
        self.own.is_some()
    }

    /// Years of hearing, run once for all requirements on them, or why there are none.
    pub(crate) fn hearing(&mut self) -> Result<&HeardYears, String> {
        let (tier, own, hangs) = (self.tier, self.own, &self.hangs);
        let few = self.few.and_then(|few| few.hearing.as_deref());
        let kept = self.heard.get_or_insert_with(|| {
            let found = HeardYears::of(hangs, tier, own, few);
            if let Ok(heard) = &found {
                let told = heard.assumed.iter();
                for one in told {
                    if !self.assumed.contains(one) {
                        self.assumed.push(one.clone());
                    }
                }
            }
            found
        });
        kept.as_ref().map_err(Clone::clone)
    }

    /// Those of a supply, or why there are none.
    pub(crate) fn of(&mut self, of: SupplyIx) -> Result<&SupplyYears, String> {
        let (line, own) = (self.line, self.own);
        let few = self.few.and_then(|few| few.supplies.get(&of.0));
        let kept = self.run.entry(of.0).or_insert_with(|| {
            let run = run(line, of, (self.memo, self.tier), own, few);
            if let Ok(years) = &run {
                self.assumed.extend(years.input.assumed.iter().cloned());
            }
            run
        });
        kept.as_ref().map_err(Clone::clone)
    }
}

fn run(
    line: &Line,
    of: SupplyIx,
    (memo, tier): (&Memo, Tier),
    own: Option<OwnYears>,
    few: Option<&Vec<u64>>,
) -> Result<SupplyYears, String> {
    let supply = &line.supplies[of.0];
    if supply.kind != SupplyKind::SolarBattery {
        return Err("the hourly year is worked out for panels with a battery only".to_owned());
    }
    let input = energy_of(line, of, memo).map_err(|e| e.to_string())?;
    let needed = shares(line, of)
        .filter_map(|share| share.years_needed().ok())
        .filter(|years| *years <= MOST_YEARS);
    let count = input
        .light
        .measured_years()
        .or_else(|| {
            needed.max().map(|needed| match tier {
                Tier::Quick => needed.min(QUICK_YEARS),
                Tier::Full => needed,
            })
        })
        .unwrap_or(0);
    let plans = input.plans(line).map_err(|e| e.to_string())?;
    let seed = own.map_or(WEATHER_SEED, |own| own.seed);
    let made_from = battery_from(&input, seed);
    let supply = format!("supply.{}", supply.id);
    let rooms = RefCell::default();
    let numbers: Vec<u64> = match own {
        None => few.map_or_else(|| (0..count).collect(), Clone::clone),
        Some(own) => {
            // Years that were measured come in turn, each once.
            let measured = input.light.measured_years();
            let count = own.count.min(measured.unwrap_or(own.count));
            (own.first..own.first + count)
                .map(|n| measured.map_or(n, |of| n % of.max(1)))
                .collect()
        }
    };
    let mut years = Vec::with_capacity(numbers.len());
    for &year in &numbers {
        let found = memo.of(&BatteryYear {
            supply: &supply,
            input: &input,
            plans: &plans,
            made_from,
            seed,
            year,
            rooms: &rooms,
        });
        if let Err(error) = found.as_ref() {
            return Err(error.to_string());
        }
        years.push(found);
    }
    Ok(SupplyYears {
        input,
        numbers,
        years,
    })
}

/// Shares of years that requirements on a supply claim.
fn shares(line: &Line, of: SupplyIx) -> impl Iterator<Item = ShareOfYears> {
    line.requirements.iter().filter_map(move |r| {
        let (wanted, confidence) = match &r.that {
            That::OutageHours { of, confidence, .. }
            | That::LowestCharge { of, confidence, .. } => (of, confidence),
            _ => return None,
        };
        wanted
            .is_none_or(|s| s == of)
            .then_some(share_of_years(r.share?.si, *confidence))
    })
}

pub(crate) fn share_of_years(share: f64, confidence: Option<plan::Q>) -> ShareOfYears {
    ShareOfYears {
        share,
        confidence: confidence.map_or(CONFIDENCE, |q| q.si),
    }
}

/// What a requirement claims of the hours off of the years.
pub(crate) fn claim(at_most_s: plan::Q, years: ShareOfYears) -> Claim {
    Claim {
        // Hours off are whole.
        at_most_hours: (at_most_s.si / crate::input::SECONDS_PER_HOUR) as u32,
        years,
    }
}
