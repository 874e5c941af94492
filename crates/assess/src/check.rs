//! The whole of a plan against its requirements.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use plan::{DetectorIx, Fetch, Line, Mistake, Must, Reading, Requirement, That};

use crate::assumed::assumed;
use crate::cautions::cautions;
use crate::certainty::{DrawsBeside, DrawsRecord};
use crate::evidence::Record;
use crate::hang::{DepthsTold, depths_told, hung, read_with};
use crate::judged::Judged;
use crate::memo::Memo;
use crate::month::UnderLoad;
use crate::mooring_verdicts;
use crate::open::{open, undrawn};
use crate::range::InjectionRecord;
use crate::reach::{Reach, lost};
use crate::sentence::sentence;
use crate::standing::{INPUT_VOLTAGE, figures_of, standing};
use crate::tune_verdicts::Asked;
use crate::tuning::ShelvedTuning;
use crate::verdict::{Verdict, Word, unknown};
use crate::years::{FewYears, Years};
use crate::{
    attested_verdicts, boot_verdicts, cell_verdicts, chain_verdicts, dawn_verdicts, delay_verdicts,
    failure_verdicts, fault_verdicts, highest_voltage, hours_verdicts, insulation, link_verdicts,
    loss_verdicts, measured, metal_verdicts, metals, other_verdicts, pick_up_verdicts,
    power_verdicts, range_verdicts, recovery_verdicts, reserve_verdicts, ship, start_verdicts,
    station_verdicts, storage_verdicts, strum_verdicts, sync_verdicts, tune_verdicts,
    uplink_verdicts, uplink_wait_verdicts, year_verdicts,
};

/// The evidence that lies beside a plan, and the present digests of the cue sheets its requirements name.
#[derive(Clone, Debug, Default)]
pub struct Shelf {
    /// Records that could be read.
    pub records: Vec<Record>,
    /// Path of a cue sheet as the plan writes it, and its digest, or why it has none.
    pub cues: BTreeMap<String, Result<String, String>>,
    /// Counts of calls that were put into noise.
    pub injections: Vec<InjectionRecord>,
    /// The command line that puts calls into noise, but for detector and call; `None` where nobody runs one.
    pub range_command: Option<String>,
    /// Records of detectors held against labels.
    pub tunings: Vec<ShelvedTuning>,
    /// Path of a file of labels as the plan writes it, and its digest, or why it has none.
    pub labels: BTreeMap<String, Result<String, String>>,
    /// Records of draws of the plan.
    pub draws: Vec<DrawsRecord>,
    /// The command line that draws the plan; `None` where nobody runs one.
    pub certainty_command: Option<String>,
    /// Path of a cue sheet as the plan writes it, and the command line that rehearses it.
    pub commands: BTreeMap<String, String>,
}

/// How much a check counts.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Tier {
    /// Fewer generated years than a share of years asks for; what rests on them is [`Verdict::Provisional`]. All else as in a full one.
    Quick,
    /// All.
    Full,
}

/// Exit status of a check.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Status {
    /// All requirements are met or marginal.
    Met,
    /// A `shall` requirement or a standing check is broken.
    Broken,
    /// The plan has mistakes.
    Unusable,
    /// Nothing is broken, but something is unknown or provisional.
    Unknown,
}

/// What came of checking a plan.
#[derive(Clone, PartialEq, Debug)]
pub struct Check {
    /// Name of the deployment; `None` when the plan does not say.
    pub name: Option<String>,
    /// How much was counted.
    pub tier: Tier,
    /// Digest of the plan's canonical content.
    pub plan_digest: String,
    /// Digest of its source bytes.
    pub source_digest: String,
    /// The plan's requirements, by id.
    pub requirements: Vec<Judged>,
    /// What is checked in every plan.
    pub standing: Vec<Judged>,
    /// Values that count although nobody wrote them.
    pub assumed: Vec<String>,
    /// What no verdict answers yet although the plan has it.
    pub open: Vec<String>,
    /// Which depths of modules count; `None` of a line without sections, whose depths are as written.
    pub depths: Option<DepthsTold>,
    /// What the draws that lie beside the plan are worth.
    pub draws: DrawsBeside,
    /// Cautions that this plan calls for.
    pub cautions: Vec<&'static str>,
    /// Errors in the plan.
    pub errors: usize,
    /// Warnings in the plan.
    pub warnings: usize,
}

