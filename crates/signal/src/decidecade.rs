//! Decidecade bands (one-tenth decade, the base-ten one-third octave).
//!
//! Source: IEC 61260-1:2014 with base-ten ratio G = 10^0.3 and reference 1 kHz: centre `1000 * 10^(n/10)` Hz, edges a
//! twentieth of a decade to each side; ISO 18405 calls the interval a decidecade. Nominal labels by the standard's list
//! (secondary transcription).

use alloc::format;
use alloc::string::String;

/// One decidecade band, by its number: 30 is 1 kHz, 10 is 10 Hz, 50 is 100 kHz.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Decidecade {
    /// Band number: ten times the logarithm of the exact centre in Hz.
    pub index: i32,
}

const NOMINAL: [f64; 10] = [1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0];

impl Decidecade {
    /// The band with number `index`.
    pub fn new(index: i32) -> Self {
        Self { index }
    }

    /// The band that holds `f_hz` (lower edge included); `None` unless the frequency is finite and positive.
    pub fn containing(f_hz: f64) -> Option<Self> {
        if !(f_hz.is_finite() && f_hz > 0.0) {
            return None;
        }
        let mut band = Self {
            index: libm::floor(10.0 * libm::log10(f_hz) + 0.5) as i32,
        };
        if f_hz < band.low_hz() {
            band.index -= 1;
        } else if f_hz >= band.high_hz() {
            band.index += 1;
        }
        Some(band)
    }

    /// Exact centre, Hz.
    pub fn centre_hz(self) -> f64 {
        power_of_ten(2 * i64::from(self.index))
    }

    /// Exact lower edge, Hz: the same number as the upper edge of the band below.
    pub fn low_hz(self) -> f64 {
        power_of_ten(2 * i64::from(self.index) - 1)
    }

    /// Exact upper edge, Hz.
    pub fn high_hz(self) -> f64 {
        power_of_ten(2 * i64::from(self.index) + 1)
    }

    /// Nominal centre, Hz: 31.5 for band 15.
    pub fn nominal_hz(self) -> f64 {
        let step = self.index.rem_euclid(10) as usize;
        let decade = self.index.div_euclid(10);
        let digits = libm::floor(NOMINAL[step] * 100.0 + 0.5);
        if decade >= 2 {
            digits * libm::pow(10.0, f64::from(decade - 2))
        } else {
            digits / libm::pow(10.0, f64::from(2 - decade))
        }
    }

    /// Nominal label with its unit: `31.5 Hz`, `1.25 kHz`.
    pub fn label(self) -> String {
        let hz = self.nominal_hz();
        if hz >= 1000.0 {
            format!("{} kHz", hz / 1000.0)
        } else {
            format!("{hz} Hz")
        }
    }
}

/// The bands that lie wholly inside `low_hz` to `high_hz`, lowest first; edges that agree within one part in 10^12 count as
/// inside. Nothing when the interval is empty or not finite and positive.
pub fn decidecades(low_hz: f64, high_hz: f64) -> impl Iterator<Item = Decidecade> + Clone {
    let range = match (
        Decidecade::containing(low_hz),
        Decidecade::containing(high_hz),
    ) {
        (Some(a), Some(b)) => a.index..b.index + 1,
        _ => 0..0,
    };
    range.map(Decidecade::new).filter(move |b| {
        b.low_hz() >= low_hz * (1.0 - EDGE_TOLERANCE)
            && b.high_hz() <= high_hz * (1.0 + EDGE_TOLERANCE)
    })
}

const EDGE_TOLERANCE: f64 = 1e-12;

fn power_of_ten(twentieths: i64) -> f64 {
    libm::pow(10.0, twentieths as f64 / 20.0)
}
