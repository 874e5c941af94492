//! What comes of a failure at its worst time, where modules come and go after it.

use super::{After, OutputAfter, Safe, Sees};

/// What is unknown for that settles.
const SETTLES: &str = "more power in hand there, so that nothing comes and goes, settles it, and a rehearsal shows it";

impl After {
    /// What comes of it at each time that differs, this first.
    fn at_all_times(&self) -> impl Iterator<Item = &After> {
        std::iter::once(self).chain(&self.others)
    }

    /// Of all times the one at which most modules work: who is silent then is silent always.
    fn fewest_silent(&self) -> &After {
        let working = |a: &After| a.works_on.iter().filter(|w| **w == Some(true)).count();
        let mut fewest = self;
        for other in &self.others {
            if working(other) > working(fewest) {
                fewest = other;
            }
        }
        fewest
    }

    /// What comes of it at its worst time: hydrophones that are lost at any time, outputs that are unsafe at any, and the notice of what is silent at all of them, unknown where
    /// what comes back breaks every silence. All else is as it is here.
    #[must_use]
    pub fn at_worst(&self) -> After {
        if self.others.is_empty() {
            return self.clone();
        }
        let any = |lost: fn(&After) -> &Vec<String>| -> Vec<String> {
            let mut all: Vec<String> = self.at_all_times().flat_map(lost).cloned().collect();
            all.sort_unstable();
            all.dedup();
            all
        };
        let lost_to_shore = any(|a| &a.lost_to_shore);
        let shore = match self.shore {
            Sees::NoShore => Sees::NoShore,
            _ if lost_to_shore.is_empty() => Sees::Alerts,
            _ if self.is_quiet() => Sees::Quiet,
            _ => Sees::Unknown,
        };
        let shore_notices_s = match (shore, &self.fewest_silent().shore_notices_s) {
            (Sees::NoShore, _) => self.shore_notices_s.clone(),
            (Sees::Quiet, _) => None,
            (Sees::Unknown, notices) if notices.is_none() || self.shore_unsteady => {
                Some(Err(format!(
                    "{}: heartbeats come between, so when the shore can tell is unknown; {SETTLES}",
                    self.comes_and_goes()
                )))
            }
            (_, notices) => notices.clone(),
        };
        let outputs = (0..self.outputs.len()).map(|o| self.worst_of(o));
        After {
            lost_to_line: any(|a| &a.lost_to_line),
            lost_to_shore,
            shore,
            shore_notices_s,
            outputs: outputs.collect(),
            others: Vec::new(),
            ..self.clone()
        }
    }

    /// Hydrophones that are lost to the line or to the shore at times only.
    #[must_use]
    pub fn lost_at_times(&self) -> Vec<String> {
        let here = self.lost();
        let worst = self.at_worst();
        let all = worst.lost().into_iter();
        all.filter(|h| !here.contains(h))
            .map(str::to_owned)
            .collect()
    }

    /// Modules that come and go after it, in words.
    #[must_use]
    pub fn comes_and_goes(&self) -> String {
        let does = |who: &[String], one: &str, many: &str| {
            let does = if who.len() == 1 { one } else { many };
            (!who.is_empty()).then(|| format!("{} {does}", who.join(", ")))
        };
        let again = does(
            &self.tries_again,
            "boots again and again",
            "boot again and again",
        );
        let at_times = does(&self.at_times, "drops out at times", "drop out at times");
        let said: Vec<String> = again.into_iter().chain(at_times).collect();
        said.join(", and ")
    }

    /// Whether it leaves the shore with a quiet sea: for good, or at all those times at which it takes a hydrophone.
    fn is_quiet(&self) -> bool {
        let mut taking = self
            .at_all_times()
            .filter(|t| !t.lost_to_shore.is_empty())
            .peekable();
        self.shore == Sees::Quiet
            || taking.peek().is_some() && taking.all(|t| t.shore == Sees::Quiet)
    }

    /// An output at the worst of these times.
    fn worst_of(&self, o: usize) -> OutputAfter {
        let each: Vec<&OutputAfter> = self.at_all_times().map(|a| &a.outputs[o]).collect();
        let is_unknown = |o: &&&OutputAfter| matches!(o.safe, Safe::Unknown(_));
        if let Some(never) = each.iter().find(|o| o.safe == Safe::Never) {
            return (*never).clone();
        }
        if let Some(unknown) = each.iter().find(is_unknown) {
            return (*unknown).clone();
        }
        let longest = each
            .iter()
            .max_by(|a, b| within_s(a).total_cmp(&within_s(b)));
        let mut worst = (*longest.expect("this time is among them")).clone();
        // A silence that brings it there at times only is broken by what comes back, and a module that comes back begins its timers anew.
        let at_last = &self.fewest_silent().outputs[o];
        let own_unsteady = self
            .tries_again
            .iter()
            .chain(&self.at_times)
            .any(|m| at_last.output.starts_with(&format!("{m}.")));
        if each.iter().any(|o| o.by_timer) && (at_last.safe == Safe::NotNeeded || own_unsteady) {
            worst.safe = Safe::Unknown(format!(
                "{}: what comes back may wind its timer up again, so when it is in its fail-safe state is unknown; {SETTLES}",
                self.comes_and_goes()
            ));
        }
        worst
    }
}

/// Time to the fail-safe state, s; negative where it need not come there.
fn within_s(output: &OutputAfter) -> f64 {
    match output.safe {
        Safe::Within(s) => s,
        _ => -1.0,
    }
}
