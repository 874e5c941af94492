//! Pieces of a text that know where they stand, and the one grammar of a number.

use std::ops::Range;

use crate::{Fault, FaultKind};

/// A part of the text of one value, with its place in it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Piece<'a> {
    pub(crate) text: &'a str,
    start: usize,
}

impl<'a> Piece<'a> {
    pub(crate) fn whole(text: &'a str) -> Self {
        Self { text, start: 0 }
    }

    pub(crate) fn range(self) -> Range<usize> {
        self.start..self.start + self.text.len()
    }

    pub(crate) fn is_empty(self) -> bool {
        self.text.is_empty()
    }

    pub(crate) fn fault(self, kind: FaultKind) -> Fault {
        Fault {
            kind,
            range: self.range(),
        }
    }

    pub(crate) fn trim(self) -> Self {
        let left = self.text.trim_start();
        Self {
            text: left.trim_end(),
            start: self.start + (self.text.len() - left.len()),
        }
    }

    /// `at` is a byte offset on a character boundary.
    pub(crate) fn split_at(self, at: usize) -> (Self, Self) {
        let (head, tail) = self.text.split_at(at);
        let tail = Self {
            text: tail,
            start: self.start + at,
        };
        (
            Self {
                text: head,
                start: self.start,
            },
            tail,
        )
    }

    /// First word and what follows it, both trimmed.
    pub(crate) fn first_word(self) -> (Self, Self) {
        let piece = self.trim();
        let end = piece
            .text
            .find(char::is_whitespace)
            .unwrap_or(piece.text.len());
        let (word, rest) = piece.split_at(end);
        (word, rest.trim())
    }

    /// What stands before the last word, and the last word, both trimmed.
    pub(crate) fn last_word(self) -> (Self, Self) {
        let piece = self.trim();
        let begin = piece
            .text
            .char_indices()
            .rev()
            .find(|(_, c)| c.is_whitespace())
            .map_or(0, |(at, c)| at + c.len_utf8());
        let (rest, word) = piece.split_at(begin);
        (rest.trim(), word)
    }

    /// Nothing may follow: whatever stands here is a fault.
    pub(crate) fn expect_end(self) -> Result<(), Fault> {
        let piece = self.trim();
        if piece.is_empty() {
            return Ok(());
        }
        Err(piece.fault(FaultKind::Trailing {
            rest: piece.text.to_owned(),
        }))
    }

    /// Value and spread, parted at the first `±` or `+/-`.
    pub(crate) fn split_spread(self) -> (Self, Option<Self>) {
        let sign = ["\u{b1}", "+/-"]
            .into_iter()
            .filter_map(|sign| self.text.find(sign).map(|at| (at, sign.len())))
            .min();
        match sign {
            None => (self, None),
            Some((at, length)) => {
                let (value, tail) = self.split_at(at);
                (value, Some(tail.split_at(length).1))
            }
        }
    }
}

/// A decimal number as written, not yet binary.
#[derive(Clone, Debug)]
pub(crate) struct Number<'a> {
    pub(crate) piece: Piece<'a>,
    negative: bool,
    /// Digits with at most one point.
    digits: &'a str,
    exponent: i64,
}

/// An exponent this large is out of the range of f64 whatever the digits of a text of sane length.
const EXPONENT_LIMIT: i64 = 1_000_000_000;

impl<'a> Number<'a> {
    pub(crate) fn is_negative(&self) -> bool {
        self.negative && !self.is_zero()
    }

    pub(crate) fn is_zero(&self) -> bool {
        self.digits.bytes().all(|b| b == b'0' || b == b'.')
    }

    pub(crate) fn digits(&self) -> &'a str {
        self.digits
    }

    pub(crate) fn has_exponent(&self) -> bool {
        self.piece.text.contains(['e', 'E'])
    }

    /// The number times a power of ten, correctly rounded.
    pub(crate) fn times_ten_to(&self, ten: i32) -> Result<f64, Fault> {
        if self.is_zero() {
            return Ok(0.0);
        }
        let exponent = self.exponent + i64::from(ten);
        let sign = if self.negative { "-" } else { "" };
        let value: f64 = format!("{sign}{}e{exponent}", self.digits)
            .parse()
            .expect("digits with at most one point and an exponent are a number");
        if value.is_infinite() {
            return Err(self.piece.fault(FaultKind::NotFinite));
        }
        if value == 0.0 {
            return Err(self.piece.fault(FaultKind::Underflow));
        }
        Ok(value)
    }

    pub(crate) fn value(&self) -> Result<f64, Fault> {
        self.times_ten_to(0)
    }
}

