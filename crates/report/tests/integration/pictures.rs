//! What the pixels of a spectrogram say, read back from the file.

use std::f64::consts::PI;

use report::{
    Axis, AxisScale, ColourRange, EventMark, Grid, PictureError, PictureSize, Pooling, Spectrogram,
    SpectrogramBuilder, SpectrogramPicture, SpectrogramSettings, SpectrumReference, scale_colour,
};

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

fn spectrogram(rate_hz: f64, keep_hz: (f64, f64), signal: &[f32]) -> Spectrogram {
    let mut builder = SpectrogramBuilder::new(SpectrogramSettings {
        rate_hz,
        window_samples: 1024,
        hop_samples: 256,
        keep_hz,
        pooling: Pooling::Greatest,
    })
    .unwrap();
    builder.push(signal).unwrap();
    builder.finish().unwrap()
}

fn tone_in_noise(rate_hz: f64, frequency_hz: f64, seconds: f64) -> Vec<f32> {
    let mut state = 99_u32;
    (0..(rate_hz * seconds) as usize)
        .map(|i| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(state) / 4_294_967_296.0 - 0.5;
            (1e4 * noise + 1e6 * (2.0 * PI * frequency_hz * i as f64 / rate_hz).sin()) as f32
        })
        .collect()
}

fn plain(spectrogram: &Spectrogram) -> SpectrogramPicture<'_> {
    SpectrogramPicture {
        title: "Tone",
        spectrogram,
        reference: SpectrumReference::WATER,
        size: PictureSize::PAGE,
        start_utc: None,
        time_range_s: None,
        frequency_range_hz: (0.0, 4000.0),
        frequency_scale: AxisScale::Linear,
        colour_range: ColourRange::Percentiles,
        marks: &[],
        kinds: &[],
        full_scale_s: &[],
        remarks: &[],
    }
}

fn mark(begin_s: f64, end_s: f64, band_hz: Option<(f64, f64)>) -> EventMark {
    EventMark {
        begin_s,
        end_s,
        band_hz,
        sweep_hz: None,
        kind: 0,
        label: "upcall  124.3 dB".to_owned(),
    }
}

#[test]
fn verif_the_file_has_the_stated_size_and_texts() {
    let data = spectrogram(8000.0, (0.0, 4000.0), &tone_in_noise(8000.0, 1000.0, 2.0));
    for (width_px, height_px) in [(1400, 820), (1600, 900), (480, 480), (801, 603)] {
        let size = PictureSize {
            width_px,
            height_px,
        };
        let title = "Harrow Sound – øvre lyttepost, 海";
        let picture = SpectrogramPicture {
            size,
            title,
            ..plain(&data)
        }
        .draw()
        .unwrap();
        let pixels = Pixels::of(&picture);
        assert_eq!(
            (pixels.width, pixels.height),
            (width_px as usize, height_px as usize)
        );
        assert_eq!(pixels.text("Title"), title);
        assert_eq!(pixels.text("Software"), "Soundline");
        assert!(
            pixels
                .text("Description")
                .contains("Hann window of 1024 samples")
        );
    }
}

#[test]
fn verif_the_same_input_gives_the_same_bytes() {
    let data = spectrogram(8000.0, (0.0, 4000.0), &tone_in_noise(8000.0, 1000.0, 2.0));
    let marks = [mark(0.5, 0.9, Some((900.0, 1100.0)))];
    let picture = SpectrogramPicture {
        marks: &marks,
        ..plain(&data)
    };
    assert_eq!(picture.draw().unwrap(), picture.draw().unwrap());
}

