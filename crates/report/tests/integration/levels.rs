//! What the pixels of a level picture say.

use report::{
    LevelLine, LevelPicture, LevelPoints, LevelTrace, LineStyle, PictureError, PictureSize,
};

use crate::pixels::{Pixels, dark};

fn level_picture<'a>(levels: &'a [f32], lines: &'a [LevelLine<'a>]) -> LevelPicture<'a> {
    LevelPicture {
        title: "Level",
        name: "rms over 0.25 s",
        quantity: "Level",
        unit: "dB re 1 µPa",
        level: LevelTrace {
            begin_s: 0.0,
            step_s: 0.25,
            level_db: levels,
        },
        lines,
        size: PictureSize {
            width_px: 1400,
            height_px: 620,
        },
        start_utc: None,
        time_range_s: None,
        level_range_db: None,
        remarks: &[],
        full_scale_s: &[],
        marks: &[],
    }
}

/// What was cut off at full scale reads as a level like any other: it has a row of its own.
#[test]
fn verif_full_scale_is_marked_below_a_level() {
    let levels = vec![147.0_f32; 400];
    let plain = level_picture(&levels, &[]).draw().unwrap();
    let cut = LevelPicture {
        full_scale_s: &[(20.0, 60.0)],
        ..level_picture(&levels, &[])
    };
    let cut = cut.draw().unwrap();
    assert!(cut.svg.contains(">Full scale<") && cut.svg.contains("cut off"));
    assert!(!plain.svg.contains("Full scale"));
}

#[test]
fn verif_levels_stand_where_the_axis_says() {
    let mut levels = vec![90.0_f32; 100_000];
    levels[40_000] = 121.5;
    let lines = [LevelLine {
        name: "switches on above",
        style: LineStyle::Threshold,
        points: LevelPoints::Constant(104.0),
    }];
    let picture = level_picture(&levels, &lines).draw().unwrap();
    let pixels = Pixels::of(&picture);
    let (time, level) = (picture.frame.time, picture.frame.vertical);
    let reddest = (level.pixels().1 as usize..level.pixels().0 as usize)
        .max_by_key(|&y| {
            (time.pixels().0 as usize..time.pixels().1 as usize)
                .map(|x| pixels.at(x as f64, y as f64))
                .map(|[r, _, b]| i64::from(r) - i64::from(b))
                .sum::<i64>()
        })
        .unwrap();
    let db_a_pixel = (level.range().1 - level.range().0) / (level.pixels().0 - level.pixels().1);
    assert!((level.value(reddest as f64 + 0.5) - 104.0).abs() <= 1.5 * db_a_pixel);

    // One point in a hundred thousand, on 78 points a pixel, still reaches its height.
    let x = time.px(10_000.0);
    let peak = (level.pixels().1 as usize + 1..level.pixels().0 as usize)
        .find(|&y| (-1..=1).any(|d| dark(pixels.at(x + f64::from(d), y as f64))))
        .unwrap();
    let read_db = level.value(peak as f64 + 0.5);
    assert!((read_db - 121.5).abs() <= 2.0 * db_a_pixel, "{read_db}");
    assert!(pixels.text("Description").contains("about 79 points"));
}

#[test]
fn verif_unusable_levels_are_refused() {
    let good = [80.0, f32::NAN, 82.0, f32::NEG_INFINITY];
    let picture = level_picture(&good, &[]).draw().unwrap();
    let pixels = Pixels::of(&picture);
    assert!(
        pixels
            .text("Description")
            .contains("not recorded, not drawn: 1")
    );
    assert!(
        pixels
            .text("Description")
            .contains("without any power, not drawn: 1")
    );

    let none = level_picture(&[f32::NAN; 4], &[]).draw();
    assert!(matches!(none, Err(PictureError::NoLevel { points: 4 })));
    assert!(level_picture(&[], &[]).draw().is_err());
    let loud = level_picture(&[1.0, f32::INFINITY], &[]).draw();
    assert!(matches!(loud, Err(PictureError::Infinite { index: 1 })));
    let lines = [LevelLine {
        name: "threshold",
        style: LineStyle::Threshold,
        points: LevelPoints::Constant(f64::NAN),
    }];
    let level_range_db = Some((70.0, 90.0));
    let bad = LevelPicture {
        level_range_db,
        ..level_picture(&good, &lines)
    };
    assert!(matches!(bad.draw(), Err(PictureError::Value { .. })));
    let mut still = level_picture(&good, &[]);
    still.level.step_s = 0.0;
    assert!(matches!(
        still.draw(),
        Err(PictureError::Value { unit: "s", .. })
    ));
}
