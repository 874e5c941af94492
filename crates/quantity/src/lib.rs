//! Quantities as people write them (`150 m`, `0.42 W ± 10 %`, `18 AWG`) to and from SI numbers.
