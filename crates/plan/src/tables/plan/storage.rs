//! Storages.

use quantity::{Dimension as D, SECONDS_PER_DAY};

use crate::field::{
    Bounds, POSITIVE, POSITIVE_SHARE, RefKind as R, SHARE, Scale, Section, Shape as S, between,
    optional as o, required as r,
};

pub(crate) const STORAGE: Section = Section {
    name: "a storage",
    doc: "A store for recordings and logs.",
    part: None,
    fields: &[
        r(
            "at",
            S::Reference(&[R::Module]),
            "the module at which it sits",
        ),
        r("capacity", S::Amount(D::DataSize, POSITIVE), "capacity"),
        o("keep_free", S::Amount(D::Ratio, SHARE), "share kept free"),
        o(
            "records",
            S::Tables(&RECORD),
            "what is recorded; nothing when not written",
        ),
        o(
            "cut",
            S::Amount(D::Time, between(1.0, SECONDS_PER_DAY, "from 1 s to 1 d")),
            "length of a file: recordings are cut at its whole multiples in UTC",
        ),
        o(
            "cluster",
            S::Amount(D::DataSize, between(1.0, 1.0e9, "from 1 B to 1 GB")),
            "least piece of the store that a file takes; what its last piece leaves is lost",
        ),
        o(
            "logs",
            S::Table(&LOGS),
            "what the log of the module takes; it is not kept here when not written",
        ),
        o(
            "drop",
            S::Texts,
            "what goes when it is full, in this order: logs, oldest-recordings; or nothing",
        ),
    ],
};

const LOGS: Section = Section {
    name: "the log",
    doc: "Bytes that the log of the module takes.",
    part: None,
    fields: &[
        o(
            "event",
            S::Amount(D::DataSize, LOGGED),
            "for each confirmed event of its detectors",
        ),
        o(
            "message",
            S::Amount(D::DataSize, LOGGED),
            "for each message that it publishes",
        ),
        o(
            "line",
            S::Amount(D::DataSize, LOGGED),
            "for each line that a behaviour logs",
        ),
    ],
};

const LOGGED: Bounds = between(1.0, 1.0e6, "from 1 B to 1 MB");

const RECORD: Section = Section {
    name: "a record",
    doc: "A sensor's recording.",
    part: None,
    fields: &[
        r(
            "sensor",
            S::Reference(&[R::Sensor]),
            "the sensor; one of another module than the store's needs a stream from it to the store's module",
        ),
        r(
            "share",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "share of the time recorded",
        ),
        r(
            "compression",
            S::Figure(Scale::Plain, between(1.0, 100.0, "from 1 (none) to 100")),
            "raw size over stored size",
        ),
    ],
};