impl Check {
    /// What is broken or unknown, in the order of the check.
    pub fn not_held(&self) -> impl Iterator<Item = &Judged> {
        self.requirements
            .iter()
            .chain(&self.standing)
            .filter(|judged| {
                matches!(
                    judged.word(),
                    Word::Broken | Word::Unknown | Word::Provisional
                )
            })
    }

    /// The exit status: mistakes first, then broken, then unknown. A broken `should` is shown and does not count.
    #[must_use]
    pub fn status(&self) -> Status {
        let all = || self.requirements.iter().chain(&self.standing);
        if self.errors > 0 {
            Status::Unusable
        } else if all().any(|j| j.must == Must::Shall && j.is_broken()) {
            Status::Broken
        } else if all().any(|j| matches!(j.word(), Word::Unknown | Word::Provisional)) {
            Status::Unknown
        } else {
            Status::Met
        }
    }
}

/// Judges every requirement of a plan, and what is checked in every plan.
///
/// A mistake in one part of the plan makes the verdicts that read this part unknown and leaves the others standing. Every
/// requirement that is written is there, also one that a mistake keeps out of the line.
#[must_use]
pub fn check(reading: &Reading, shelf: &Shelf) -> Check {
    check_with(reading, shelf, &Memo::with_room(0), Tier::Full)
}

/// The text of a plan, and where its other files come from.
#[derive(Clone, Copy)]
pub struct PlanText<'a> {
    /// Path of the plan.
    pub path: &'a Path,
    /// Its text.
    pub text: &'a str,
    /// Fetches what it includes and names.
    pub fetch: &'a Fetch<'a>,
}

/// Reads a plan's text and checks it: what a page calls after each change, quickly first and then in full, with one memo all along.
#[must_use]
pub fn check_text(memo: &Memo, plan: &PlanText<'_>, shelf: &Shelf, tier: Tier) -> (Reading, Check) {
    let reading = read_with(
        plan.path,
        memo,
        &|wanted: &Path| match wanted == plan.path {
            true => Ok(plan.text.as_bytes().to_vec()),
            false => (plan.fetch)(wanted),
        },
    );
    let check = check_with(&reading, shelf, memo, tier);
    (reading, check)
}

/// The same, with results of earlier checks in place of what would come to the same, and in a tier.
#[must_use]
pub fn check_with(reading: &Reading, shelf: &Shelf, memo: &Memo, tier: Tier) -> Check {
    let check = check_as_written(reading, shelf, memo, tier);
    let Some(line) = &reading.line else {
        return check;
    };
    let mut check = check.with_draws(line, &reading.drawn_digests, shelf);
    if check.draws == DrawsBeside::Current {
        let told = undrawn(&reading.spreads);
        check.open.retain(|open| Some(open) != told.as_ref());
    }
    check
}

/// The same without what draws of the plan say: that of a plan which was changed to see what comes of it, and was never drawn.
pub(crate) fn check_as_written(reading: &Reading, shelf: &Shelf, memo: &Memo, tier: Tier) -> Check {
    let errors: Vec<&Mistake> = reading.mistakes.iter().filter(|m| m.is_error()).collect();
    let mut check = Check {
        name: reading.name.clone(),
        tier,
        plan_digest: reading.digest.clone(),
        source_digest: reading.source_digest.clone(),
        requirements: Vec::new(),
        standing: Vec::new(),
        assumed: Vec::new(),
        open: Vec::new(),
        depths: None,
        draws: DrawsBeside::Nothing,
        cautions: Vec::new(),
        errors: errors.len(),
        warnings: reading.mistakes.len() - errors.len(),
    };
    let Some(line) = &reading.line else {
        check.requirements = lost(reading);
        let wrong: BTreeSet<&str> = errors.iter().map(|m| m.part.as_str()).collect();
        let verdicts = wrong
            .into_iter()
            .map(|part| Verdict::Unknown {
                subject: part.to_owned(),
                why: "a mistake here leaves too little of the plan to judge anything".to_owned(),
            })
            .collect();
        check.standing.push(Judged::new(
            "plan".to_owned(),
            Must::Shall,
            None,
            "the plan says enough to be judged".to_owned(),
            verdicts,
        ));
        return check;
    };
    let held = hung(line, memo);
    let line = &*held;
    let reach = Reach { reading, line };
    let mut years = Years::new(line, memo, tier);
    for r in &line.requirements {
        let judged = judged(&reach, r, shelf, &mut years);
        check.requirements.push(judged);
    }
    check.requirements.extend(lost(reading));
    check.requirements.sort_by(|a, b| a.id.cmp(&b.id));
    check.standing = standing(&reach, memo, &years.hangs);
    check.assumed = assumed(line);
    check.assumed.extend(recovery_verdicts::assumed(line));
    check.assumed.extend(metals::assumed(line));
    let shapes = years.hangs.assumed().to_vec();
    for one in years.assumed.into_iter().chain(shapes) {
        if !check.assumed.contains(&one) {
            check.assumed.push(one);
        }
    }
    check.open = open(line, &reading.spreads, memo);
    let told = check.standing.iter().any(|j| j.id == INPUT_VOLTAGE);
    check.open.extend(power_verdicts::open(line, told));
    check.open.extend(power_verdicts::not_carried_booting(line));
    check.depths = depths_told(line);
    check.cautions = cautions(line);
    check
}

