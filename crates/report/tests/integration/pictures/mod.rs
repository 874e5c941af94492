//! What the pixels of a spectrogram say, read back from the file.

mod axes;
mod marks;
mod refused;

use std::f64::consts::PI;

use report::{
    AxisScale, ColourRange, EventMark, PictureSize, Pooling, Spectrogram, SpectrogramBuilder,
    SpectrogramPicture, SpectrogramSettings, SpectrumReference, scale_colour,
};

use crate::pixels::{Pixels, lightness};

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
