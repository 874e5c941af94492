//! Where the line hangs and what it pulls, against limits: the worst of all design cases, each verdict with the case that governs.
//!
//! Here are the shapes once found; modules, sections and tops stand in `hung`, anchors in `anchors`, housings against the bed in `housings`.

mod anchors;
mod housings;
mod hung;

use std::cell::OnceCell;

use plan::{Line, SectionIx};

use crate::input::{CasesError, NotMoored};
use crate::memo::Memo;
use crate::moorings::{Extreme, HungLine, METHOD, Moorings, moorings_of};
use crate::verdict::{Evidence, Verdict};
use crate::{hung_verdicts, recovery_verdicts, stands};

pub(crate) use anchors::{anchor_keeps, anchor_load};
pub(crate) use housings::{bed_as_written, housing_margin};
pub(crate) use hung::{line_tension, module_depth, module_tilt, rope_bears, watch_circle};

/// Margins below which a verdict is marginal.
pub(crate) const DEPTH_M: f64 = 1.0;
pub(crate) const FORCE_N: f64 = 100.0;
pub(crate) const CIRCLE_M: f64 = 2.0;

/// The shapes of a line, worked out once when the first verdict asks for them.
pub(crate) struct Hangs<'a> {
    line: &'a Line,
    memo: &'a Memo,
    found: OnceCell<Result<Moorings, CasesError>>,
}

impl<'a> Hangs<'a> {
    pub(crate) fn new(line: &'a Line, memo: &'a Memo) -> Hangs<'a> {
        Hangs {
            line,
            memo,
            found: OnceCell::new(),
        }
    }

    /// With shapes that have been found already.
    pub(crate) fn with(line: &'a Line, found: Moorings, memo: &'a Memo) -> Hangs<'a> {
        Hangs {
            line,
            memo,
            found: OnceCell::from(Ok(found)),
        }
    }

    pub(crate) fn line(&self) -> &'a Line {
        self.line
    }

    pub(crate) fn memo(&self) -> &'a Memo {
        self.memo
    }

    pub(crate) fn found(&self) -> Result<&Moorings, String> {
        let found = self.found.get_or_init(|| moorings_of(self.line, self.memo));
        found.as_ref().map_err(ToString::to_string)
    }

    /// What counts in the shapes although nobody wrote it; nothing where no verdict has asked for them.
    pub(crate) fn assumed(&self) -> &[String] {
        match self.found.get() {
            Some(Ok(found)) => &found.assumed,
            Some(Err(_)) | None => &[],
        }
    }
}

/// What a verdict is about, once the shapes are known.
pub(crate) struct Told<'a> {
    pub(crate) found: &'a Moorings,
    pub(crate) of: &'a HungLine,
}

impl Told<'_> {
    pub(crate) fn case(&self, extreme: Extreme) -> String {
        let case = self.found.cases[extreme.case].named();
        extreme.surface.of(&case)
    }

    /// The first case without a shape, else weather of which nothing is written: while there is one, only what is broken is known.
    pub(crate) fn gap(&self) -> Option<String> {
        self.found.gap(self.of)
    }

    pub(crate) fn evidence(&self, more: &impl std::fmt::Debug) -> Evidence {
        Evidence::computed(METHOD, &(&self.of.line, &self.found.cases, more))
    }

    /// A verdict that stands only if it is broken while some case has no shape.
    pub(crate) fn whole(&self, verdict: Verdict) -> Verdict {
        verdict.only_broken_for(self.gap().as_ref())
    }
}

pub(crate) fn not_moored(all: &[Result<HungLine, NotMoored>]) -> String {
    let nots: Vec<&NotMoored> = all.iter().filter_map(|of| of.as_ref().err()).collect();
    if nots.is_empty() {
        "it hangs on no section that ends at an anchor".to_owned()
    } else {
        no_shape(&nots)
    }
}

/// What is told of what hangs on lines without a shape.
pub(crate) fn no_shape(nots: &[&NotMoored]) -> String {
    let whys = nots
        .iter()
        .map(|not| format!("{}: {}", not.section, not.why.join("; ")));
    format!(
        "the shape of the line is unknown ({})",
        whys.collect::<Vec<_>>().join("; ")
    )
}

/// What something of a line bears against what it may.
#[derive(Clone, Debug)]
pub struct Strength {
    /// The check that asks it of every plan, by its name in `check`.
    pub check: &'static str,
    /// What it comes to.
    pub verdict: Verdict,
}

/// What every section, anchor, housing and float of moored lines bears over all cases against what the plan says that it may.
#[must_use]
pub fn strengths(line: &Line, found: &Moorings) -> Vec<Strength> {
    let memo = Memo::with_room(0);
    let hangs = Hangs::with(line, found.clone(), &memo);
    let ropes = (0..line.sections.len()).map(SectionIx);
    let ropes =
        ropes.map(|s| rope_bears(&hangs, s).unwrap_or_else(|| stands::rope_unsaid(line, s)));
    // A float that comes off rises: it is held to where it hangs.
    let housings = housing_margin(line, None, None).into_iter();
    let housings = housings.filter(|v| !v.subject().starts_with("float."));
    let all = [
        ("rope-load", ropes.collect::<Vec<_>>()),
        ("anchor-hold", anchor_load(&hangs, None, None)),
        ("weak-link", recovery_verdicts::weak_links(&hangs)),
        ("held-up", stands::held_up(&hangs)),
        ("clear-of-bed", hung_verdicts::clear_of_bed(&hangs)),
        ("housing-margin", housings.collect()),
        ("float-depth", stands::float_depths(&hangs)),
    ];
    let each = all.into_iter().flat_map(|(check, verdicts)| {
        let named = move |verdict| Strength { check, verdict };
        verdicts.into_iter().map(named)
    });
    each.collect()
}