/// One requirement, or one of what is checked in every plan, by its id as [`check`] judges it, without what is told beside the ruling of messages under load and of what would help.
/// With `few` only these years are counted.
pub(crate) fn check_one(
    reading: &Reading,
    shelf: &Shelf,
    (id, standing): (&str, bool),
    memo: &Memo,
    few: Option<&FewYears>,
) -> Option<Judged> {
    let held = hung(reading.line.as_ref()?, memo);
    let line = &*held;
    let reach = Reach { reading, line };
    if standing {
        return figures_of(&reach, memo, id);
    }
    let r = line.requirements.iter().find(|r| r.id == id)?;
    let mut years = Years::new(line, memo, Tier::Full);
    years.load = UnderLoad::LeftOut;
    years.few = few;
    Some(judged(&reach, r, shelf, &mut years))
}

pub(crate) fn judged(
    reach: &Reach<'_>,
    r: &Requirement,
    shelf: &Shelf,
    years: &mut Years<'_>,
) -> Judged {
    let (reading, line) = (reach.reading, reach.line);
    let own = format!("requirement.{}", r.id);
    // What a requirement reads is of no account where no mistake reaches anything.
    let spoilt = match reading.spoilt.is_empty() {
        true => None,
        false => reach
            .spoilt(&BTreeSet::from([own]))
            .or_else(|| reach.spoilt(&reach.of(&r.that)))
            .or_else(|| reach.spoilt(&reach.events(r))),
    };
    let verdicts = match spoilt {
        Some(unknown) => vec![unknown],
        None => verdicts(line, r, &reading.rehearsed_digest, shelf, years),
    };
    let verdicts = match &r.measured {
        Some(measured) => measured::beside(line, r, measured, verdicts),
        None => verdicts,
    };
    Judged::new(
        r.id.clone(),
        r.must,
        r.source.clone(),
        sentence(line, r),
        verdicts,
    )
    .asking(reading.asks(&r.id))
}

