//! What a value is, as bytes: two inputs have the same bytes only if they are the same.

use std::fmt::{Debug, Write as _};

use sha2::{Digest as _, Sha256};

/// SHA-256 of a method and an input.
pub(crate) type Digest = [u8; 32];

/// Takes the bytes of an input.
#[derive(Clone)]
pub(crate) struct Canon {
    bytes: Vec<u8>,
}

/// Writes what a value is. Lengths and variants are written too, so that no two values run into each other.
pub(crate) trait Canonical {
    fn write(&self, to: &mut Canon);
}

impl Canon {
    pub(crate) fn new(method: &str) -> Canon {
        let mut canon = Canon {
            bytes: Vec::with_capacity(512),
        };
        method.write(&mut canon);
        canon
    }

    /// The derived `Debug` of a value, as evidence is digested by: it names every field and tells every number by the fewest digits
    /// that give the same bits. For types of the disciplines with many parts.
    pub(crate) fn debug(&mut self, value: &impl Debug) {
        let from = self.bytes.len();
        write!(Text(&mut self.bytes), "{value:?}").expect("a vector takes text");
        let length = self.bytes.len() - from;
        length.write(self);
    }

    pub(crate) fn digest(self) -> Digest {
        Sha256::digest(&self.bytes).into()
    }
}

struct Text<'a>(&'a mut Vec<u8>);

impl std::fmt::Write for Text<'_> {
    fn write_str(&mut self, s: &str) -> std::fmt::Result {
        self.0.extend_from_slice(s.as_bytes());
        Ok(())
    }
}

impl Canonical for u64 {
    fn write(&self, to: &mut Canon) {
        to.bytes.extend_from_slice(&self.to_le_bytes());
    }
}

impl Canonical for usize {
    fn write(&self, to: &mut Canon) {
        (*self as u64).write(to);
    }
}

impl Canonical for i32 {
    fn write(&self, to: &mut Canon) {
        to.bytes.extend_from_slice(&self.to_le_bytes());
    }
}

impl Canonical for u32 {
    fn write(&self, to: &mut Canon) {
        to.bytes.extend_from_slice(&self.to_le_bytes());
    }
}

impl Canonical for bool {
    fn write(&self, to: &mut Canon) {
        to.bytes.push(u8::from(*self));
    }
}

impl Canonical for f64 {
    fn write(&self, to: &mut Canon) {
        self.to_bits().write(to);
    }
}

impl Canonical for str {
    fn write(&self, to: &mut Canon) {
        self.len().write(to);
        to.bytes.extend_from_slice(self.as_bytes());
    }
}

impl Canonical for Digest {
    fn write(&self, to: &mut Canon) {
        to.bytes.extend_from_slice(self);
    }
}

impl<T: Canonical> Canonical for Option<T> {
    fn write(&self, to: &mut Canon) {
        self.is_some().write(to);
        if let Some(value) = self {
            value.write(to);
        }
    }
}

impl<T: Canonical> Canonical for [T] {
    fn write(&self, to: &mut Canon) {
        self.len().write(to);
        self.iter().for_each(|one| one.write(to));
    }
}

impl<T: Canonical> Canonical for Vec<T> {
    fn write(&self, to: &mut Canon) {
        self.as_slice().write(to);
    }
}

impl Canonical for [f64; 12] {
    fn write(&self, to: &mut Canon) {
        self.as_slice().write(to);
    }
}

impl<A: Canonical, B: Canonical> Canonical for (A, B) {
    fn write(&self, to: &mut Canon) {
        self.0.write(to);
        self.1.write(to);
    }
}

impl<T: Canonical + ?Sized> Canonical for &T {
    fn write(&self, to: &mut Canon) {
        (*self).write(to);
    }
}

/// Makes a struct canonical by its fields: all of them, as one that is left out does not compile. After `debug` stand those of which
/// the derived `Debug` is taken.
macro_rules! canonical {
    ($life:lifetime $name:ty { $($field:ident),* } $(debug { $($shown:ident),* })?) => {
        impl<$life> $crate::memo::Canonical for $name {
            $crate::memo::canonical!(@write { $($field),* } $(debug { $($shown),* })?);
        }
    };
    (@write { $($field:ident),* } $(debug { $($shown:ident),* })?) => {
        fn write(&self, to: &mut $crate::memo::Canon) {
            let Self { $($field,)* $($($shown,)*)? } = self;
            $($crate::memo::Canonical::write($field, to);)*
            $($(to.debug($shown);)*)?
        }
    };
    ($name:ty { $($field:ident),* } $(debug { $($shown:ident),* })?) => {
        impl $crate::memo::Canonical for $name {
            $crate::memo::canonical!(@write { $($field),* } $(debug { $($shown),* })?);
        }
    };
}
pub(crate) use canonical;
