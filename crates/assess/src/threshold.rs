//! What a detector's threshold costs: calls that are missed, false alarms, messages, money and charge, side by side, as none is had without the others.

use plan::{DetectorIx, Line, That, UplinkIx};
use quantity::{Money, SECONDS_PER_DAY};

use crate::check::{Check, Shelf};
use crate::input::MONTH_DAYS;
use crate::remedy::{HeardCounts, heard_counts};
use crate::uplink_load::paid;
use crate::verdict::Verdict;

/// What comes of a plan with its threshold as it stands.
#[derive(Clone, Debug)]
pub struct ThresholdSide {
    /// What the detector did against labels at this threshold, one for each file of labels; or why that is unknown.
    pub heard: Result<Vec<HeardCounts>, String>,
    /// What goes up each uplink in a month, at most.
    pub uplinks: Vec<UplinkMonthly>,
    /// The worst verdict on charge and outages of each requirement that asks for one, with its id.
    pub charge: Vec<(String, Verdict)>,
    /// The worst verdict on what the detector finds and on its false alarms, with the requirement's id.
    pub judged: Vec<(String, Verdict)>,
}

/// What goes up an uplink in a month.
#[derive(Clone, Debug, PartialEq)]
pub struct UplinkMonthly {
    /// Its typed path.
    pub uplink: String,
    /// Billed messages in a month at most and what they cost; or why that is unknown.
    pub monthly: Result<(u64, Option<Money>), String>,
}

/// What a month of an uplink is, d.
pub const UPLINK_MONTH_DAYS: f64 = MONTH_DAYS;

/// One side of a threshold that is moved: `check` is that of this very line.
#[must_use]
pub fn threshold_side(
    line: &Line,
    check: &Check,
    shelf: &Shelf,
    detector: DetectorIx,
) -> ThresholdSide {
    let path = format!("detector.{}", line.detectors[detector.0].id);
    let uplinks = line.uplinks.iter().enumerate().map(|(ix, uplink)| {
        let monthly = paid(line, UplinkIx(ix), MONTH_DAYS * SECONDS_PER_DAY);
        UplinkMonthly {
            uplink: format!("uplink.{}", uplink.id),
            monthly: monthly.map(|paid| {
                // At most so many: a part of a message is billed whole.
                let billed = libm::ceil(paid.messages) as u64;
                (billed, uplink.cost(billed))
            }),
        }
    });
    ThresholdSide {
        heard: heard_counts(line, &path, shelf),
        uplinks: uplinks.collect(),
        charge: worst(line, check, |that| {
            matches!(that, That::LowestCharge { .. } | That::OutageHours { .. })
        }),
        judged: worst(
            line,
            check,
            |that| matches!(that, That::Recall { of, .. } | That::FalseAlarms { of, .. } if *of == detector),
        ),
    }
}

fn worst(line: &Line, check: &Check, asks: impl Fn(&That) -> bool) -> Vec<(String, Verdict)> {
    let asked = line.requirements.iter().filter(|r| asks(&r.that));
    let judged = asked.filter_map(|r| {
        let judged = check.requirements.iter().find(|j| j.id == r.id)?;
        let verdict = judged.verdicts.iter().min_by_key(|v| v.word())?;
        Some((r.id.clone(), verdict.clone()))
    });
    judged.collect()
}