/// `years` keeps what several requirements ask for, years and shapes of the line, and gets what counts in it although nobody wrote it.
pub(crate) fn verdicts(
    line: &Line,
    r: &Requirement,
    rehearsed_digest: &str,
    shelf: &Shelf,
    years: &mut Years<'_>,
) -> Vec<Verdict> {
    match &r.that {
        That::Voltage { of, limits } => power_verdicts::voltage(line, *of, *limits),
        That::HighestVoltage { of, at_most_v } => {
            highest_voltage::highest_voltage(line, *of, *at_most_v, &mut years.assumed)
        }
        That::SupplyCurrent { of, at_most_a } => {
            power_verdicts::supply_current(line, *of, *at_most_a)
        }
        That::Delay {
            from,
            to,
            at_most_s,
        } => {
            vec![delay_verdicts::delay(
                line,
                *from,
                *to,
                *at_most_s,
                r,
                &mut years.load,
            )]
        }
        That::LinkLoad { of, at_most } => link_verdicts::link_load(line, *of, *at_most),
        That::ClockError { of, at_most_s } => sync_verdicts::clock_error(line, *of, *at_most_s),
        That::MessageLoss { topic, at_most } => loss_verdicts::message_loss(line, *topic, *at_most),
        That::UplinkMessages { of, at_most, .. } => {
            vec![uplink_verdicts::uplink_messages(line, *of, *at_most)]
        }
        That::UplinkCost { of, at_most, .. } => {
            let share = r.share.map(|q| q.si);
            vec![uplink_verdicts::uplink_cost(
                line, *of, *at_most, share, shelf, years.memo,
            )]
        }
        That::UplinkWait { of, at_most_s } => {
            let share = r.share.map_or(1.0, |q| q.si);
            vec![uplink_wait_verdicts::uplink_wait(
                line,
                *of,
                (at_most_s.si, share),
                &mut years.load,
                years.memo,
                &mut years.assumed,
            )]
        }
        That::StorageTime { of, at_least_s } => {
            vec![storage_verdicts::storage_time(line, *of, *at_least_s)]
        }
        That::OutageHours {
            of,
            at_most_s,
            confidence,
        } => year_verdicts::outage_hours(line, *of, *at_most_s, r.share, *confidence, years),
        That::LowestCharge {
            of,
            at_least,
            confidence,
        } => year_verdicts::lowest_charge(line, *of, *at_least, r.share, *confidence, years),
        That::Autonomy { of, at_least_s } => {
            cell_verdicts::autonomy(line, *of, *at_least_s, &mut years.assumed)
        }
        That::CellLife { of, at_least_s } => {
            cell_verdicts::cell_life(line, *of, *at_least_s, &mut years.assumed)
        }
        That::DawnRestarts { of, at_most } => {
            dawn_verdicts::dawn_restarts(line, *of, *at_most, years.memo, &mut years.assumed)
        }
        That::WakesFromFlat { of } => {
            dawn_verdicts::wakes_from_flat(line, *of, years.memo, &mut years.assumed)
        }
        That::SensorEnergy { of, at_most_j } => {
            cell_verdicts::sensor_energy(line, *of, *at_most_j, &mut years.assumed)
        }
        That::StartUp { at_most_s } => start_verdicts::start_up(line, *at_most_s, years.memo),
        That::ReadyWithin { of, at_most_s } => {
            boot_verdicts::ready_within(line, *of, *at_most_s, years.memo)
        }
        That::CollapseFactor { at_least } => reserve_verdicts::collapse_factor(line, *at_least),
        That::Reserve { of, at_least_w } => reserve_verdicts::reserve(line, *of, *at_least_w),
        That::ShortCircuit { of, at_least } => {
            fault_verdicts::short_circuit(line, *of, at_least.si)
        }
        That::AnodeLife { of, at_least_s } => metal_verdicts::anode_life(line, *of, *at_least_s),
        That::AnodeCurrent { of, at_least } => metal_verdicts::anode_current(line, *of, *at_least),
        That::ContactLife { of, at_least_s } => insulation::contact_life(line, *of, *at_least_s),
        That::SingleFailure { at_most } => failure_verdicts::single_failure(line, *at_most),
        That::TimeToNotice { at_most_s } => {
            failure_verdicts::time_to_notice(line, *at_most_s, &mut years.load, years.memo)
        }
        That::FailSafe { of, at_most_s } => failure_verdicts::fail_safe(line, *of, *at_most_s),
        That::SelfNoise { of, at_least_db } => {
            chain_verdicts::self_noise(line, *of, at_least_db.db, years.memo)
        }
        That::Overload { of, at_least_db } => chain_verdicts::overload(line, *of, at_least_db.db),
        That::DetectionRange {
            of,
            call,
            at_least_m,
            encounter,
            in_hours,
        } => {
            let asked = range_verdicts::Asked {
                encounter: *encounter,
                in_hours: *in_hours,
                binding: r.must == Must::Shall,
                of: *of,
                call: *call,
                at_least_m: *at_least_m,
                share: r.share,
                wind_at_most_m_s: r.when_wind_at_most_m_s,
            };
            vec![settled(line, *of, || {
                range_verdicts::detection_range(&years.hangs, &asked, shelf)
            })]
        }
        That::Recall {
            of,
            at_least,
            labels,
            confidence,
        } => {
            let asked = Asked {
                of: *of,
                labels,
                confidence: *confidence,
            };
            vec![settled(line, *of, || {
                tune_verdicts::recall(line, &asked, *at_least, shelf)
            })]
        }
        That::FalseAlarms {
            of,
            at_most,
            labels,
            confidence,
        } => {
            let asked = Asked {
                of: *of,
                labels,
                confidence: *confidence,
            };
            vec![settled(line, *of, || {
                tune_verdicts::false_alarms(line, &asked, *at_most, shelf)
            })]
        }
        That::RecoveryChance { of, at_least } => {
            recovery_verdicts::recovery_chance(&years.hangs, *of, *at_least)
        }
        That::PartedLift { at_least_n } => {
            recovery_verdicts::parted_lift(&years.hangs, *at_least_n)
        }
        That::ChargeAtDeployment { of, at_least } => {
            ship::charge_at_deployment(line, *of, *at_least, &mut years.assumed)
        }
        That::Spares { at_least } => vec![ship::enough_spares(line, *at_least)],
        That::WeatherWindow { at_least } => ship::weather_window(line, *at_least),
        That::SurfaceSlack { at_most_m } => {
            recovery_verdicts::surface_slack(&years.hangs, *at_most_m)
        }
        That::ModuleDepth { of, limits } => {
            mooring_verdicts::module_depth(&years.hangs, *of, *limits)
        }
        That::ModuleTilt { of, at_most_deg } => {
            mooring_verdicts::module_tilt(&years.hangs, *of, *at_most_deg)
        }
        That::LineTension { of, at_most_n } => {
            mooring_verdicts::line_tension(&years.hangs, *of, *at_most_n)
        }
        That::AnchorLoad { of, at_least } => {
            mooring_verdicts::anchor_load(&years.hangs, *of, *at_least)
        }
        That::HousingMargin { of, at_least_m } => {
            mooring_verdicts::housing_margin(line, *of, *at_least_m)
        }
        That::OnStation {
            of,
            at_most_m,
            laying_error_m,
            fix_error_m,
            share,
        } => {
            let asked = station_verdicts::Asked {
                of: *of,
                at_most_m: *at_most_m,
                laying_error_m: *laying_error_m,
                fix_error_m: *fix_error_m,
                share: share.si,
            };
            station_verdicts::on_station(&years.hangs, &asked)
        }
        That::WatchCircle { of, at_most_m } => {
            mooring_verdicts::watch_circle(&years.hangs, *of, *at_most_m)
        }
        That::StrumHours { of, at_most_s } => {
            strum_verdicts::strum_hours(&years.hangs, *of, *at_most_s, &mut years.assumed)
        }
        That::PickUp { of, at_least_db } => {
            pick_up_verdicts::pick_up(line, *of, at_least_db.db, years.memo)
        }
        That::HeaveOverload { of, at_most } => {
            hours_verdicts::heave_overload(line, *of, *at_most, &mut years.assumed)
        }
        That::ListeningShare {
            of,
            at_least,
            confidence,
        } => hours_verdicts::listening_share(*of, *at_least, (r.share, *confidence), years),
        That::ListeningGap {
            of,
            at_most_s,
            confidence,
        } => hours_verdicts::listening_gap(*of, *at_most_s, (r.share, *confidence), years),
        That::CalibrationAge { of, at_most } => {
            attested_verdicts::calibration_age(line, *of, *at_most)
        }
        That::Attested { attested } => {
            vec![attested_verdicts::attested(line, &r.id, attested.as_ref())]
        }
        That::Rehearsed { cues, .. } => {
            vec![other_verdicts::rehearsed(rehearsed_digest, cues, shelf)]
        }
    }
}

