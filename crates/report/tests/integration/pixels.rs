//! Reading a picture back.

use std::io::Cursor;

use report::Picture;

pub(crate) struct Pixels {
    pub(crate) width: usize,
    pub(crate) height: usize,
    rgb: Vec<u8>,
    texts: Vec<(String, String)>,
}

impl Pixels {
    pub(crate) fn of(picture: &Picture) -> Self {
        let mut reader = png::Decoder::new(Cursor::new(&picture.png))
            .read_info()
            .unwrap();
        let mut rgb = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut rgb).unwrap();
        assert_eq!(info.color_type, png::ColorType::Rgb);
        let header = reader.info();
        let latin = header.uncompressed_latin1_text.iter();
        let texts = latin.map(|t| (t.keyword.clone(), t.text.clone()));
        let international = header.utf8_text.iter();
        let texts = texts
            .chain(international.map(|t| (t.keyword.clone(), t.get_text().unwrap())))
            .collect();
        Self {
            width: info.width as usize,
            height: info.height as usize,
            rgb,
            texts,
        }
    }

    pub(crate) fn at(&self, x: f64, y: f64) -> [u8; 3] {
        let start = 3 * (y as usize * self.width + x as usize);
        [self.rgb[start], self.rgb[start + 1], self.rgb[start + 2]]
    }

    pub(crate) fn text(&self, keyword: &str) -> &str {
        &self.texts.iter().find(|(k, _)| k == keyword).unwrap().1
    }
}

/// L* of CIELAB from sRGB, by the forward formulas of IEC 61966-2-1 and ISO/CIE 11664-4 (the
/// program goes the other way).
pub(crate) fn lightness(rgb: [u8; 3]) -> f64 {
    let [r, g, b] = rgb.map(|c| {
        let c = f64::from(c) / 255.0;
        if c <= 0.04045 {
            c / 12.92
        } else {
            ((c + 0.055) / 1.055).powf(2.4)
        }
    });
    let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    if y > 216.0 / 24_389.0 {
        116.0 * y.cbrt() - 16.0
    } else {
        y * 24_389.0 / 27.0
    }
}

pub(crate) fn dark(rgb: [u8; 3]) -> bool {
    lightness(rgb) < 45.0
}
