//! In which winds calls are put into noise: those that the requirements of a plan read.

use plan::{CallIx, DetectorIx, Line, That};

use super::sound::over_background;
use super::subject::CALM_M_S;
use super::{RangeError, Subject};
use crate::input::detector_spec;
use crate::months::months_in_water;

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
    pub(crate) fn m_s(self, subject: &Subject) -> Result<f64, RangeError> {
        match self {
            Self::OfMonth(month) => subject.month_wind_m_s(month),
            Self::AtMost(wind_m_s) => Ok(wind_m_s),
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

/// The winds up to which requirements on the range of a detector for a call are to hold, m/s, rising; with a calm where the detector has a
/// fixed threshold, as it is held to that too.
#[must_use]
pub fn limit_winds_m_s(line: &Line, detector: DetectorIx, call: CallIx) -> Vec<f64> {
    let asked = line.requirements.iter().filter(|r| {
        matches!(r.that, That::DetectionRange { of, call: c, .. } if of == detector && c == call)
    });
    let mut winds_m_s: Vec<f64> = asked
        .filter_map(|r| r.when_wind_at_most_m_s.map(|q| q.si))
        .collect();
    let fixed = || detector_spec(line, detector, None).is_ok_and(|spec| !over_background(&spec));
    if !winds_m_s.is_empty() && fixed() {
        winds_m_s.push(CALM_M_S);
    }
    winds_m_s.sort_by(f64::total_cmp);
    winds_m_s.dedup();
    winds_m_s
}
