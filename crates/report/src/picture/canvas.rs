//! A small drawing layer: filled rectangles, lines, lettering, and the PNG file.

use std::borrow::Cow;
use std::sync::OnceLock;

use fontdue::{Font, FontSettings};
use tiny_skia::{
    Color, Paint, PathBuilder, Pixmap, PremultipliedColorU8, Rect, Stroke, StrokeDash, Transform,
};

use super::colour::Rgb;
use super::shapes::{self, Shape};
use super::{PictureError, PictureSize};

/// Where the given point of a piece of text lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Align {
    Left,
    Centre,
    Right,
}

/// A rectangle in pixels: left, top, right, bottom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Area {
    pub(crate) left: f64,
    pub(crate) top: f64,
    pub(crate) right: f64,
    pub(crate) bottom: f64,
}

impl Area {
    pub(crate) fn width(&self) -> f64 {
        self.right - self.left
    }

    pub(crate) fn height(&self) -> f64 {
        self.bottom - self.top
    }

    pub(super) fn meets(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    pub(super) fn holds(&self, other: &Self) -> bool {
        self.left <= other.left
            && self.top <= other.top
            && self.right >= other.right
            && self.bottom >= other.bottom
    }
}

/// A line's width in pixels and its dashes (on, off, ...), none for an unbroken line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pen {
    pub(super) colour: Rgb,
    pub(super) width_px: f32,
    pub(super) dashes_px: &'static [f32],
}

/// A page of pixels, with a list of what was drawn on it.
pub(super) struct Canvas {
    pixmap: Pixmap,
    shapes: Vec<Shape>,
}

/// The typeface of all lettering.
pub(crate) fn font() -> &'static Font {
    static FONT: OnceLock<Font> = OnceLock::new();
    FONT.get_or_init(|| {
        Font::from_bytes(epaint_default_fonts::HACK_REGULAR, FontSettings::default())
            .expect("the embedded typeface is sound")
    })
}

/// `text` in characters that can be seen: control characters, which would show nothing, become the mark for an unknown
/// character, and one that the typeface lacks its number, `<U+6D77>`.
fn legible(text: &str) -> Cow<'_, str> {
    let plain = |c: char| !c.is_control() && font().has_glyph(c);
    if text.chars().all(plain) {
        return Cow::Borrowed(text);
    }
    let mut legible = String::new();
    for c in text.chars() {
        if c.is_control() {
            legible.push('\u{fffd}');
        } else if plain(c) {
            legible.push(c);
        } else {
            legible.push_str(&format!("<U+{:04X}>", u32::from(c)));
        }
    }
    Cow::Owned(legible)
}

/// Width of `text` in pixels at the given size.
pub(super) fn text_width(text: &str, size_px: f32) -> f64 {
    legible(text)
        .chars()
        .map(|c| f64::from(font().metrics(c, size_px).advance_width))
        .sum()
}

/// `text`, or its beginning with an ellipsis where it is wider than `room_px`.
pub(super) fn shortened(text: &str, size_px: f32, room_px: f64) -> String {
    if text_width(text, size_px) <= room_px {
        return text.to_owned();
    }
    let mut kept = String::new();
    let mut width = text_width("…", size_px);
    for c in legible(text).chars() {
        width += f64::from(font().metrics(c, size_px).advance_width);
        if width > room_px {
            break;
        }
        kept.push(c);
    }
    kept.push('…');
    kept
}

impl Canvas {
    pub(super) fn new(width_px: u32, height_px: u32, ground: Rgb) -> Self {
        let mut pixmap =
            Pixmap::new(width_px, height_px).expect("the size was checked against its limits");
        pixmap.fill(Color::from_rgba8(ground[0], ground[1], ground[2], 255));
        Self {
            pixmap,
            shapes: Vec::new(),
        }
    }

