//! However the samples are cut into blocks, not a bit changes.

use proptest::prelude::*;
use signal::{
    Arithmetic, BandFront, Block, Decidecade, DecidecadeBank, Decimator, Exponential, Frames,
    Levels, MeanSquare, Spectrogram, StreamError, Welch, butterworth_bandpass,
    butterworth_highpass,
};

use crate::support::lcg;

const SAMPLES: usize = 6_000;

fn cuts() -> impl Strategy<Value = Vec<usize>> {
    prop::collection::vec(
        prop_oneof![0..4_usize, 1..97_usize, 200..3_000_usize],
        1..200,
    )
}

/// Calls `take` with the blocks of the sound from `origin` on, cut as told; the last piece takes the rest.
fn feed(x: &[f32], origin: u64, cuts: &[usize], mut take: impl FnMut(Block<'_>)) {
    let mut at = 0;
    for &n in cuts {
        let n = n.min(x.len() - at);
        take(Block::new(origin + at as u64, &x[at..at + n]));
        at += n;
    }
    take(Block::new(origin + at as u64, &x[at..]));
}

/// What a chain tells, as numbers with their index, from the whole sound and from the pieces.
fn same(
    origin: u64,
    cuts: &[usize],
    run: impl Fn(&mut dyn FnMut(&mut dyn FnMut(Block<'_>))) -> Vec<(u64, u64)>,
) {
    let x = lcg(SAMPLES);
    let whole = run(&mut |take| take(Block::new(origin, &x)));
    let pieces = run(&mut |take| feed(&x, origin, cuts, take));
    assert!(!whole.is_empty());
    let differs = whole.iter().zip(&pieces).position(|(a, b)| a != b);
    assert!(
        whole.len() == pieces.len() && differs.is_none(),
        "first difference at {differs:?}"
    );
}

fn told(out: &mut Vec<(u64, u64)>, b: Block<'_>) {
    out.extend(
        b.x.iter()
            .zip(b.first..)
            .map(|(v, i)| (i, u64::from(v.to_bits()))),
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn verif_filters(cuts in cuts()) {
        for filter in [butterworth_bandpass(4, 60.0, 260.0, 48e3), butterworth_bandpass(6, 5e3, 2e4, 48e3), butterworth_highpass(3, 10.0, 48e3)] {
            let filter = filter.unwrap();
            same(0, &cuts, |sound| {
                let (mut f, mut out) = (filter.clone(), Vec::new());
                sound(&mut |b| {
                    let mut y = vec![0.0; b.x.len()];
                    f.process(b.x, &mut y);
                    told(&mut out, Block::new(b.first, &y));
                });
                out
            });
        }
    }

    #[test]
    fn verif_banks(cuts in cuts(), origin in 0..5_000_u64) {
        let bank = DecidecadeBank::new(Decidecade::new(20), Decidecade::new(43), 48e3).unwrap();
        same(origin, &cuts, |sound| {
            let mut bank = bank.clone();
            let mut bands = vec![Vec::new(); bank.bands().len()];
            sound(&mut |b| bank.process(b, |out| {
                bands[out.band].extend(out.x.iter().zip(out.first..).map(|(v, i)| (i, v.to_bits())));
            }).unwrap());
            bands.concat()
        });
    }

    #[test]
    fn verif_decimators_and_fronts(cuts in cuts(), origin in 0..5_000_u64) {
        for factor in [2, 10, 36] {
            let d = Decimator::new(factor, 200.0, 48e3).unwrap();
            same(origin, &cuts, |sound| {
                let (mut d, mut out) = (d.clone(), Vec::new());
                sound(&mut |b| d.process(b, |y| told(&mut out, y)).unwrap());
                out
            });
        }
        for (low, high) in [(60.0, 260.0), (5e3, 2e4)] {
            let front = BandFront::new(4, low, high, 48e3).unwrap();
            same(origin, &cuts, |sound| {
                let (mut front, mut out) = (front.clone(), Vec::new());
                sound(&mut |b| front.process(b, |y| told(&mut out, y)).unwrap());
                out
            });
        }
    }

    #[test]
    fn verif_mean_squares(cuts in cuts(), origin in 0..5_000_u64, window in 1..900_u64, hop in 1..900_u64) {
        same(origin, &cuts, |sound| {
            let (mut m, mut out) = (MeanSquare::new(window, hop).unwrap(), Vec::new());
            sound(&mut |b| m.process(b, |c| out.push((c.k, c.mean_square.to_bits()))).unwrap());
            out
        });
        let x = lcg(SAMPLES);
        let mut m = MeanSquare::new(window, hop).unwrap();
        m.process(Block::new(origin, &x), |c| {
            let from = (c.k * hop - origin) as usize;
            let plain = x[from..from + window as usize].iter().map(|&v| f64::from(v).powi(2)).sum::<f64>() / window as f64;
            assert!((c.mean_square - plain).abs() <= 1e-12 * plain.max(1e-12));
        }).unwrap();
    }

    #[test]
    fn verif_levels_and_weighting(cuts in cuts()) {
        same(0, &cuts, |sound| {
            let (mut levels, mut weighting) = (Levels::new(48e3).unwrap(), Exponential::new(0.125, 48e3).unwrap());
            sound(&mut |b| {
                levels.push(b.x);
                weighting.process(b.x);
            });
            [levels.mean_square(), levels.mean(), levels.peak(), levels.peak_to_peak(), weighting.mean_square()].map(|v| (0, v.to_bits())).into()
        });
    }

    #[test]
    fn verif_spectra(cuts in cuts(), origin in 0..5_000_u64, hop in 1..700_usize) {
        same(origin, &cuts, |sound| {
            let (mut s, mut out) = (Spectrogram::new(512, hop, 48e3, Arithmetic::Scalar).unwrap(), Vec::new());
            sound(&mut |b| s.process(b, |c| {
                assert_eq!(c.last, c.k * hop as u64 + 511);
                out.extend(c.density.iter().map(|d| (c.k, d.to_bits())));
            }).unwrap());
            out
        });
        let hop = hop.min(300);
        same(origin, &cuts, |sound| {
            let (mut s, mut out) = (Frames::new(300, hop, 48e3, 0.0, 20e3).unwrap(), Vec::new());
            sound(&mut |b| s.process(b, |c| {
                assert_eq!(c.last, c.k * hop as u64 + 299);
                out.extend(c.power.iter().map(|d| (c.k, u64::from(d.to_bits()))));
            }).unwrap());
            out
        });
        same(origin, &cuts, |sound| {
            let mut welch = Welch::new(256, 128, 48e3, Arithmetic::Scalar).unwrap();
            sound(&mut |b| welch.process(b).unwrap());
            welch.psd().unwrap().density.iter().map(|d| (0, d.to_bits())).collect()
        });
    }
}

#[test]
fn verif_gaps_are_refused() {
    let mut m = MeanSquare::new(10, 10).unwrap();
    m.process(Block::new(5, &[0.0; 10]), |_| ()).unwrap();
    assert_eq!(
        m.process(Block::new(20, &[0.0; 10]), |_| ()),
        Err(StreamError::OutOfOrder {
            expected: 15,
            found: 20
        })
    );
    m.reset();
    m.process(Block::new(20, &[0.0; 10]), |_| ()).unwrap();
    assert!(matches!(
        m.clone().process(Block::new(30, &[]), |_| ()),
        Ok(())
    ));
    let mut d = MeanSquare::new(10, 10).unwrap();
    assert!(matches!(
        d.process(Block::new(u64::MAX, &[0.0; 2]), |_| ()),
        Err(StreamError::IndexOverflow { .. })
    ));
}
