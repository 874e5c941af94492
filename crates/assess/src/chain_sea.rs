//! The sea against which a chain is held: its winds, its level in bands and behind a high-pass.
//!
//! It is [`seawater::ambient_noise`] at the mean wind of each month.

use std::sync::Arc;

use plan::Line;
use seawater::{SeaError, band_level_db_re_1upa};
use signal::{Decidecade, HighPass, power_sum_db};

use crate::memo::{Job, Memo, canonical};
use crate::months::months_in_water;

/// Frequencies for which the ambient noise is stated, Hz.
pub(crate) const SEA_HZ: (f64, f64) = (1.0, 1e6);
/// Parts of a decidecade over which the high-pass counts as constant, for what comes through it.
const PARTS: u32 = 8;

/// Level of the sea in a band, dB re 1 uPa.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SeaBand {
    /// Without wind.
    pub calm_db: f64,
    /// At the mean wind of the quietest month.
    pub quietest_db: f64,
    /// At the mean wind of the windiest month.
    pub windiest_db: f64,
}

/// The winds and the shipping of the site.
pub(crate) struct Sea {
    /// Month and its mean wind, m/s.
    pub(crate) months: Vec<(usize, f64)>,
    pub(crate) quietest_m_s: f64,
    pub(crate) windiest_m_s: f64,
    pub(crate) shipping: f64,
}

/// The decidecades of a band, cut at its ends.
pub(crate) fn parts_of(low_hz: f64, high_hz: f64) -> Vec<(f64, f64)> {
    let first = Decidecade::containing(low_hz).map_or(0, |b| b.index);
    let last = Decidecade::containing(high_hz).map_or(-1, |b| b.index);
    (first..=last)
        .map(|index| {
            let band = Decidecade::new(index);
            (band.low_hz().max(low_hz), band.high_hz().min(high_hz))
        })
        .collect()
}

/// The sea in one month, part by part of the decidecades up to a frequency.
pub(crate) struct SeaParts {
    pub(crate) wind_m_s: f64,
    pub(crate) shipping: f64,
    pub(crate) top_hz: f64,
}

canonical!(SeaParts {
    wind_m_s,
    shipping,
    top_hz
});

impl Job for SeaParts {
    const METHOD: &'static str = "parts of the sea/1";
    /// Middle of each part, Hz, and its level, dB re 1 uPa.
    type Out = Result<Vec<(f64, f64)>, SeaError>;

    fn run(&self, _: &Memo) -> Self::Out {
        let width = self.top_hz / SEA_HZ.0;
        let steps = libm::ceil(10.0 * f64::from(PARTS) * libm::log10(width));
        let at_hz = |i: f64| SEA_HZ.0 * libm::pow(width, i / steps);
        (0..steps as u32)
            .map(|i| {
                let (low, high) = (at_hz(f64::from(i)), at_hz(f64::from(i) + 1.0));
                let top_hz = high.min(self.top_hz);
                let level_db = band_level_db_re_1upa(low, top_hz, self.wind_m_s, self.shipping)?;
                Ok((libm::sqrt(low * high), level_db))
            })
            .collect()
    }

    fn bytes(out: &Self::Out) -> usize {
        out.as_ref().map_or(0, |all| size_of_val(all.as_slice()))
    }
}

/// The sea in one month, all parts together, behind a high-pass of a corner, Hz, and a number of poles.
pub(crate) struct SeaBehind {
    pub(crate) parts: SeaParts,
    pub(crate) high_pass: Option<(f64, usize)>,
}

canonical!(SeaBehind { parts, high_pass });

impl Job for SeaBehind {
    const METHOD: &'static str = "sea behind a high-pass/1";
    /// Level, dB re 1 uPa.
    type Out = Result<f64, SeaError>;

    fn run(&self, memo: &Memo) -> Self::Out {
        let parts = memo.of(&self.parts);
        let parts = parts.as_ref().as_ref().map_err(Clone::clone)?;
        let high_pass = self
            .high_pass
            .map(|(corner_hz, poles)| HighPass { corner_hz, poles });
        let gain_db = |f_hz: f64| {
            let gain = high_pass.map_or(1.0, |h| h.power_gain(f_hz));
            10.0 * libm::log10(gain)
        };
        let behind = |&(middle_hz, level_db): &(f64, f64)| level_db + gain_db(middle_hz);
        Ok(power_sum_db(parts.iter().map(behind)))
    }

    fn bytes(_: &Self::Out) -> usize {
        0
    }
}

/// The sea in bands.
struct SeaBands {
    /// Lower and upper edge of each, Hz.
    edges: Vec<(f64, f64)>,
    quietest_m_s: f64,
    windiest_m_s: f64,
    shipping: f64,
}

canonical!(SeaBands {
    edges,
    quietest_m_s,
    windiest_m_s,
    shipping
});

impl Job for SeaBands {
    const METHOD: &'static str = "bands of the sea/1";
    type Out = Vec<Option<SeaBand>>;

    fn run(&self, _: &Memo) -> Self::Out {
        let one = |&(low_hz, high_hz): &(f64, f64)| {
            let at =
                |wind_m_s| band_level_db_re_1upa(low_hz, high_hz, wind_m_s, self.shipping).ok();
            Some(SeaBand {
                calm_db: at(0.0)?,
                quietest_db: at(self.quietest_m_s)?,
                windiest_db: at(self.windiest_m_s)?,
            })
        };
        self.edges.iter().map(one).collect()
    }

    fn bytes(out: &Self::Out) -> usize {
        size_of_val(out.as_slice())
    }
}

/// Level of the sea in each of some bands; none where the sea is not known, or the formula does not hold.
pub(crate) fn sea_bands(
    sea: Option<&Sea>,
    edges: Vec<(f64, f64)>,
    memo: &Memo,
) -> Arc<Vec<Option<SeaBand>>> {
    match sea {
        None => Arc::new(vec![None; edges.len()]),
        Some(sea) => memo.of(&SeaBands {
            edges,
            quietest_m_s: sea.quietest_m_s,
            windiest_m_s: sea.windiest_m_s,
            shipping: sea.shipping,
        }),
    }
}

/// The winds of the months that count, or why the sea is not known.
pub(crate) fn sea(line: &Line, in_air: bool, month: Option<usize>) -> Result<Sea, String> {
    if in_air {
        return Err(
            "the sensor is in air, and there is no model of ambient noise in air".to_owned(),
        );
    }
    let Some(shipping) = line.sea.shipping else {
        return Err("`site.shipping` is not written: how much shipping there is".to_owned());
    };
    let winds: Vec<f64> = line.sea.wind_m_s.iter().map(|q| q.si).collect();
    let wanted = match month {
        Some(month) => vec![month],
        None => months_in_water(line),
    };
    let months: Vec<(usize, f64)> = wanted
        .into_iter()
        .filter_map(|m| Some((m, *winds.get(m)?)))
        .collect();
    let by_wind = |a: &&(usize, f64), b: &&(usize, f64)| a.1.total_cmp(&b.1);
    let (Some(quietest), Some(windiest)) =
        (months.iter().min_by(by_wind), months.iter().max_by(by_wind))
    else {
        return Err("`site.wind` is not written: the mean wind of each month".to_owned());
    };
    Ok(Sea {
        quietest_m_s: quietest.1,
        windiest_m_s: windiest.1,
        shipping: shipping.si,
        months,
    })
}
