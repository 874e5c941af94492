//! Read values as the line holds them: plain numbers with spread and place.

use quantity::{Amount, Law};

use crate::line::{Decibels, Q};
use crate::read::Fields;
use crate::site::Site;

pub(super) fn q((amount, at): (&Amount, Site)) -> Q {
    Q {
        si: amount.si,
        law: amount.law,
        at,
    }
}

pub(super) fn bare((value, at): (&f64, Site)) -> Q {
    Q {
        si: *value,
        law: None,
        at,
    }
}

impl Fields {
    pub(crate) fn q(&self, key: &'static str) -> Option<Q> {
        self.amount(key).map(q)
    }

    /// A list of quantities; empty when it is not written.
    pub(crate) fn qs(&self, key: &'static str) -> Vec<Q> {
        let list = self.amounts(key).map(|(list, _)| list.as_slice());
        list.unwrap_or_default()
            .iter()
            .map(|(a, site)| q((a, *site)))
            .collect()
    }

    /// An angle in degrees; angles are read in radians.
    pub(crate) fn deg(&self, key: &'static str) -> Option<Q> {
        self.q(key).map(in_degrees)
    }

    pub(crate) fn db(&self, key: &'static str) -> Option<Decibels> {
        self.level(key).map(|(_, level, at)| Decibels {
            db: level.db,
            law: level.law,
            at,
        })
    }
}

/// An angle that was read in radians, in degrees.
pub(super) fn in_degrees(q: Q) -> Q {
    const DEG_PER_RAD: f64 = 180.0 / std::f64::consts::PI;
    Q {
        si: q.si * DEG_PER_RAD,
        law: q.law.map(|law| match law {
            Law::Normal { half_width } => Law::Normal {
                half_width: half_width * DEG_PER_RAD,
            },
            Law::Uniform { half_width } => Law::Uniform {
                half_width: half_width * DEG_PER_RAD,
            },
        }),
        at: q.at,
    }
}

pub(super) fn unknown(at: Site) -> Q {
    Q {
        si: f64::NAN,
        law: None,
        at,
    }
}
