//! Pictures with many marks, several kinds of them, samples at full scale, and nothing at all: what they say is so.

use report::{
    AxisScale, ColourRange, EventMark, PictureSize, Pooling, Spectrogram, SpectrogramBuilder,
    SpectrogramPicture, SpectrogramSettings, SpectrumReference,
};

use crate::pixels::{Pixels, dark};

const WHITE: [u8; 3] = [255, 255, 255];

fn sound(amplitude: f32) -> Spectrogram {
    let mut builder = SpectrogramBuilder::new(SpectrogramSettings {
        rate_hz: 4000.0,
        window_samples: 512,
        hop_samples: 128,
        keep_hz: (0.0, 2000.0),
        pooling: Pooling::Greatest,
    })
    .unwrap();
    let mut state = 7_u32;
    let samples: Vec<f32> = (0..400_000)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            amplitude * (state as f32 / u32::MAX as f32 - 0.5)
        })
        .collect();
    builder.push(&samples).unwrap();
    builder.finish().unwrap()
}

fn picture(spectrogram: &Spectrogram) -> SpectrogramPicture<'_> {
    SpectrogramPicture {
        title: "Busy",
        spectrogram,
        reference: SpectrumReference::WATER,
        size: PictureSize::PAGE,
        start_utc: None,
        time_range_s: None,
        frequency_range_hz: (0.0, 1100.0),
        frequency_scale: AxisScale::Linear,
        colour_range: ColourRange::Percentiles,
        marks: &[],
        kinds: &["call", "click"],
        full_scale_s: &[],
        remarks: &[],
    }
}

/// Marks of half a second, evenly spread over 100 s.
fn marks(count: usize, kinds: usize) -> Vec<EventMark> {
    (0..count)
        .map(|i| EventMark {
            begin_s: 99.0 * i as f64 / count as f64,
            end_s: 99.0 * i as f64 / count as f64 + 0.5,
            band_hz: Some((450.0, 550.0)),
            sweep_hz: None,
            kind: i % kinds,
            label: "call  124.3 dB re 1 µPa".to_owned(),
        })
        .collect()
}

fn description(picture: &SpectrogramPicture<'_>) -> String {
    Pixels::of(&picture.draw().unwrap())
        .text("Description")
        .to_owned()
}

/// From few to many the caption counts the numbers down, and never speaks of some that are not there.
#[test]
fn verif_the_caption_says_which_numbers_there_are() {
    let data = sound(1e6);
    for (count, on_boxes, in_strip) in [
        (4, "", ""),
        (40, "", "40 marks by number; labels find no room."),
        (
            90,
            "One box in 2 bears its number (2, 4 ... 90).",
            "90 marks, one in 2 with its number (2, 4 ... 90).",
        ),
        (
            400,
            "400 marks are shown in the strip alone",
            "400 marks, one in 50 with its number (50, 100 ... 400).",
        ),
    ] {
        let marks = marks(count, 1);
        let said = description(&SpectrogramPicture {
            marks: &marks,
            ..picture(&data)
        });
        assert!(said.contains(on_boxes), "{count}: {said}");
        assert!(said.contains(in_strip), "{count}: {said}");
        if on_boxes.is_empty() {
            assert!(!said.contains("bears its number"), "{count}: {said}");
        }
        if in_strip.is_empty() {
            assert!(!said.contains("In the strip"), "{count}: {said}");
        }
    }
}

/// A number stands over the middle of its own box: the middle of the white tags above the boxes is that of every second box.
#[test]
fn verif_each_number_stands_at_its_own_box() {
    let data = sound(1e6);
    let marks = marks(90, 1);
    let drawn = SpectrogramPicture {
        marks: &marks,
        ..picture(&data)
    }
    .draw()
    .unwrap();
    let pixels = Pixels::of(&drawn);
    let time = drawn.frame.time;
    // The line from the tag to the box, two white pixels between black ones.
    let y = drawn.frame.vertical.px(550.0) - 8.0;
    for (index, mark) in marks.iter().enumerate() {
        let middle = time.px((mark.begin_s + mark.end_s) / 2.0);
        let led = (-3..=3).any(|d| pixels.at(middle + f64::from(d), y) == WHITE);
        assert_eq!(led, index % 2 == 1, "box {}", index + 1);
    }
}

