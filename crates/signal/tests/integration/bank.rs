//! The bank of decidecade filters against IEC 61260-1, at every band and rate.

use signal::{
    BandBlock, BankError, Block, Decidecade, DecidecadeBank, FilterError, butterworth_bandpass,
    level_db,
};

use crate::support::{close, lcg, sine};

/// Rates of recorders, Hz.
const RATES_HZ: [f64; 21] = [
    8_000.0, 11_025.0, 12_000.0, 16_000.0, 22_050.0, 24_000.0, 32_000.0, 44_100.0, 48_000.0,
    50_000.0, 64_000.0, 78_125.0, 88_200.0, 96_000.0, 125_000.0, 192_000.0, 250_000.0, 256_000.0,
    288_000.0, 384_000.0, 576_000.0,
];
/// Share of the rate up to which a band is looked at: half of it, but for the point itself where every filter is at zero.
const TOP: f64 = 0.499_99;

/// Class 1 of IEC 61260-1:2014 Table 1, moved to one-third octaves by the standard's formula: the ratio to the centre, the
/// least and the largest relative attenuation, dB.
struct Class1(Vec<[f64; 3]>);

impl Class1 {
    fn read() -> Self {
        let g = 10.0_f64.powf(0.3);
        let rows = truth::numbers("signal/iec61260-1-class1.csv");
        assert_eq!(rows.len(), 10);
        let moved =
            |power: f64| 1.0 + (g.powf(1.0 / 6.0) - 1.0) / (g.sqrt() - 1.0) * (g.powf(power) - 1.0);
        Self(
            rows.into_iter()
                .map(|[power, least, most]| [moved(power), least, most])
                .collect(),
        )
    }

    /// Least and largest attenuation at a ratio to the centre: straight between breakpoints in the logarithm of frequency,
    /// the last one from there on.
    fn limits(&self, ratio: f64) -> (f64, f64) {
        let ratio = ratio.max(1.0 / ratio);
        let above = self.0.iter().position(|row| row[0] >= ratio);
        match above {
            None => (self.0[self.0.len() - 1][1], f64::INFINITY),
            Some(0) => (self.0[0][1], self.0[0][2]),
            Some(i) => {
                let ([w0, l0, h0], [w1, l1, h1]) = (self.0[i - 1], self.0[i]);
                let share = (ratio / w0).ln() / (w1 / w0).ln();
                let most = if h1.is_finite() {
                    h0 + share * (h1 - h0)
                } else {
                    f64::INFINITY
                };
                (l0 + share * (l1 - l0), most)
            }
        }
    }

    /// Ratios to look at: every breakpoint to both sides, sixteen steps between each two, and far out.
    fn ratios(&self) -> Vec<f64> {
        let mut ratios: Vec<f64> = self.0.iter().map(|row| row[0]).collect();
        for pair in self.0.windows(2) {
            let step = |k: i32| pair[0][0] * (pair[1][0] / pair[0][0]).powf(f64::from(k) / 16.0);
            ratios.extend((1..16).map(step));
        }
        ratios.extend((1..90).map(|k| 5.4 * 1.07_f64.powi(k)));
        let below: Vec<f64> = ratios.iter().map(|r| 1.0 / r).collect();
        ratios.extend(below);
        ratios
    }

    /// By how much the limits are kept at worst, dB; negative where they are not, with the ratio there.
    fn room(
        &self,
        band: Decidecade,
        rate_hz: f64,
        attenuation_db: impl Fn(f64) -> f64,
    ) -> (f64, f64) {
        let centre_hz = band.centre_hz();
        let points = self
            .ratios()
            .into_iter()
            .filter(|r| r * centre_hz <= TOP * rate_hz);
        points
            .map(|ratio| {
                let (least, most) = self.limits(ratio);
                let found = attenuation_db(ratio * centre_hz);
                ((found - least).min(most - found), ratio)
            })
            .fold((f64::INFINITY, 0.0), |worst, next| {
                if next.0 < worst.0 { next } else { worst }
            })
    }
}

fn bank_at(rate_hz: f64, lowest: i32) -> DecidecadeBank {
    let highest = DecidecadeBank::highest_at(rate_hz).unwrap();
    DecidecadeBank::new(Decidecade::new(lowest), highest, rate_hz).unwrap()
}

#[test]
fn val_every_band_keeps_class_1_at_every_rate() {
    let class_1 = Class1::read();
    let mut least = f64::INFINITY;
    for rate_hz in RATES_HZ {
        let bank = bank_at(rate_hz, 10);
        for (index, band) in bank.bands().iter().enumerate() {
            let (room, ratio) = class_1.room(*band, rate_hz, |f| bank.attenuation_db(index, f));
            assert!(
                room >= 0.0,
                "{} at {rate_hz} Hz misses class 1 by {} dB at {ratio} of its centre",
                band.label(),
                -room
            );
            least = least.min(room);
        }
    }
    // Whatever the rate, there is room for the tolerance of a real chain.
    assert!(least > 0.25, "{least} dB");
}

