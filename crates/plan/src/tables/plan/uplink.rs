//! Uplinks.

use quantity::Dimension as D;

use crate::field::{
    NOT_NEGATIVE, POSITIVE, POSITIVE_SHARE, RefKind as R, Section, Shape as S, between,
    optional as o, required as r,
};

pub(crate) const UPLINK: Section = Section {
    name: "an uplink",
    doc: "A paid link ashore.",
    part: None,
    fields: &[
        r(
            "at",
            S::Reference(&[R::Module]),
            "the module at which it sits",
        ),
        r(
            "message_size",
            S::Amount(D::DataSize, between(1.0, 1.0e6, "from 1 B to 1 MB")),
            "size of one billed message",
        ),
        r("price", S::Money, "price of one billed message"),
        r(
            "session",
            S::Amount(D::Time, POSITIVE),
            "time of one attempt",
        ),
        o(
            "windows",
            S::Table(&WINDOWS),
            "when it can be reached; always when not written",
        ),
        o(
            "success",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "chance that an attempt succeeds",
        ),
        o(
            "back_off",
            S::Amount(D::Time, NOT_NEGATIVE),
            "wait after a failed attempt",
        ),
        o(
            "expiry",
            S::Amount(D::Time, POSITIVE),
            "age at which a message is given up",
        ),
        o(
            "sending_state",
            S::Text,
            "state of the module while sending",
        ),
    ],
};

const WINDOWS: Section = Section {
    name: "windows",
    doc: "When an uplink can be reached, counted from the start of the deployment.",
    part: None,
    fields: &[
        r(
            "first",
            S::Amount(D::Time, NOT_NEGATIVE),
            "start of the first",
        ),
        r(
            "period",
            S::Amount(D::Time, POSITIVE),
            "from start to start",
        ),
        r("width", S::Amount(D::Time, POSITIVE), "how long each lasts"),
    ],
};