/// Of two kinds one has an unbroken outline and the other a dashed one, and each a row of its own in the strip.
#[test]
fn verif_kinds_are_told_apart_by_more_than_colour() {
    let data = sound(1e6);
    let marks = marks(40, 2);
    let busy = SpectrogramPicture {
        marks: &marks,
        ..picture(&data)
    };
    let said = description(&busy);
    assert!(
        said.contains("Outlines: call unbroken, click dashed."),
        "{said}"
    );
    let drawn = busy.draw().unwrap();
    let pixels = Pixels::of(&drawn);
    let (time, frequency) = (drawn.frame.time, drawn.frame.vertical);
    let (top, bottom) = (frequency.px(545.0) as usize, frequency.px(455.0) as usize);
    let share_of_white = |mark: &EventMark| {
        let x = time.px(mark.begin_s) - 3.0;
        let white = |y: usize| (-2..=2).any(|d| pixels.at(x + f64::from(d), y as f64) == WHITE);
        (top..bottom).filter(|&y| white(y)).count() as f64 / (bottom - top) as f64
    };
    assert!(
        share_of_white(&marks[2]) > 0.95,
        "{}",
        share_of_white(&marks[2])
    );
    let dashed = share_of_white(&marks[3]);
    assert!((0.3..0.85).contains(&dashed), "{dashed}");
    // Rows of the strip in which the bars of either kind lie.
    let rows = |mark: &EventMark| -> Vec<usize> {
        let x = time.px((mark.begin_s + mark.end_s) / 2.0);
        (frequency.pixels().0 as usize + 56..pixels.height - 100)
            .filter(|&y| dark(pixels.at(x, y as f64)))
            .collect()
    };
    let (calls, clicks) = (rows(&marks[2]), rows(&marks[3]));
    assert!(!calls.is_empty() && !clicks.is_empty());
    assert!(
        calls.iter().all(|y| !clicks.contains(y)),
        "{calls:?} {clicks:?}"
    );
}

/// Samples at full scale have a row with a name and a legend, also without any event; how far the picture reaches is said.
#[test]
fn verif_full_scale_has_its_row_and_the_range_is_told() {
    let data = sound(1e6);
    let plain = picture(&data);
    let clipped = SpectrogramPicture {
        full_scale_s: &[(20.0, 30.0), (60.0, 60.001)],
        ..plain
    };
    let said = description(&clipped);
    assert!(
        said.contains("Row “Full scale”: samples at full scale or beyond"),
        "{said}"
    );
    assert!(
        said.contains("Sampled at 4 kHz, shown to 1.1 kHz of 2 kHz."),
        "{said}"
    );
    assert!(!description(&plain).contains("Full scale"));
    let whole = SpectrogramPicture {
        frequency_range_hz: (0.0, 2000.0),
        ..plain
    };
    assert!(!description(&whole).contains("shown to"));
    let drawn = clipped.draw().unwrap();
    let pixels = Pixels::of(&drawn);
    let below = drawn.frame.vertical.pixels().0 as usize + 60;
    let marked = |at_s: f64| {
        let x = drawn.frame.time.px(at_s);
        (below..below + 24)
            .filter(|&y| dark(pixels.at(x, y as f64)))
            .count()
            >= 10
    };
    assert!(marked(25.0) && marked(60.0) && !marked(40.0) && !marked(70.0));
}

/// Where nothing was heard there is neither a scale of colours nor its unit; what the caller remarks stands in the caption.
#[test]
fn verif_silence_has_no_scale_and_remarks_are_told() {
    let (silent, loud) = (sound(0.0), sound(1e6));
    let remarks = ["Heard 100 s of 200 s, then nothing.".to_owned()];
    let inked = |data: &Spectrogram| {
        let drawn = SpectrogramPicture {
            remarks: &remarks,
            ..picture(data)
        }
        .draw()
        .unwrap();
        let pixels = Pixels::of(&drawn);
        assert!(pixels.text("Description").contains(&remarks[0]));
        // Over the colour scale, right of the plot.
        (1260..1390).any(|x| (50..78).any(|y| dark(pixels.at(f64::from(x), f64::from(y)))))
    };
    assert!(inked(&loud));
    assert!(!inked(&silent));
}