/// IEC 61260-1:2014, 5.12 (as the methods tell it): the integral of the power response over ln f, less that of the ideal
/// filter, `ln(f2/f1)`; within 0.4 dB for class 1.
#[test]
fn val_effective_bandwidth_keeps_class_1_and_is_the_same_everywhere() {
    let (mut narrowest, mut widest) = (f64::INFINITY, f64::NEG_INFINITY);
    for rate_hz in [8_000.0, 44_100.0, 48_000.0, 250_000.0, 288_000.0] {
        let bank = bank_at(rate_hz, 10);
        for (index, band) in bank.bands().iter().enumerate() {
            let (from, to) = (
                0.02 * band.centre_hz(),
                (50.0 * band.centre_hz()).min(TOP * rate_hz),
            );
            let steps = 800;
            let step = (to / from).ln() / f64::from(steps);
            let sum: f64 = (0..steps)
                .map(|k| from * ((f64::from(k) + 0.5) * step).exp())
                .map(|f_hz| 10f64.powf(-0.1 * bank.attenuation_db(index, f_hz)))
                .sum();
            let deviation_db = 10.0 * (sum * step / (0.1 * 10f64.ln())).log10();
            narrowest = narrowest.min(deviation_db);
            widest = widest.max(deviation_db);
        }
    }
    assert!(
        narrowest > 0.06 && widest < 0.13,
        "{narrowest} dB to {widest} dB"
    );
}

/// Red test: a six-pole filter by the bilinear transform at the full rate. At 48 kHz it misses class 1 from 12.5 kHz on.
#[test]
fn val_a_plain_six_pole_filter_fails_near_half_the_rate() {
    let class_1 = Class1::read();
    let keeps = |index: i32| {
        let band = Decidecade::new(index);
        let filter = butterworth_bandpass(3, band.low_hz(), band.high_hz(), 48_000.0).unwrap();
        let power = |f_hz: f64| {
            let (re, im) = filter.response(f_hz);
            re * re + im * im
        };
        let centre = power(band.centre_hz());
        class_1
            .room(band, 48_000.0, |f| -10.0 * (power(f) / centre).log10())
            .0
            >= 0.0
    };
    let kept: Vec<bool> = [39, 40, 41, 42, 43].map(keeps).into();
    assert_eq!(kept, [true, true, false, false, false], "8 kHz to 20 kHz");
}

#[test]
fn verif_what_cannot_be_had_is_refused() {
    // 20 kHz reaches up to 22.4 kHz: beyond half of 44.1 kHz, within that of 48 kHz.
    for (rate_hz, highest) in [
        (8_000.0, 35),
        (16_000.0, 38),
        (22_050.0, 39),
        (24_000.0, 40),
        (32_000.0, 41),
        (44_100.0, 42),
        (48_000.0, 43),
        (96_000.0, 46),
        (192_000.0, 49),
        (250_000.0, 50),
        (384_000.0, 52),
    ] {
        let found = DecidecadeBank::highest_at(rate_hz).unwrap();
        assert_eq!(found.index, highest, "{rate_hz} Hz");
        let error = DecidecadeBank::new(Decidecade::new(10), Decidecade::new(highest + 1), rate_hz);
        assert!(matches!(error, Err(BankError::TooHigh { .. })));
    }
    let said = DecidecadeBank::new(Decidecade::new(10), Decidecade::new(43), 44_100.0)
        .unwrap_err()
        .to_string();
    assert_eq!(
        said,
        "the band at 20000 Hz reaches up to 22387.2 Hz; at a rate of 44100 Hz a band may reach up to 22005.9 Hz"
    );
    let new = |lowest, highest, rate_hz| {
        DecidecadeBank::new(Decidecade::new(lowest), Decidecade::new(highest), rate_hz).unwrap_err()
    };
    assert!(matches!(new(20, 19, 48e3), BankError::Order { .. }));
    assert!(matches!(new(-21, 19, 48e3), BankError::TooLow { .. }));
    assert!(matches!(
        new(10, 19, 0.0),
        BankError::Filter(FilterError::Rate { .. })
    ));
    assert!(matches!(new(10, 19, 0.01), BankError::NoBand { .. }));
}

/// Sums of squares by band of what a bank lets through of `x`, and samples counted.
fn through(bank: &mut DecidecadeBank, x: &[f32], from: u64) -> Vec<(f64, u64)> {
    let starts: Vec<u64> = (0..bank.bands().len())
        .map(|b| bank.first_from(b, from))
        .collect();
    let mut sums = vec![(0.0, 0); bank.bands().len()];
    bank.process(Block::new(0, x), |BandBlock { band, first, x }| {
        let skip = starts[band].saturating_sub(first).min(x.len() as u64) as usize;
        sums[band].0 += x[skip..].iter().map(|v| v * v).sum::<f64>();
        sums[band].1 += (x.len() - skip) as u64;
    })
    .unwrap();
    sums
}

