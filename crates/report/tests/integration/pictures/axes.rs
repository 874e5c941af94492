//! Axes of a spectrogram: what a pixel stands for.

use report::{Axis, AxisScale, Pooling, SpectrogramBuilder, SpectrogramSettings};

use super::{plain, spectrogram, tone_in_noise};
use crate::pixels::{Pixels, dark, lightness};

/// Middles of the runs of dark pixels along a line of pixels.
fn dark_runs(pixels: impl Iterator<Item = [u8; 3]>) -> Vec<f64> {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for (i, rgb) in pixels.enumerate() {
        if dark(rgb) {
            match runs.last_mut() {
                Some(run) if run.1 == i => run.1 = i + 1,
                _ => runs.push((i, i + 1)),
            }
        }
    }
    runs.into_iter()
        .map(|(a, b)| (a + b) as f64 / 2.0)
        .collect()
}

/// Ticks are found as dark pixels just outside the plot and must stand on multiples of a 1-2-5
/// step to within the pixel.
#[test]
fn verif_tick_pixels_map_back_to_round_values() {
    let data = spectrogram(8000.0, (0.0, 4000.0), &tone_in_noise(8000.0, 1000.0, 60.0));
    let picture = plain(&data).draw().unwrap();
    let pixels = Pixels::of(&picture);
    let (left, _) = picture.frame.time.pixels();
    let (bottom, top) = picture.frame.vertical.pixels();

    let column = (0..bottom as usize + 2).map(|y| pixels.at(left - 4.0, y as f64));
    let ticks_hz = on_axis(&picture.frame.vertical, dark_runs(column));
    assert_eq!(ticks_hz.len(), 9, "{ticks_hz:?}");
    let hz_a_pixel = 4000.0 / (bottom - top);
    for (tick_hz, wanted_hz) in ticks_hz
        .iter()
        .rev()
        .zip((0..9).map(|i| f64::from(i) * 500.0))
    {
        assert!(
            (tick_hz - wanted_hz).abs() <= hz_a_pixel,
            "{tick_hz} for {wanted_hz}"
        );
    }

    let row = (0..pixels.width).map(|x| pixels.at(x as f64, bottom + 4.0));
    let ticks_s = on_axis(&picture.frame.time, dark_runs(row));
    assert_eq!(ticks_s.len(), 13, "{ticks_s:?}");
    let (begin_s, end_s) = picture.frame.time.range();
    let (_, right) = picture.frame.time.pixels();
    let s_a_pixel = (end_s - begin_s) / (right - left);
    for (tick_s, wanted_s) in ticks_s.iter().zip((0..13).map(|i| f64::from(i) * 5.0)) {
        assert!(
            (tick_s - wanted_s).abs() <= s_a_pixel,
            "{tick_s} for {wanted_s}"
        );
    }
}

fn on_axis(axis: &Axis, pixels: Vec<f64>) -> Vec<f64> {
    let (a, b) = axis.pixels();
    let (low, high) = (a.min(b) - 1.0, a.max(b) + 1.0);
    let inside = pixels.into_iter().filter(|px| (low..=high).contains(px));
    inside.map(|px| axis.value(px)).collect()
}

#[test]
fn verif_axes_map_there_and_back() {
    for (scale, range) in [
        (AxisScale::Linear, (-3.0, 17.0)),
        (AxisScale::Logarithmic, (10.0, 150_000.0)),
    ] {
        let axis = Axis::new("frequency", "Hz", scale, range, (700.0, 80.0)).unwrap();
        assert!((axis.px(range.0) - 700.0).abs() < 1e-9);
        assert!((axis.px(range.1) - 80.0).abs() < 1e-9);
        for i in 0..=100 {
            let px = 80.0 + 6.2 * f64::from(i);
            assert!((axis.px(axis.value(px)) - px).abs() < 1e-9);
        }
    }
    let log = |low| {
        let range = (low, 10.0);
        Axis::new("frequency", "Hz", AxisScale::Logarithmic, range, (0.0, 1.0))
    };
    assert!(
        log(0.0).is_err() && log(-1.0).is_err() && log(10.0).is_err() && log(f64::NAN).is_err()
    );
}

/// Windows lie half their length inside the recording; the picture begins at the first sample all the same, ends with the
/// last window, and is hatched only where samples are missing.
#[test]
fn verif_a_picture_begins_at_the_first_sample() {
    // 61 windows of 1024 samples, 256 apart, are 16 384 samples; a further 100 fill no window.
    let tone_hz = 141.0 * 8000.0 / 1024.0;
    let signal = tone_in_noise(8000.0, tone_hz, 16_484.0 / 8000.0);
    let data = spectrogram(8000.0, (0.0, 4000.0), &signal);
    assert_eq!(data.reach_s(), (0.0, 16_384.0 / 8000.0));
    let picture = plain(&data).draw().unwrap();
    assert_eq!(picture.frame.time.range(), data.reach_s());
    let pixels = Pixels::of(&picture);
    assert!(!pixels.text("Description").contains("Hatched"));
    let (left, right) = picture.frame.time.pixels();
    let tone_y = picture.frame.vertical.px(tone_hz);
    for x in [left, right - 1.0] {
        assert!(lightness(pixels.at(x, tone_y)) > 60.0, "at {x}");
    }

    let mut builder = SpectrogramBuilder::new(SpectrogramSettings {
        rate_hz: 8000.0,
        window_samples: 1024,
        hop_samples: 256,
        keep_hz: (0.0, 4000.0),
        pooling: Pooling::Greatest,
    })
    .unwrap();
    builder.push(&signal[..8192]).unwrap();
    builder.gap(8192).unwrap();
    builder.push(&signal[..100]).unwrap();
    let cut = builder.finish().unwrap();
    assert_eq!(cut.reach_s(), (0.0, 8192.0 / 8000.0));

    let mut builder = SpectrogramBuilder::new(SpectrogramSettings {
        rate_hz: 8000.0,
        window_samples: 1024,
        hop_samples: 256,
        keep_hz: (0.0, 4000.0),
        pooling: Pooling::Greatest,
    })
    .unwrap();
    builder.gap(4096).unwrap();
    builder.push(&signal[..8192]).unwrap();
    let late = builder.finish().unwrap();
    let picture = plain(&late).draw().unwrap();
    let pixels = Pixels::of(&picture);
    assert!(pixels.text("Description").contains("Hatched: no data"));
    let [r, g, b] = pixels.at(picture.frame.time.pixels().0, tone_y);
    assert!(r == g && g == b, "missing samples look like {r} {g} {b}");
}