#[test]
fn verif_a_tone_is_brightest_in_its_own_row() {
    for (rate_hz, scale, range_hz, tone_hz) in [
        (8000.0, AxisScale::Linear, (0.0, 4000.0), 1000.0),
        (8000.0, AxisScale::Logarithmic, (20.0, 4000.0), 1000.0),
        (300_000.0, AxisScale::Linear, (0.0, 150_000.0), 120_000.0),
    ] {
        let signal = tone_in_noise(rate_hz, tone_hz, 16_000.0 / rate_hz);
        let data = spectrogram(rate_hz, (0.0, rate_hz / 2.0), &signal);
        let picture = SpectrogramPicture {
            frequency_range_hz: range_hz,
            frequency_scale: scale,
            colour_range: ColourRange::Given {
                low_db: 0.0,
                high_db: 130.0,
            },
            ..plain(&data)
        }
        .draw()
        .unwrap();
        let pixels = Pixels::of(&picture);
        let (left, right) = picture.frame.time.pixels();
        let (bottom, top) = picture.frame.vertical.pixels();
        let x = (left + right) / 2.0;
        let bright = |y: usize| lightness(pixels.at(x, y as f64));
        let rows = top as usize..bottom as usize;
        let best = rows.clone().map(bright).fold(0.0, f64::max);
        let brightest: Vec<f64> = rows
            .filter(|&y| bright(y) == best)
            .map(|y| picture.frame.vertical.value(y as f64 + 0.5))
            .collect();
        let middle_hz = (brightest[0] + brightest[brightest.len() - 1]) / 2.0;
        let bin_hz = data.grid().row_step_hz;
        assert!(
            (middle_hz - tone_hz).abs() <= bin_hz,
            "{middle_hz} for {tone_hz}"
        );

        // The colour is that of the level: 117 dB less the noise bandwidth of 1.5 bins. A tone off
        // the middle of its bin loses up to 1.42 dB (Hann).
        let wanted_db = 120.0 - 10.0 * 2.0_f64.log10() - 10.0 * (1.5 * bin_hz).log10();
        let nearest = (0..=1300)
            .map(|i| f64::from(i) / 10.0)
            .min_by(|a, b| {
                let off = |db: f64| (lightness(scale_colour(db / 130.0)) - best).abs();
                off(*a).total_cmp(&off(*b))
            })
            .unwrap();
        assert!(
            (wanted_db - 2.2..=wanted_db + 0.8).contains(&nearest),
            "{nearest} dB read from the colour, {wanted_db} dB set"
        );
    }
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

/// Even steps of the scale are even steps of lightness, up to the rounding of 8-bit colours.
#[test]
fn verif_the_colour_scale_rises_evenly_in_lightness() {
    let at = |i: i32| lightness(scale_colour(f64::from(i) / 255.0));
    for i in 1..256 {
        // Neighbours may share one 8-bit colour in the dark; two steps never do.
        assert!(at(i) >= at(i - 1), "step {i}");
        assert!(i < 2 || at(i) > at(i - 2), "step {i}");
        let wanted = 8.0 + 86.0 * f64::from(i) / 255.0;
        assert!(
            (at(i) - wanted).abs() < 0.6,
            "step {i}: {} for {wanted}",
            at(i)
        );
    }
    assert_eq!(scale_colour(-1.0), scale_colour(0.0));
    assert_eq!(scale_colour(2.0), scale_colour(1.0));
}

#[test]
fn verif_marks_are_outlined_at_their_bounds_and_numbered_below() {
    let data = spectrogram(8000.0, (0.0, 4000.0), &tone_in_noise(8000.0, 1000.0, 10.0));
    let marks = [mark(2.0, 4.0, Some((500.0, 1500.0))), mark(7.0, 8.0, None)];
    let bare = plain(&data).draw().unwrap();
    let picture = SpectrogramPicture {
        marks: &marks,
        ..plain(&data)
    }
    .draw()
    .unwrap();
    let pixels = Pixels::of(&picture);
    let (time, frequency) = (picture.frame.time, picture.frame.vertical);
    let white_near = |x: f64, y: f64, along_x: bool| {
        (-6..=6).any(|d| {
            let d = f64::from(d);
            let (x, y) = if along_x { (x + d, y) } else { (x, y + d) };
            pixels.at(x, y) == [255, 255, 255]
        })
    };
    let middle_y = frequency.px(800.0);
    assert!(white_near(time.px(2.0), middle_y, true));
    assert!(white_near(time.px(4.0), middle_y, true));
    assert!(white_near(time.px(3.0), frequency.px(500.0), false));
    assert!(white_near(time.px(3.0), frequency.px(1500.0), false));
    assert!(white_near(time.px(7.0), middle_y, true));
    assert!(!white_near(time.px(5.5), middle_y, true));
    let (bottom, bare_bottom) = (frequency.pixels().0, bare.frame.vertical.pixels().0);
    assert!(
        bottom < bare_bottom,
        "the strip takes its room from the plot"
    );
    let strip = (bottom as usize + 54..pixels.height).filter(|&y| {
        dark(pixels.at(time.px(3.0), y as f64)) && !dark(pixels.at(time.px(6.5), y as f64))
    });
    assert!(strip.count() >= 10, "no bar below the mark");
}

#[test]
fn verif_missing_time_is_hatched_and_silence_is_told() {
    let grid = Grid {
        begin_s: 0.0,
        column_step_s: 1.0,
        columns: 3,
        first_row_hz: 500.0,
        row_step_hz: 1000.0,
        rows: 4,
    };
    let mut levels = vec![60.0; 12];
    levels[4..8].fill(f32::NAN);
    let data = Spectrogram::from_levels(grid, Pooling::Mean, None, levels).unwrap();
    let picture = plain(&data).draw().unwrap();
    let pixels = Pixels::of(&picture);
    let y = picture.frame.vertical.px(2000.0);
    let [r, g, b] = pixels.at(picture.frame.time.px(1.5), y);
    assert!(r == g && g == b && r > 150);
    let [r, _, b] = pixels.at(picture.frame.time.px(0.5), y);
    assert!(r != b);
    assert!(pixels.text("Description").contains("Hatched: no data"));

    let silent =
        Spectrogram::from_levels(grid, Pooling::Mean, None, vec![f32::NEG_INFINITY; 12]).unwrap();
    let picture = plain(&silent).draw().unwrap();
    assert_eq!(picture.frame.colour_db, None);
    assert!(
        Pixels::of(&picture)
            .text("Description")
            .contains("digital silence")
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

/// Against 20 µPa every level is 26.0 dB lower than against 1 µPa, and the colours stay.
#[test]
fn verif_levels_are_told_against_their_reference() {
    let data = spectrogram(8000.0, (0.0, 4000.0), &tone_in_noise(8000.0, 1000.0, 2.0));
    let given = |low_db| ColourRange::Given {
        low_db,
        high_db: low_db + 100.0,
    };
    let water = SpectrogramPicture {
        colour_range: given(20.0),
        ..plain(&data)
    };
    let air = SpectrogramPicture {
        reference: SpectrumReference {
            unit: "dB re (20 µPa)²/Hz",
            offset_db: 20.0 * 20f64.log10(),
        },
        colour_range: given(20.0 - 20.0 * 20f64.log10()),
        ..water
    };
    let loudest_db = |picture: &SpectrogramPicture<'_>| {
        let drawn = picture.draw().unwrap();
        let pixels = Pixels::of(&drawn);
        let text = pixels.text("Description");
        let (_, rest) = text.split_once("loudest cell ").unwrap();
        let level_db: f64 = rest.split_once(" dB").unwrap().0.parse().unwrap();
        let y = drawn.frame.vertical.px(1000.0);
        (level_db, pixels.at(drawn.frame.time.px(1.0), y))
    };
    let (in_water, in_air) = (loudest_db(&water), loudest_db(&air));
    assert!((in_water.0 - in_air.0 - 26.0).abs() < 0.11);
    assert_eq!(in_water.1, in_air.1);
    let reference = SpectrumReference {
        offset_db: f64::NAN,
        ..SpectrumReference::WATER
    };
    assert!(SpectrogramPicture { reference, ..water }.draw().is_err());
}

#[test]
fn verif_unusable_pictures_are_refused() {
    let data = spectrogram(8000.0, (0.0, 4000.0), &tone_in_noise(8000.0, 1000.0, 2.0));
    let good = plain(&data);
    let size = PictureSize {
        width_px: 100,
        height_px: 900,
    };
    let outcome = SpectrogramPicture { size, ..good }.draw();
    assert!(matches!(
        outcome,
        Err(PictureError::Size { width_px: 100, .. })
    ));
    let size = PictureSize {
        width_px: u32::MAX,
        height_px: 900,
    };
    assert!(SpectrogramPicture { size, ..good }.draw().is_err());
    for frequency_range_hz in [
        (5.0, 5.0),
        (f64::NAN, 9.0),
        (9000.0, 9500.0),
        (0.0, f64::INFINITY),
    ] {
        assert!(
            SpectrogramPicture {
                frequency_range_hz,
                ..good
            }
            .draw()
            .is_err()
        );
    }
    let frequency_scale = AxisScale::Logarithmic;
    assert!(matches!(
        SpectrogramPicture {
            frequency_scale,
            ..good
        }
        .draw(),
        Err(PictureError::Range {
            what: "frequency",
            ..
        })
    ));
    let time_range_s = Some((10.0, 20.0));
    assert!(matches!(
        SpectrogramPicture {
            time_range_s,
            ..good
        }
        .draw(),
        Err(PictureError::Outside { what: "time", .. })
    ));
    let colour_range = ColourRange::Given {
        low_db: 80.0,
        high_db: 80.0,
    };
    assert!(
        SpectrogramPicture {
            colour_range,
            ..good
        }
        .draw()
        .is_err()
    );
    let marks = [mark(1.0, 0.5, None)];
    assert!(matches!(
        SpectrogramPicture {
            marks: &marks,
            ..good
        }
        .draw(),
        Err(PictureError::Mark { number: 1, .. })
    ));
}

/// The straight line of a ridge runs through its box from corner to corner, and nowhere else.
#[test]
fn verif_a_ridge_has_its_line() {
    let data = spectrogram(8000.0, (0.0, 4000.0), &tone_in_noise(8000.0, 1000.0, 2.0));
    let ridge = EventMark {
        sweep_hz: Some((1500.0, 3000.0)),
        ..mark(0.5, 1.5, Some((1500.0, 3000.0)))
    };
    let marks = [ridge.clone()];
    let with = SpectrogramPicture {
        marks: &marks,
        ..plain(&data)
    };
    let with = with.draw().unwrap();
    let flat = [mark(0.5, 1.5, Some((1500.0, 3000.0)))];
    // A line of text more, as the other has of its ridge, so that both have the same scales.
    let remarks = ["A remark.".to_owned()];
    let without = SpectrogramPicture {
        marks: &flat,
        remarks: &remarks,
        ..plain(&data)
    };
    let without = without.draw().unwrap();
    let (pixels, bare) = (Pixels::of(&with), Pixels::of(&without));
    assert_eq!(with.frame, without.frame);
    for share in [0.2, 0.45, 0.7, 0.9] {
        let x = with.frame.time.px(0.5 + share);
        let y = with.frame.vertical.px(1500.0 + 1500.0 * share);
        let changed = |dy: i32| {
            let y = y + f64::from(dy);
            pixels.at(x, y) != bare.at(x, y)
        };
        assert!((-3..=3).any(changed), "{share}");
        let far = y + 40.0;
        assert_eq!(pixels.at(x, far), bare.at(x, far));
    }
    assert!(
        pixels
            .text("Description")
            .contains("straight lines through ridges")
    );
    assert!(!bare.text("Description").contains("straight lines"));
    let backward = EventMark {
        sweep_hz: Some((f64::NAN, 3.0)),
        ..ridge
    };
    let picture = SpectrogramPicture {
        marks: &[backward],
        ..plain(&data)
    };
    assert!(matches!(
        picture.draw(),
        Err(PictureError::Mark { what: "sweep", .. })
    ));
}

/// The SVG holds the same title, axes, marks and lettering as such, and the cells as an image of the size of the plot.
#[test]
fn verif_the_svg_says_the_same() {
    let data = spectrogram(8000.0, (0.0, 4000.0), &tone_in_noise(8000.0, 1000.0, 2.0));
    let marks = [mark(0.5, 0.9, Some((900.0, 1100.0)))];
    let picture = SpectrogramPicture {
        title: "A < B & C",
        marks: &marks,
        ..plain(&data)
    };
    let drawn = picture.draw().unwrap();
    let svg = &drawn.svg;
    for wanted in [
        "<title>A &lt; B &amp; C</title>",
        ">Frequency (kHz)</text>",
        ">Time from start of recording (s)</text>",
        ">no. 1: upcall  124.3 dB</text>",
        ">dB re 1 µPa²/Hz</text>",
    ] {
        assert!(svg.contains(wanted), "{wanted}");
    }
    let (left, right) = drawn.frame.time.pixels();
    let (bottom, top) = drawn.frame.vertical.pixels();
    let image = format!(
        "<image x=\"{left}\" y=\"{top}\" width=\"{}\" height=\"{}\"",
        right - left,
        bottom - top
    );
    assert!(svg.contains(&image), "{image}");
    assert!(svg.trim_end().ends_with("</svg>"));
    // Every tag that is opened is closed by itself, or has its end.
    for tag in ["text", "title", "desc", "svg"] {
        let (open, close) = (format!("<{tag}"), format!("</{tag}>"));
        assert_eq!(svg.matches(&open).count(), svg.matches(&close).count());
    }
}
