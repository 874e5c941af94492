//! A drawing as a list of shapes, which becomes a PNG or an SVG file with the same places.

use std::fmt::Write as _;

use super::PictureSize;
use super::canvas::{Align, Area, Canvas, Pen, pixels_png};
use super::colour::{Rgb, WHITE};

/// One thing that is drawn, in pixels from the left and the top edge.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Shape {
    Fill {
        area: Area,
        colour: Rgb,
    },
    Line {
        points: Vec<(f64, f64)>,
        colour: Rgb,
        width_px: f32,
        dashes_px: &'static [f32],
    },
    /// Pixels, row by row from the left and the top edge.
    Image {
        at: (u32, u32),
        width_px: usize,
        pixels: Vec<Rgb>,
    },
    Text {
        text: String,
        at: (f64, f64),
        size_px: f32,
        align: Align,
        colour: Rgb,
    },
}

/// A picture before it is a file.
pub(crate) struct Drawn {
    pub(crate) shapes: Vec<Shape>,
    pub(crate) size: PictureSize,
    pub(crate) title: String,
    /// What it shows, in a sentence.
    pub(crate) about: String,
}

impl Drawn {
    pub(crate) fn png(&self) -> Vec<u8> {
        png(&self.shapes, self.size, &self.title, &self.about)
    }

    pub(crate) fn svg(&self) -> String {
        svg(&self.shapes, self.size, &self.title, &self.about)
    }
}

/// The shapes on white as a PNG file.
pub(super) fn png(shapes: &[Shape], size: PictureSize, title: &str, description: &str) -> Vec<u8> {
    let mut canvas = Canvas::new(size.width_px, size.height_px, WHITE);
    for shape in shapes {
        match shape {
            Shape::Fill { area, colour } => canvas.fill(*area, *colour),
            Shape::Line {
                points,
                colour,
                width_px,
                dashes_px,
            } => canvas.line(
                points,
                Pen {
                    colour: *colour,
                    width_px: *width_px,
                    dashes_px,
                },
            ),
            Shape::Image {
                at: (left, top),
                width_px,
                pixels,
            } => canvas.image(*left, *top, *width_px, pixels.clone()),
            Shape::Text {
                text,
                at,
                size_px,
                align,
                colour,
            } => canvas.text(text, *at, *size_px, *align, *colour),
        }
    }
    canvas.png(title, description)
}

/// The shapes on white as an SVG 1.1 file (W3C Recommendation of 2011).
pub(super) fn svg(shapes: &[Shape], size: PictureSize, title: &str, description: &str) -> String {
    let mut out = String::new();
    let (w, h) = (size.width_px, size.height_px);
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" width=\"{w}\" height=\"{h}\" viewBox=\"0 0 {w} {h}\">\n<title>{}</title>\n<desc>{}</desc>\n<rect width=\"{w}\" height=\"{h}\" fill=\"#ffffff\"/>",
        escaped(title),
        escaped(description)
    );
    for shape in shapes {
        let _ = match shape {
            Shape::Fill { area, colour } => writeln!(
                out,
                "<rect x=\"{:.2}\" y=\"{:.2}\" width=\"{:.2}\" height=\"{:.2}\" fill=\"{}\"/>",
                area.left,
                area.top,
                area.width(),
                area.height(),
                hex(*colour)
            ),
            Shape::Line {
                points,
                colour,
                width_px,
                dashes_px,
            } => {
                let points: Vec<String> = points
                    .iter()
                    .map(|(x, y)| format!("{x:.2},{y:.2}"))
                    .collect();
                let dashes: Vec<String> = dashes_px.iter().map(f32::to_string).collect();
                let dashes = if dashes.is_empty() {
                    String::new()
                } else {
                    format!(" stroke-dasharray=\"{}\"", dashes.join(","))
                };
                writeln!(
                    out,
                    "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{width_px}\"{dashes}/>",
                    points.join(" "),
                    hex(*colour)
                )
            }
            Shape::Image {
                at: (left, top),
                width_px,
                pixels,
            } => writeln!(
                out,
                "<image x=\"{left}\" y=\"{top}\" width=\"{width_px}\" height=\"{}\" image-rendering=\"optimizeSpeed\" xlink:href=\"data:image/png;base64,{}\"/>",
                pixels.len() / (*width_px).max(1),
                base64(&pixels_png(*width_px, pixels))
            ),
            Shape::Text {
                text,
                at,
                size_px,
                align,
                colour,
            } => {
                let anchor = match align {
                    Align::Left => "start",
                    Align::Centre => "middle",
                    Align::Right => "end",
                };
                writeln!(
                    out,
                    "<text x=\"{:.2}\" y=\"{:.2}\" font-family=\"monospace\" font-size=\"{size_px}\" text-anchor=\"{anchor}\" fill=\"{}\">{}</text>",
                    at.0,
                    at.1,
                    hex(*colour),
                    escaped(text)
                )
            }
        };
    }
    out.push_str("</svg>\n");
    out
}

/// Six bits a character, padded to whole groups of four (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let bits = group
            .iter()
            .chain(&[0; 2])
            .take(3)
            .fold(0_usize, |bits, b| bits << 8 | usize::from(*b));
        for place in 0..4 {
            if place <= group.len() {
                out.push(char::from(LETTERS[bits >> (18 - 6 * place) & 63]));
            } else {
                out.push('=');
            }
        }
    }
    out
}

fn hex(colour: Rgb) -> String {
    format!("#{:02x}{:02x}{:02x}", colour[0], colour[1], colour[2])
}

/// Text between tags; control characters, which XML 1.0 forbids, become the mark for an unknown character.
fn escaped(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '&' => "&amp;".to_owned(),
            '<' => "&lt;".to_owned(),
            '>' => "&gt;".to_owned(),
            c if c.is_control() => '\u{fffd}'.to_string(),
            c => c.to_string(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::base64;

    /// The test vectors of RFC 4648, section 10.
    #[test]
    fn val_base64_of_rfc_4648() {
        for (text, expected) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(text.as_bytes()), expected);
        }
    }
}