/// Reads a number at the start of `piece`; gives it and what follows, trimmed.
///
/// Grammar: optional sign (`+`, `-`, U+2212), digits, optional point with digits, optional exponent.
pub(crate) fn number(piece: Piece<'_>) -> Result<(Number<'_>, Piece<'_>), Fault> {
    let piece = piece.trim();
    if piece.is_empty() {
        return Err(piece.fault(FaultKind::Empty));
    }
    let word = piece.first_word().0;
    let text = piece.text;
    let (negative, sign) = match text.chars().next() {
        Some('-') => (true, 1),
        Some('\u{2212}') => (true, '\u{2212}'.len_utf8()),
        Some('+') => (false, 1),
        _ => (false, 0),
    };
    let unsigned = &text[sign..];
    if is_not_finite_word(&word.text[sign..]) {
        return Err(word.fault(FaultKind::NotFinite));
    }
    let whole = digit_count(unsigned);
    if whole == 0 {
        return Err(word.fault(FaultKind::NotANumber {
            found: word.text.to_owned(),
        }));
    }
    let mut length = whole;
    let mut follows = unsigned[length..].chars();
    if let (Some('.'), decimals @ 1..) = (follows.next(), digit_count(follows.as_str())) {
        length += 1 + decimals;
    }
    let digits = &unsigned[..length];
    let (exponent, exponent_length) = exponent(&unsigned[length..]);
    let (number, rest) = piece.split_at(sign + length + exponent_length);
    refuse_more_digits(word, rest)?;
    let number = Number {
        piece: number,
        negative,
        digits,
        exponent,
    };
    Ok((number, rest.trim()))
}

fn digit_count(text: &str) -> usize {
    text.bytes().take_while(u8::is_ascii_digit).count()
}

fn is_not_finite_word(word: &str) -> bool {
    ["nan", "inf", "infinity", "\u{221e}"]
        .into_iter()
        .any(|name| word.eq_ignore_ascii_case(name))
}

/// Value and byte length of an exponent at the start of `text`; (0, 0) when there is none.
fn exponent(text: &str) -> (i64, usize) {
    let mut chars = text.chars();
    if !matches!(chars.next(), Some('e' | 'E')) {
        return (0, 0);
    }
    let tail = chars.as_str();
    let (negative, sign) = match chars.next() {
        Some('-') => (true, 1),
        Some('\u{2212}') => (true, '\u{2212}'.len_utf8()),
        Some('+') => (false, 1),
        _ => (false, 0),
    };
    let count = digit_count(&tail[sign..]);
    if count == 0 {
        return (0, 0);
    }
    let size = tail[sign..sign + count].bytes().fold(0_i64, |size, digit| {
        (size * 10 + i64::from(digit - b'0')).min(EXPONENT_LIMIT)
    });
    (if negative { -size } else { size }, 1 + sign + count)
}

/// Decimal commas and grouped digits, which would otherwise pass for odd units.
fn refuse_more_digits(word: Piece<'_>, rest: Piece<'_>) -> Result<(), Fault> {
    let digit_next = |text: &str| text.starts_with(|c: char| c.is_ascii_digit());
    let mut chars = rest.text.chars();
    match chars.next() {
        Some(',') if digit_next(chars.as_str()) => Err(word.fault(FaultKind::DecimalComma)),
        Some('_' | '\'' | '\u{2019}') if digit_next(chars.as_str()) => {
            Err(word.fault(FaultKind::GroupedDigits))
        }
        Some(c) if c.is_whitespace() && digit_next(rest.trim().text) => {
            Err(rest.first_word().0.fault(FaultKind::GroupedDigits))
        }
        Some('.') => Err(word.fault(FaultKind::NotANumber {
            found: word.text.to_owned(),
        })),
        _ => Ok(()),
    }
}
