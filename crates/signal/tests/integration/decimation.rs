//! The decimator's response and delay, and the front's levels against the full rate.

use signal::{BandFront, Block, Cell, Decimator, MeanSquare, butterworth_bandpass, level_db};

use crate::support::{close, lcg, sine};

fn all(decimator: &mut Decimator, x: &[f32]) -> Vec<f32> {
    let mut y = Vec::new();
    decimator
        .process(Block::new(0, x), |b| y.extend_from_slice(b.x))
        .unwrap();
    y
}

#[test]
fn verif_pass_band_is_flat_and_folded_bands_are_stopped() {
    for (factor, pass_hz) in [
        (2, 10_000.0),
        (7, 2_000.0),
        (18, 1_040.0),
        (16, 600.0),
        (27, 300.0),
        (30, 1_040.0),
        (36, 1_200.0),
        (240, 120.0),
        (4096, 8.0),
    ] {
        let d = Decimator::new(factor, pass_hz, 96_000.0).unwrap();
        for i in 0..=50 {
            let f_hz = pass_hz * f64::from(i) / 50.0;
            let ripple_db = 20.0 * d.gain(f_hz).abs().log10();
            close(ripple_db, 0.0, 0.01, "ripple in the pass band");
            for image in 1..=factor / 2 {
                let centre = image as f64 * d.rate_out_hz();
                for folded_hz in [centre - f_hz, centre + f_hz] {
                    if folded_hz <= 48_000.0 {
                        let rejection_db = -20.0 * d.gain(folded_hz).abs().log10();
                        assert!(
                            rejection_db >= 80.0,
                            "factor {factor}: {folded_hz} Hz only {rejection_db} dB down"
                        );
                    }
                }
            }
        }
    }
}

#[test]
fn verif_samples_are_centred_and_tones_come_out_where_the_response_says() {
    let mut d = Decimator::new(30, 1_040.0, 96_000.0).unwrap();
    let y = all(&mut d, &sine(200.0, 96_000.0, 1.0, 96_000));
    for (j, v) in y.iter().enumerate().skip(100) {
        let expected = (2.0 * std::f64::consts::PI * 200.0 * (j * 30) as f64 / 96_000.0).sin();
        close(f64::from(*v), expected, 1e-4, "tone of 200 Hz");
    }
    d.reset();
    let alias = all(&mut d, &sine(3_400.0, 96_000.0, 1.0, 96_000));
    let worst = alias[100..].iter().fold(0.0_f32, |m, v| m.max(v.abs()));
    assert!(worst < 1e-4, "3400 Hz folds to 200 Hz with {worst}");
}

#[test]
fn verif_output_is_complete_exactly_when_stated() {
    let mut d = Decimator::new(30, 1_040.0, 96_000.0).unwrap();
    let x = lcg(3_000);
    let mut told = 0_u64;
    for (i, v) in x.iter().enumerate() {
        d.process(Block::new(i as u64, &[*v]), |b| {
            assert_eq!(b.first, told);
            told += b.x.len() as u64;
        })
        .unwrap();
        let due = (i as u64 + 1).saturating_sub(d.reach()).div_ceil(30);
        assert_eq!(told, due, "after sample {i}");
    }
    assert!(told > 50);
}

#[test]
fn verif_front_levels_agree_with_the_full_rate() {
    let rate_hz = 96_000.0;
    let x: Vec<f32> = lcg(96_000 * 20);
    for order in [2, 3, 4, 6] {
        for (low, high) in [(60.0, 260.0), (90.0, 170.0), (20.0, 800.0), (20.0, 1_000.0)] {
            let mut full = vec![0.0; x.len()];
            butterworth_bandpass(order, low, high, rate_hz)
                .unwrap()
                .process(&x, &mut full);
            let mean =
                |y: &[f32]| y.iter().map(|&v| f64::from(v).powi(2)).sum::<f64>() / y.len() as f64;
            let mut front = BandFront::new(order, low, high, rate_hz).unwrap();
            assert!(front.factor() > 1 || high > 800.0 && order < 4);
            let mut y = Vec::new();
            front
                .process(Block::new(0, &x), |b| y.extend_from_slice(b.x))
                .unwrap();
            let from = 48_000 / front.factor();
            let difference_db =
                level_db(mean(&y[from..]), 1.0) - level_db(mean(&full[48_000..]), 1.0);
            close(
                difference_db,
                0.0,
                0.01,
                &format!("order {order}, {low} Hz to {high} Hz"),
            );
        }
    }
}

#[test]
fn verif_front_tells_the_time_of_a_burst() {
    let mut front = BandFront::new(4, 60.0, 260.0, 96_000.0).unwrap();
    let centre_hz = front.filter().centre_hz();
    let middle = 150_000.0;
    let x: Vec<f32> = (0..300_000)
        .map(|i| {
            let t = (f64::from(i) - middle) / 96_000.0;
            ((-0.5 * (t / 0.05).powi(2)).exp() * (2.0 * std::f64::consts::PI * centre_hz * t).cos())
                as f32
        })
        .collect();
    let mut squares = Vec::new();
    front
        .process(Block::new(0, &x), |b| {
            squares.extend(b.x.iter().map(|&v| f64::from(v).powi(2)))
        })
        .unwrap();
    let energy: f64 = squares.iter().sum();
    let centroid: f64 = squares
        .iter()
        .enumerate()
        .map(|(j, s)| front.centre(j as u64) * s)
        .sum::<f64>()
        / energy;
    close(centroid, middle, 48.0, "centre of the burst, in samples");
}

#[test]
fn verif_cells_of_the_front_are_anchored() {
    let mut front = BandFront::new(4, 5_000.0, 40_000.0, 96_000.0).unwrap();
    assert_eq!((front.factor(), front.last_needed(7)), (1, 7));
    let mut cells: Vec<Cell> = Vec::new();
    let mut squares = MeanSquare::new(960, 480).unwrap();
    front
        .process(Block::new(100, &lcg(5_000)), |b| {
            squares.process(b, |c| cells.push(c)).unwrap()
        })
        .unwrap();
    assert_eq!(
        cells.iter().map(|c| c.k).collect::<Vec<_>>(),
        [1, 2, 3, 4, 5, 6, 7, 8]
    );
    assert!(cells.iter().all(|c| c.last == c.k * 480 + 959));
}
