//! Under each law that is looked at the wind that counts, and how it stands to a limit.

use injection::Outer;

use super::{Asked, Drawn, windy};
use crate::range::{
    Found, RangeError, Sampled, Subject, SurveyLaw, at_least_m, found, month_range, reaches,
    reaches_in, told,
};

/// What came of one wind under one law.
#[derive(Clone, Copy)]
pub(super) struct Came {
    pub(super) found: Found,
    /// Which wind of those that were drawn.
    pub(super) wind: usize,
}

/// How a law stands to a limit.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Stands {
    /// Found so far by the lower limits.
    Kept,
    /// Not even seen so far.
    Broken,
    /// Seen, and not shown by so few calls.
    TooFew,
    /// The limit lies beyond what is computed.
    Beyond,
}

/// Where all winds are looked at under one law: the one that counts.
pub(super) struct UnderLaw<'l> {
    pub(super) law: &'l SurveyLaw,
    pub(super) worst: Came,
    pub(super) stands: Stands,
}

impl<'l> UnderLaw<'l> {
    /// The worst of the winds: what is not even seen is broken, else the nearest by the lower limits.
    fn new(law: &'l SurveyLaw, each: &[Came], limit_m: f64) -> Self {
        let low_m = |c: &Came| at_least_m(c.found.unbroken_low);
        let seen_m = |c: &Came| at_least_m(c.found.unbroken_seen);
        let least = |of: &dyn Fn(&Came) -> f64| {
            let nearer = |a: Came, b: &Came| if of(b) < of(&a) { *b } else { a };
            let first = *each.first().expect("a deployment has months");
            each[1..].iter().fold(first, nearer)
        };
        let unseen = Some(least(&seen_m)).filter(|c| {
            // What is still seen as far as is computed may reach any limit.
            seen_m(c) < limit_m && !matches!(c.found.unbroken_seen, Outer::Beyond(_))
        });
        let worst = unseen.unwrap_or_else(|| least(&low_m));
        let stands = match (unseen, worst.found.unbroken_low) {
            (Some(_), _) => Stands::Broken,
            (None, Outer::Beyond(m)) if limit_m > m => Stands::Beyond,
            (None, low) if at_least_m(low) < limit_m => Stands::TooFew,
            (None, _) => Stands::Kept,
        };
        Self { law, worst, stands }
    }

    pub(super) fn low_m(&self) -> f64 {
        at_least_m(self.worst.found.unbroken_low)
    }

    pub(super) fn told(&self) -> String {
        format!(
            "{} under {}",
            told(self.worst.found.unbroken_low),
            self.law.words
        )
    }
}

/// Each law that counts where a range must hold in a share of the hours, in the winds that so many of them stay below: over a background less wind is less noise, and no
/// fewer calls are found. And how far the noise of these winds lies from that in which the calls were drawn, dB.
pub(super) fn under_laws_in_hours<'s>(
    subject: &'s Subject,
    asked: &Asked,
    drawn: &[Drawn<'_>],
    share: f64,
) -> Result<(Vec<UnderLaw<'s>>, f64), String> {
    let mut apart_db = 0.0_f64;
    let sampled: Vec<&Sampled> = drawn.iter().map(|d| &d.sampled).collect();
    let laws = subject.laws.iter().filter(|law| asked.binding || law.own);
    let all = laws.map(|law| {
        let mut each = Vec::new();
        for (wind, d) in drawn.iter().enumerate() {
            let Some((_, windy_m_s)) = windy(subject, asked, d.wind)? else {
                continue;
            };
            let ([seen, low], db) = reaches_in(subject, law, windy_m_s, &sampled)?;
            apart_db = apart_db.max(db);
            each.push(Came {
                found: Found::new(&seen, &low, share),
                wind,
            });
        }
        Ok(UnderLaw::new(law, &each, asked.at_least_m.si))
    });
    let all: Vec<UnderLaw<'s>> = all.collect::<Result<_, String>>()?;
    Ok((all, apart_db))
}

/// Each law that counts: for what is only advised that of the plan, else all that are looked at.
pub(super) fn under_laws<'s>(
    subject: &'s Subject,
    asked: &Asked,
    drawn: &[Drawn<'_>],
    share: f64,
) -> Result<Vec<UnderLaw<'s>>, RangeError> {
    let (depth_m, limit_m) = (subject.hydrophone_depth_m, asked.at_least_m.si);
    if !asked.binding {
        let each = drawn.iter().enumerate().map(|(wind, d)| {
            let range = month_range(subject, &d.sampled, d.wind.month(), depth_m)?;
            Ok(Came {
                found: found(&range, share),
                wind,
            })
        });
        let each: Vec<Came> = each.collect::<Result<_, RangeError>>()?;
        return Ok(vec![UnderLaw::new(subject.own(), &each, limit_m)]);
    }
    let mut by_law: Vec<Vec<Came>> = vec![Vec::new(); subject.laws.len()];
    for (wind, d) in drawn.iter().enumerate() {
        for (came, (seen, low)) in by_law
            .iter_mut()
            .zip(reaches(subject, &d.sampled, depth_m)?)
        {
            came.push(Came {
                found: Found::new(&seen, &low, share),
                wind,
            });
        }
    }
    let laws = subject.laws.iter().zip(&by_law);
    Ok(laws
        .map(|(law, each)| UnderLaw::new(law, each, limit_m))
        .collect())
}
