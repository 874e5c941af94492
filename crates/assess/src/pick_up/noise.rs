//! What is picked up as noise of a range: spread over decidecades, each line once.

use signal::Decidecade;

use super::{Over, PickUps, powers};

/// Below this the formula of the sea is not stated, Hz.
const LOWEST_HZ: f64 = 1.0;
/// What stands for no noise where a row has to say something, uPa^2/Hz: -300 dB.
const NO_NOISE_UPA2_HZ: f64 = 1e-30;

impl PickUps {
    /// Mean power in a band at the worst of the states, uPa^2, of each line only the share of where it may lie that lies in the band, so that bands
    /// side by side hold it once: all of it, and what is sure.
    fn mean_once_upa2(&self, band_hz: (f64, f64)) -> (f64, f64) {
        let modules = self.states.iter().map(|(module, names)| {
            let own = self.of_module(*module, band_hz, Over::Mean);
            let states = (0..names.len().max(1)).map(|state| powers(&own, state, |p| p.part));
            states.fold((0.0_f64, 0.0_f64), |most, of| {
                (most.0.max(of.0), most.1.max(of.1))
            })
        });
        modules.fold((0.0, 0.0), |sum, of| (sum.0 + of.0, sum.1 + of.1))
    }

    /// The decidecades from 1 Hz up to half the rate that lie in a band, with the mean power of what may fold into each beside what is sure, uPa^2: each
    /// line once. Those into which nothing may fold are left out.
    pub(crate) fn doubtful(&self, (low_hz, high_hz): (f64, f64)) -> Vec<((f64, f64), f64)> {
        if !self.in_doubt() {
            return Vec::new();
        }
        let half_hz = 0.5 * self.noise.chain().rate_hz();
        let bands = signal::decidecades(LOWEST_HZ, half_hz).map(|band| {
            let (a, b) = edges(band, half_hz);
            (a.max(low_hz), b.min(high_hz))
        });
        bands
            .filter(|(a, b)| a < b)
            .filter_map(|band_hz| {
                let (all, sure) = self.mean_once_upa2(band_hz);
                (all > sure).then_some((band_hz, all - sure))
            })
            .collect()
    }

    /// Rows of noise, Hz and dB re 1 uPa^2/Hz, with the mean of what is sure to be picked up spread over each decidecade up to half the rate, each
    /// line once. Where the rows are empty what lies beside what is picked up is no noise at all.
    pub(crate) fn spread_over(&self, rows: &[(f64, f64)]) -> Vec<(f64, f64)> {
        /// Beside an edge, so that rows rise.
        const BESIDE: f64 = 1e-6;
        let half_hz = 0.5 * self.noise.chain().rate_hz();
        let mut spread: Vec<(f64, f64, f64)> = Vec::new();
        for band in signal::decidecades(LOWEST_HZ, half_hz) {
            let (low_hz, high_hz) = edges(band, half_hz);
            let (_, power) = self.mean_once_upa2((low_hz, high_hz));
            if power > 0.0 {
                spread.push((low_hz, high_hz, power / (high_hz - low_hz)));
            }
        }
        if spread.is_empty() {
            return rows.to_vec();
        }
        let mut at_hz: Vec<f64> = rows.iter().map(|row| row.0).collect();
        for (low_hz, high_hz, _) in &spread {
            for edge_hz in [low_hz, high_hz] {
                at_hz.extend([edge_hz * (1.0 - BESIDE), edge_hz * (1.0 + BESIDE)]);
            }
        }
        at_hz.sort_by(f64::total_cmp);
        at_hz.dedup();
        at_hz
            .into_iter()
            .map(|f_hz| {
                let own = signal::table_level_db(rows, f_hz).map(|db| libm::pow(10.0, db / 10.0));
                let inside = spread
                    .iter()
                    .find(|(low, high, _)| *low <= f_hz && f_hz < *high);
                let sum = own.unwrap_or(0.0) + inside.map_or(0.0, |(_, _, density)| *density);
                // The ends of a table are held: without a row of next to nothing one line would be the noise at all frequencies.
                (f_hz, 10.0 * libm::log10(sum.max(NO_NOISE_UPA2_HZ)))
            })
            .collect()
    }
}

/// A decidecade as far as half the rate.
fn edges(band: Decidecade, half_hz: f64) -> (f64, f64) {
    (band.low_hz(), band.high_hz().min(half_hz))
}
