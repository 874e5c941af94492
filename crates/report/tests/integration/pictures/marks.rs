//! What is drawn over a spectrogram: events, ridges, missing time.

use report::{EventMark, Grid, PictureError, Pooling, Spectrogram, SpectrogramPicture};

use super::{mark, plain, spectrogram, tone_in_noise};
use crate::pixels::{Pixels, dark};

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
