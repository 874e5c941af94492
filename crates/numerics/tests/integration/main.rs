//! Held to numpy and scipy (reference/numerics), to closed forms and to properties.

mod bisecting;
mod reading;
mod reference;
mod roots;
