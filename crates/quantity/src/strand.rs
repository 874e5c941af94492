//! How a stranded conductor is stranded.

/// Stranding class of IEC 60228.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum StrandClass {
    /// Class 2: stranded, for fixed installation.
    Two,
    /// Class 5: flexible.
    Five,
}
