//! Storages.

use quantity::Dimension as D;

use crate::field::{
    POSITIVE, POSITIVE_SHARE, RefKind as R, SHARE, Section, Shape as S, between, optional as o,
    required as r,
};

pub(crate) const STORAGE: Section = Section {
    name: "a storage",
    doc: "A store for recordings.",
    part: None,
    fields: &[
        r(
            "at",
            S::Reference(&[R::Module]),
            "the module at which it sits",
        ),
        r("capacity", S::Amount(D::DataSize, POSITIVE), "capacity"),
        o("keep_free", S::Amount(D::Ratio, SHARE), "share kept free"),
        r("records", S::Tables(&RECORD), "what is recorded"),
    ],
};

const RECORD: Section = Section {
    name: "a record",
    doc: "A sensor's recording.",
    part: None,
    fields: &[
        r("sensor", S::Reference(&[R::Sensor]), "the sensor"),
        r(
            "share",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "share of the time recorded",
        ),
        r(
            "compression",
            S::Number(between(1.0, 100.0, "from 1 (none) to 100")),
            "raw size over stored size",
        ),
    ],
};
