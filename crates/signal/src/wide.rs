//! The widest instructions of the processor for eight numbers at once.
//!
//! Only additions, subtractions, products, comparisons and moves of lanes are asked of them, and none is fused, so that every processor
//! gives the same bits; the widest are merely the fastest.

use pulp::{Scalar256b, Simd, f32x8};

/// Work on eight numbers at once.
pub trait Work {
    /// What comes of it.
    type Out;
    /// Does it. To be inlined whole: what is not inlined knows nothing of the instructions.
    fn work<S: Simd<f32s = f32x8>>(self, simd: S) -> Self::Out;
}

/// What the processor has, looked up once.
#[derive(Debug, Clone, Copy)]
pub struct Widest {
    #[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
    v3: Option<pulp::x86::V3>,
}

impl Widest {
    /// Looks it up.
    #[must_use]
    pub fn of_this_processor() -> Self {
        Self {
            #[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
            v3: pulp::x86::V3::try_new(),
        }
    }

    /// The same in instructions that every processor has.
    #[cfg(test)]
    pub(crate) fn plain() -> Self {
        Self {
            #[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
            v3: None,
        }
    }

    /// Does the work in them.
    pub fn run<W: Work>(self, work: W) -> W::Out {
        #[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
        if let Some(v3) = self.v3 {
            return v3.vectorize(In { simd: v3, work });
        }
        work.work(Scalar256b)
    }
}

#[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
struct In<S, W> {
    simd: S,
    work: W,
}

#[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
impl<S: Simd<f32s = f32x8>, W: Work> pulp::NullaryFnOnce for In<S, W> {
    type Output = W::Out;

    #[inline(always)]
    fn call(self) -> W::Out {
        self.work.work(self.simd)
    }
}