    /// Sets pixels, row by row from the left and the top edge; what lies beyond the page is left out.
    pub(super) fn image(&mut self, left_px: u32, top_px: u32, width_px: usize, pixels: Vec<Rgb>) {
        let (width, height) = (self.pixmap.width(), self.pixmap.height());
        for (y, row) in (top_px..height).zip(pixels.chunks(width_px)) {
            for (x, colour) in (left_px..width).zip(row) {
                self.pixmap.pixels_mut()[(y * width + x) as usize] = opaque(*colour);
            }
        }
        self.shapes.push(Shape::Image {
            at: (left_px, top_px),
            width_px,
            pixels,
        });
    }

    pub(super) fn fill(&mut self, area: Area, colour: Rgb) {
        self.shapes.push(Shape::Fill { area, colour });
        let Some(rect) = Rect::from_ltrb(
            area.left as f32,
            area.top as f32,
            area.right as f32,
            area.bottom as f32,
        ) else {
            return;
        };
        self.pixmap
            .fill_rect(rect, &paint(colour, false), Transform::identity(), None);
    }

    /// Joins the points in order.
    pub(super) fn line(&mut self, points: &[(f64, f64)], pen: Pen) {
        if let Some(path) = path_of(points, false) {
            self.stroke(&path, pen);
            self.drawn(points.to_vec(), pen);
        }
    }

    pub(super) fn outline(&mut self, area: Area, pen: Pen) {
        let corners = [
            (area.left, area.top),
            (area.right, area.top),
            (area.right, area.bottom),
            (area.left, area.bottom),
        ];
        if let Some(path) = path_of(&corners, true) {
            self.stroke(&path, pen);
            let closed = corners.into_iter().chain([corners[0]]);
            self.drawn(closed.collect(), pen);
        }
    }

    fn drawn(&mut self, points: Vec<(f64, f64)>, pen: Pen) {
        self.shapes.push(Shape::Line {
            points,
            colour: pen.colour,
            width_px: pen.width_px,
            dashes_px: pen.dashes_px,
        });
    }

    fn stroke(&mut self, path: &tiny_skia::Path, pen: Pen) {
        let stroke = Stroke {
            width: pen.width_px,
            dash: StrokeDash::new(pen.dashes_px.to_vec(), 0.0),
            ..Stroke::default()
        };
        self.pixmap.stroke_path(
            path,
            &paint(pen.colour, true),
            &stroke,
            Transform::identity(),
            None,
        );
    }

    /// Writes `text` on the line `baseline_px`, aligned at `x_px`.
    pub(super) fn text(
        &mut self,
        text: &str,
        (x_px, baseline_px): (f64, f64),
        size_px: f32,
        align: Align,
        colour: Rgb,
    ) {
        self.shapes.push(Shape::Text {
            text: text.to_owned(),
            at: (x_px, baseline_px),
            size_px,
            align,
            colour,
        });
        let width = text_width(text, size_px);
        let mut pen_px = match align {
            Align::Left => x_px,
            Align::Centre => x_px - width / 2.0,
            Align::Right => x_px - width,
        };
        for c in legible(text).chars() {
            let (metrics, coverage) = font().rasterize(c, size_px);
            let left = libm::round(pen_px) as i64 + i64::from(metrics.xmin);
            let top =
                libm::round(baseline_px) as i64 - metrics.height as i64 - i64::from(metrics.ymin);
            for (i, &share) in coverage.iter().enumerate() {
                let x = left + (i % metrics.width) as i64;
                let y = top + (i / metrics.width) as i64;
                self.blend(x, y, colour, share);
            }
            pen_px += f64::from(metrics.advance_width);
        }
    }

    fn blend(&mut self, x: i64, y: i64, colour: Rgb, share: u8) {
        let (width, height) = (
            i64::from(self.pixmap.width()),
            i64::from(self.pixmap.height()),
        );
        if share == 0 || !(0..width).contains(&x) || !(0..height).contains(&y) {
            return;
        }
        let pixel = &mut self.pixmap.pixels_mut()[(y * width + x) as usize];
        let mix = |under: u8, over: u8| {
            let share = u32::from(share);
            ((u32::from(under) * (255 - share) + u32::from(over) * share + 127) / 255) as u8
        };
        *pixel = opaque([
            mix(pixel.red(), colour[0]),
            mix(pixel.green(), colour[1]),
            mix(pixel.blue(), colour[2]),
        ]);
    }

