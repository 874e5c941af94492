//! In which winds calls are put into noise: those that the requirements of a plan read.

use plan::{CallIx, DetectorIx, Line, That};

use super::Subject;
use crate::chain::months_in_water;

/// A wind in whose noise calls are drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wind {
    /// The mean wind of a month, 1 to 12.
    OfMonth(u8),
    /// A wind up to which something is to hold, m/s.
    AtMost(f64),
}

impl Wind {
    /// The month, 1 to 12.
    #[must_use]
    pub fn month(self) -> Option<u8> {
        match self {
            Self::OfMonth(month) => Some(month),
            Self::AtMost(_) => None,
        }
    }

    /// The wind of a site, m/s.
    pub(crate) fn m_s(self, subject: &Subject) -> f64 {
        match self {
            Self::OfMonth(month) => subject.wind_m_s[usize::from(month) - 1],
            Self::AtMost(wind_m_s) => wind_m_s,
        }
    }
}

/// The months that the line may be in the water, 1 to 12 in their order from the start, with the slips of start and recovery; all
/// where no start is known.
#[must_use]
pub fn deployment_months(line: &Line) -> Vec<u8> {
    let months = months_in_water(line).into_iter();
    months.map(|month| month as u8 + 1).collect()
}

/// The winds up to which requirements on the range of a detector for a call are to hold, m/s, rising.
#[must_use]
pub fn limit_winds_m_s(line: &Line, detector: DetectorIx, call: CallIx) -> Vec<f64> {
    let asked = line.requirements.iter().filter(|r| {
        matches!(r.that, That::DetectionRange { of, call: c, .. } if of == detector && c == call)
    });
    let mut winds_m_s: Vec<f64> = asked
        .filter_map(|r| r.when_wind_at_most_m_s.map(|q| q.si))
        .collect();
    winds_m_s.sort_by(f64::total_cmp);
    winds_m_s.dedup();
    winds_m_s
}
