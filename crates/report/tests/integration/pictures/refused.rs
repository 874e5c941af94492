//! Pictures that cannot be.

use report::{AxisScale, ColourRange, PictureError, PictureSize, SpectrogramPicture};

use super::{mark, plain, spectrogram, tone_in_noise};

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