/// The response that is computed is that of the samples: tones in the middle, at the edges and where a decimator folds.
#[test]
fn verif_tones_come_through_as_the_response_says() {
    let rate_hz = 48_000.0;
    for index in [23, 30, 38, 40, 43] {
        let band = Decidecade::new(index);
        for ratio in [0.6, 0.9, 10f64.powf(-0.05), 1.0, 1.1, 1.3, 1.7, 1.9] {
            let f_hz = ratio * band.centre_hz();
            if f_hz > 0.49 * rate_hz {
                continue;
            }
            let mut bank = DecidecadeBank::new(band, band, rate_hz).unwrap();
            let sums = through(&mut bank, &sine(f_hz, rate_hz, 1.0, 96_000), 24_000);
            let found = -level_db(sums[0].0 / sums[0].1 as f64, 0.5_f64.sqrt());
            let (re, im) = {
                let k = bank.factor(0) as f64;
                butterworth_bandpass(4, band.low_hz(), band.high_hz(), rate_hz / k)
                    .unwrap()
                    .response(band.centre_hz())
            };
            let centre_db = -10.0 * (re * re + im * im).log10();
            let expected = bank.attenuation_db(0, f_hz) + centre_db;
            // Single precision between rungs lies some 150 dB down, and adds to or takes from what is left of the tone.
            if expected > 120.0 {
                assert!(found > 120.0, "{ratio} times {}: {found} dB", band.label());
                continue;
            }
            close(
                found,
                expected,
                0.01 + 8.7 * 10f64.powf((expected - 150.0) / 20.0),
                &format!("{} times {}", ratio, band.label()),
            );
        }
    }
}

/// White noise: every band level is the density plus its bandwidth, and 0.11 dB for the skirts.
#[test]
fn verif_white_noise_reads_its_bandwidth() {
    let rate_hz = 48_000.0;
    let x = lcg(48_000 * 60);
    let mean_square = x.iter().map(|&v| f64::from(v).powi(2)).sum::<f64>() / x.len() as f64;
    let density = mean_square / (0.5 * rate_hz);
    let mut bank = bank_at(rate_hz, 10);
    let sums = through(&mut bank, &x, 96_000);
    for (band, (sum, count)) in bank.bands().to_vec().into_iter().zip(sums) {
        let width_hz = band.high_hz() - band.low_hz();
        let found = level_db(sum / count as f64, 1.0);
        let expected = level_db(density * width_hz, 1.0) + 0.11;
        // Random error of 58 s in `width_hz`: 4.34/sqrt(58 width) dB; four of these.
        let tolerance = 0.03 + 4.0 * 4.343 / (58.0 * width_hz).sqrt();
        close(found, expected, tolerance, &band.label());
    }
}

/// A burst is found where it was: with the group delay taken off, the middle of its energy lies in the middle of the burst.
#[test]
fn verif_delays_are_taken_off() {
    let rate_hz = 48_000.0;
    for index in [13, 20, 30, 40, 43] {
        let band = Decidecade::new(index);
        let mut bank = DecidecadeBank::new(band, band, rate_hz).unwrap();
        let length = (40.0 / band.centre_hz() * rate_hz) as usize;
        let begin = 48_000_usize;
        let mut x = vec![0.0_f32; begin];
        x.extend(sine(band.centre_hz(), rate_hz, 1.0, length));
        let middle = (begin + length / 2) as u64;
        x.resize(x.len() + bank.longest_delay() as usize + 48_000, 0.0);
        let at = bank.first_from(0, middle);
        let (mut before, mut after) = (0.0, 0.0);
        bank.process(Block::new(0, &x), |block| {
            for (j, v) in (block.first..).zip(block.x) {
                if j < at {
                    before += v * v;
                } else {
                    after += v * v;
                }
            }
        })
        .unwrap();
        close(before / (before + after), 0.5, 0.06, &band.label());
    }
}

/// What stands for an instant is known after the stated delay.
#[test]
fn verif_everything_is_known_after_the_longest_delay() {
    let mut bank = bank_at(48_000.0, 10);
    let end = 30_000_u64;
    let x = vec![1.0_f32; end as usize + bank.longest_delay() as usize];
    let mut known = vec![0_u64; bank.bands().len()];
    bank.process(Block::new(0, &x), |block| {
        known[block.band] = block.first + block.x.len() as u64;
    })
    .unwrap();
    for (band, known) in known.iter().enumerate() {
        assert!(*known >= bank.first_from(band, end), "band {band}");
    }
}

#[test]
fn verif_silence_after_sound_never_becomes_subnormal() {
    let mut bank = bank_at(48_000.0, 10);
    let mut x = lcg(4_800);
    x.resize(48_000 * 40, 0.0);
    let mut last = vec![f64::NAN; bank.bands().len()];
    bank.process(Block::new(0, &x), |block| {
        assert!(block.x.iter().all(|v| !v.is_subnormal()));
        last[block.band] = block.x[block.x.len() - 1];
    })
    .unwrap();
    // The lowest bands ring for longer than the others.
    assert!(last[10..].iter().all(|v| *v == 0.0), "{last:?}");
}