/// What a detector finds and how often it cries wolf was measured with the plan's own threshold and hold-off: of one that a behaviour sets to others it is not
/// known.
fn settled(line: &Line, detector: DetectorIx, verdict: impl FnOnce() -> Verdict) -> Verdict {
    let d = &line.detectors[detector.0];
    let verdict = verdict();
    let Some(behaviour) = setting(line, detector) else {
        return verdict;
    };
    let subject = verdict.subject().to_owned();
    let own = d.thresholds_db().map_or_else(String::new, |(on_db, _)| {
        let range = d
            .settable
            .threshold_db
            .map_or_else(String::new, |(low, high)| {
                format!(", and it may be set from {} to {}", low.db, high.db)
            });
        format!(": evidence is for the plan's own threshold, {on_db} dB{range}")
    });
    unknown(
        subject,
        format!(
            "behaviour.{behaviour} sets detector.{} while it listens{own}; take the action `set` out to see the verdict at the plan's own setting",
            d.id
        ),
    )
}

/// The behaviour that sets a detector while it listens.
pub(crate) fn setting(line: &Line, detector: DetectorIx) -> Option<&str> {
    let sets = |b: &&plan::Behaviour| {
        let mut actions = b.actions.iter();
        actions.any(|a| matches!(a, plan::Action::Set { detector: d, .. } if *d == detector))
    };
    line.behaviours.iter().find(sets).map(|b| b.id.as_str())
}
