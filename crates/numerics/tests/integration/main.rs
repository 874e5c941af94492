//! Held to numpy, scipy and scikit-learn (reference/numerics), to closed forms and to properties.

mod bisecting;
mod logistic;
mod reading;
mod reference;
mod roots;
