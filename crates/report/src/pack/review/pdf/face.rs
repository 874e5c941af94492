//! Two typefaces and their letters.

use std::sync::OnceLock;

use fontdue::{Font, FontSettings};

use crate::picture;

/// Which typeface.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Face {
    /// For reading.
    Text,
    /// Every letter as wide as every other.
    Even,
}

impl Face {
    pub(super) fn bytes(self) -> &'static [u8] {
        match self {
            Face::Text => epaint_default_fonts::UBUNTU_LIGHT,
            Face::Even => epaint_default_fonts::HACK_REGULAR,
        }
    }

    fn font(self) -> &'static Font {
        static TEXT: OnceLock<Font> = OnceLock::new();
        match self {
            Face::Text => TEXT.get_or_init(|| {
                Font::from_bytes(Face::Text.bytes(), FontSettings::default())
                    .expect("the embedded typeface is sound")
            }),
            Face::Even => picture::font(),
        }
    }

    fn other(self) -> Face {
        match self {
            Face::Text => Face::Even,
            Face::Even => Face::Text,
        }
    }
}

/// A character as it is set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Letter {
    pub(super) c: char,
    pub(super) face: Face,
    /// Its number in the typeface.
    pub(super) glyph: u16,
    /// How far the next one is, as a share of the size.
    pub(super) advance_em: f32,
}

/// A character in a typeface, or in the other where it lacks it; `None` where both do.
pub(super) fn letter(c: char, face: Face) -> Option<Letter> {
    const LARGE_PX: f32 = 1000.0;
    let face = [face, face.other()]
        .into_iter()
        .find(|face| face.font().has_glyph(c))?;
    let glyph = face.font().lookup_glyph_index(c);
    let advance_em = face.font().metrics_indexed(glyph, LARGE_PX).advance_width / LARGE_PX;
    Some(Letter {
        c,
        face,
        glyph,
        advance_em,
    })
}

/// The letters of a text. What neither typeface has, and what would show nothing, stands as its number: `<U+6D77>`.
pub(super) fn letters(text: &str, face: Face) -> impl Iterator<Item = Letter> {
    text.chars().flat_map(move |c| match seen(c, face) {
        Some(letter) => vec![letter],
        None => by_number(c)
            .chars()
            .filter_map(|c| letter(c, face))
            .collect(),
    })
}

fn seen(c: char, face: Face) -> Option<Letter> {
    match c.is_control() {
        true => None,
        false => letter(c, face),
    }
}

/// A character by its number.
pub(super) fn by_number(c: char) -> String {
    format!("<U+{:04X}>", u32::from(c))
}

/// The characters of a text that stand by their number.
pub(super) fn lacking(text: &str) -> impl Iterator<Item = char> {
    text.chars()
        .filter(|c| *c != '\n' && seen(*c, Face::Text).is_none())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What the reports write beside ASCII, by Unicode's names of the characters: all of it is in one of the typefaces.
    #[test]
    fn verif_what_reports_write_has_letters() {
        for c in "µμ±²³Ω°–≥≤×·…→½é’“”".chars() {
            assert!(seen(c, Face::Text).is_some(), "{c}");
            assert!(seen(c, Face::Even).is_some(), "{c}");
        }
    }

    #[test]
    fn verif_what_no_typeface_has_stands_by_its_number() {
        let told: String = letters("a海\u{7}", Face::Text).map(|l| l.c).collect();
        assert_eq!(told, "a<U+6D77><U+0007>");
        assert_eq!(lacking("a海\n\u{7}").collect::<Vec<_>>(), ['海', '\u{7}']);
    }
}
