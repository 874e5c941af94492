//! What is held while a weight is added to a line: every requirement and every standing check that reads its weights, by the functions of `check`.

use plan::{Line, Reading, Requirement, SectionIx, That};

use crate::check::{Shelf, Tier, judged, verdicts};
use crate::hung_verdicts::{afloat, clear_of_bed, housing_depths};
use crate::input::{DesignCase, Moored, moored};
use crate::memo::Memo;
use crate::month::UnderLoad;
use crate::mooring_verdicts::{Hangs, anchor_load, rope_bears};
use crate::moorings::{HungLine, Moorings, hung_line};
use crate::places::on_records;
use crate::reach::Reach;
use crate::recovery_verdicts::{drift_alarms, weak_links};
use crate::standing::{ON_SHAPES, standing_of};
use crate::stands::{anchors_hold, float_depths, held_up_of};
use crate::verdict::{Verdict, Word};
use crate::years::Years;

/// A verdict with what asks it.
pub(super) struct Limit {
    pub(super) asked: String,
    pub(super) verdict: Verdict,
    /// Whether nothing may be added where it is broken without a weight. What rests on more than forces and places is then not asked instead: a line that strums
    /// or that few means bring back is no reason not to hang a weight on it.
    pub(super) bars_when_broken: bool,
}

impl Limit {
    /// What is left of the lift of the float at the top of a line.
    pub(super) fn held_up(line: &Line, of: &Moored) -> Option<Limit> {
        held_up_of(line, of).map(|verdict| Limit {
            asked: "what a float lifts".to_owned(),
            verdict,
            bars_when_broken: true,
        })
    }

    pub(super) fn word(&self) -> Word {
        self.verdict.word()
    }

    pub(super) fn held(&self) -> bool {
        matches!(self.word(), Word::Met | Word::Marginal)
    }

    pub(super) fn is(&self, other: &Limit) -> bool {
        self.asked == other.asked && self.verdict.subject() == other.verdict.subject()
    }

    pub(super) fn told(&self) -> String {
        let why = match &self.verdict {
            Verdict::Known(k) => k.why.lines().next().unwrap_or("").to_owned(),
            Verdict::Provisional(_) => String::new(),
            Verdict::Unknown { why, .. } => why.clone(),
        };
        format!("{}, {}: {why}", self.asked, self.verdict.subject())
    }
}

/// The first limit that held and is broken, in words. A weak link has two verdicts: what it must hold, and by when it must part.
pub(super) fn first_broken(now: &[Limit], then: &[Limit]) -> Option<String> {
    let held = |of: &Limit| now.iter().any(|was| was.is(of) && was.held());
    let was_broken = |of: &Limit| now.iter().any(|was| was.is(of) && !was.held());
    let mut broken = then.iter().filter(|l| l.word() == Word::Broken);
    let falls = broken.find(|l| held(l) && !was_broken(l));
    falls.map(Limit::told)
}

/// Whether a requirement is one on the shape or the weights of its line, and whether one that is broken already leaves nothing.
fn on_weights(that: &That) -> Option<bool> {
    match that {
        That::ModuleDepth { .. }
        | That::ModuleTilt { .. }
        | That::LineTension { .. }
        | That::AnchorLoad { .. }
        | That::WatchCircle { .. }
        | That::OnStation { .. }
        | That::PartedLift { .. }
        | That::SurfaceSlack { .. } => Some(true),
        That::RecoveryChance { .. } | That::StrumHours { .. } => Some(false),
        _ => None,
    }
}

/// What is known of every limit on the shape and the weights of a line. Of the plan's other lines only the pull on the same anchor is known here, and so none of their own limits is asked.
pub(super) fn of_the_shape(
    line: &Line,
    hung: HungLine,
    cases: &[DesignCase],
    memo: &Memo,
) -> Vec<Limit> {
    // A module elsewhere has a depth and a rating too, and nothing hung on this line changes them.
    let of = hung.line.clone();
    let found = Moorings {
        cases: cases.to_vec(),
        lines: vec![Ok(hung)],
        assumed: Vec::new(),
        unsaid: None,
    };
    let mut at_anchor = found.clone();
    let own = of.pieces.first().map(|p| p.section);
    for other in moored(line) {
        let same = match &other {
            Ok(o) => o.anchor == of.anchor && o.pieces.first().map(|p| p.section) != own,
            Err(not) => not.anchor == Some(of.anchor),
        };
        if same {
            let hung = other.map(|o| hung_line(line, o, cases, memo));
            at_anchor.lines.push(hung);
        }
    }
    let mut years = Years::new(line, memo, Tier::Full);
    years.hangs = Hangs::with(line, found, memo);
    let mut years_at_anchor = Years::new(line, memo, Tier::Full);
    years_at_anchor.hangs = Hangs::with(line, at_anchor, memo);
    let (hangs, anchored) = (&years.hangs, &years_at_anchor.hangs);
    let sections = (0..line.sections.len()).map(SectionIx);
    let ropes = sections.filter_map(|s| rope_bears(hangs, s));
    let standing: [(&str, Vec<Verdict>); 9] = [
        ("the buoy", afloat(hangs)),
        ("the rated depth", housing_depths(hangs, |m| of.holds(m))),
        ("the rated depth", float_depths(hangs)),
        ("what a rope bears", ropes.collect()),
        ("the anchor", anchor_load(anchored, None, None)),
        ("the anchor as written", anchors_hold(anchored)),
        ("room above the bed", clear_of_bed(hangs)),
        ("the weak link", weak_links(hangs)),
        ("the drift alarm", drift_alarms(hangs)),
    ];
    let mut all: Vec<Limit> = Limit::held_up(line, &of).into_iter().collect();
    for (asked, verdicts) in standing {
        all.extend(known(asked, verdicts, true));
    }
    for r in &line.requirements {
        if let Some(bars) = on_weights(&r.that) {
            let years = match r.that {
                That::AnchorLoad { .. } => &mut years_at_anchor,
                _ => &mut years,
            };
            let found = verdicts(line, r, "", &Shelf::default(), years);
            all.extend(known(&format!("requirement.{}", r.id), found, bars));
        }
    }
    all
}

/// All else of a plan that may read a weight, be it by the depth at which something hangs: what rests on records is not asked, as these are of the line without it.
pub(super) fn of_the_rest(reading: &Reading, line: &Line, memo: &Memo) -> Vec<Limit> {
    let reach = Reach { reading, line };
    let mut years = Years::new(line, memo, Tier::Full);
    years.load = UnderLoad::LeftOut;
    let records = on_records(line);
    let asked =
        |r: &&Requirement| on_weights(&r.that).is_none() && !records.contains(r.id.as_str());
    let mut all = Vec::new();
    for r in line.requirements.iter().filter(asked) {
        let found = judged(&reach, r, &Shelf::default(), &mut years);
        all.extend(known(
            &format!("requirement.{}", r.id),
            found.verdicts,
            false,
        ));
    }
    let on_no_shape = |id: &str| !ON_SHAPES.contains(&id);
    for found in standing_of(&reach, memo, &years.hangs, on_no_shape) {
        all.extend(known(&found.id, found.verdicts, false));
    }
    all
}

/// What lacks a key is not asked.
fn known(asked: &str, verdicts: Vec<Verdict>, bars: bool) -> impl Iterator<Item = Limit> {
    let asked = asked.to_owned();
    let known = verdicts.into_iter().filter(|v| v.word() != Word::Unknown);
    known.map(move |verdict| Limit {
        asked: asked.clone(),
        verdict,
        bars_when_broken: bars,
    })
}