    /// The picture as a PNG file of 8-bit RGB with the texts `Title`, `Description` (both
    /// international text, as they may hold any character) and `Software`.
    pub(super) fn png(&self, title: &str, description: &str) -> Vec<u8> {
        let mut bytes = Vec::new();
        self.encode(&mut bytes, title, description)
            .expect("a checked image is written into memory");
        bytes
    }

    /// What was drawn, as an SVG file.
    pub(super) fn svg(&self, title: &str, description: &str) -> String {
        let size = PictureSize {
            width_px: self.pixmap.width(),
            height_px: self.pixmap.height(),
        };
        shapes::svg(&self.shapes, size, title, description)
    }

    fn encode(
        &self,
        bytes: &mut Vec<u8>,
        title: &str,
        description: &str,
    ) -> Result<(), png::EncodingError> {
        let mut encoder = png::Encoder::new(bytes, self.pixmap.width(), self.pixmap.height());
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.add_itxt_chunk("Title".to_owned(), without_nul(title))?;
        encoder.add_itxt_chunk("Description".to_owned(), without_nul(description))?;
        encoder.add_text_chunk("Software".to_owned(), "Soundline".to_owned())?;
        let mut writer = encoder.write_header()?;
        let rgb: Vec<u8> = self
            .pixmap
            .pixels()
            .iter()
            .flat_map(|p| [p.red(), p.green(), p.blue()])
            .collect();
        writer.write_image_data(&rgb)?;
        writer.finish()
    }
}

/// Pixels alone as a PNG file of 8-bit RGB; a last row that is not whole is left out.
#[must_use]
pub fn pixels_png(width_px: usize, pixels: &[[u8; 3]]) -> Vec<u8> {
    let rows = pixels.len() / width_px.max(1);
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width_px as u32, rows as u32);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let rgb: Vec<u8> = pixels[..rows * width_px]
        .iter()
        .flatten()
        .copied()
        .collect();
    encoder
        .write_header()
        .and_then(|mut writer| {
            writer.write_image_data(&rgb)?;
            writer.finish()
        })
        .expect("an image within a checked page is written into memory");
    bytes
}

/// The PNG specification forbids the null character inside a text.
fn without_nul(text: &str) -> String {
    text.replace('\0', "\u{fffd}")
}

fn opaque(colour: Rgb) -> PremultipliedColorU8 {
    PremultipliedColorU8::from_rgba(colour[0], colour[1], colour[2], 255)
        .expect("an opaque colour is its own premultiplied colour")
}

fn paint(colour: Rgb, smooth: bool) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color_rgba8(colour[0], colour[1], colour[2], 255);
    paint.anti_alias = smooth;
    paint
}

fn path_of(points: &[(f64, f64)], closed: bool) -> Option<tiny_skia::Path> {
    let mut builder = PathBuilder::new();
    let (first, rest) = points.split_first()?;
    builder.move_to(first.0 as f32, first.1 as f32);
    for point in rest {
        builder.line_to(point.0 as f32, point.1 as f32);
    }
    if closed {
        builder.close();
    }
    builder.finish()
}

pub(super) fn checked_size(width_px: u32, height_px: u32) -> Result<(), PictureError> {
    const LEAST_PX: u32 = 480;
    const MOST_PX: u32 = 8000;
    let fits = |px| (LEAST_PX..=MOST_PX).contains(&px);
    if fits(width_px) && fits(height_px) {
        Ok(())
    } else {
        Err(PictureError::Size {
            width_px,
            height_px,
            least_px: LEAST_PX,
            most_px: MOST_PX,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_what_the_typeface_lacks_is_told_by_its_number() {
        assert_eq!(legible("a b é µPa²"), "a b é µPa²");
        assert_eq!(legible("a 海\n.wav"), "a <U+6D77>\u{fffd}.wav");
        assert!(text_width("海", 14.0) > 3.0 * text_width("a", 14.0));
    }
}
