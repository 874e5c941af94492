//! The deployment and the site.

use quantity::{Dimension as D, LevelKind as K};

use super::bounds::{DEPTH, FREQUENCY, IN_WATER, SLIP, TURN, WAVES, WIND};
use crate::field::{
    Bounds, Scale, Section, Shape as S, between, degrees, optional as o, required as r,
};

const MONTHS: usize = 12;

pub(crate) const DEPLOYMENT: Section = Section {
    name: "a deployment",
    doc: "Name, dates and slips.",
    part: None,
    fields: &[
        r("name", S::Text, "name shown on every output"),
        r("start", S::Date, "planned start"),
        r(
            "duration",
            S::Amount(D::Time, IN_WATER),
            "planned time in the water",
        ),
        o(
            "start_slip",
            S::Amount(D::Time, SLIP),
            "how much later the start may be",
        ),
        o(
            "recovery_slip",
            S::Amount(D::Time, SLIP),
            "how much later the recovery may be",
        ),
        o(
            "deploying",
            S::Table(&WORK),
            "what the work of laying the line needs of the sea",
        ),
        o(
            "recovering",
            S::Table(&WORK),
            "what the work of bringing it back needs of the sea",
        ),
        o(
            "dead_on_deck",
            S::Amount(D::Ratio, between(0.0, 0.9, "from 0 % to 90 %")),
            "chance that a module or a span does not work when it comes out of its crate; `spare` tables may give their own",
        ),
    ],
};

pub(crate) const SITE: Section = Section {
    name: "a site",
    doc: "The sea and the weather.",
    part: None,
    fields: &[
        r("latitude", S::Amount(D::Angle, LATITUDE), "north positive"),
        r("longitude", S::Amount(D::Angle, LONGITUDE), "east positive"),
        r(
            "water_depth",
            S::Amount(D::Length, between(0.1, 11_000.0, "from 0.1 m to 11 km")),
            "depth of the seabed",
        ),
        r(
            "profile",
            S::Tables(&WATER),
            "temperature and salinity by depth",
        ),
        o("current", S::Tables(&FLOW), "water current by depth"),
        o("tide", S::Table(&TIDE), "lowest and highest water"),
        o(
            "growth",
            S::Table(&GROWTH),
            "what grows on ropes, housings, floats and hulls; without it they are as clean at the end as at the start",
        ),
        o(
            "density",
            S::Amount(
                D::Density,
                between(950.0, 1100.0, "from 950 kg/m3 to 1100 kg/m3"),
            ),
            "density of the water for drag and buoyancy; from `profile` when not written",
        ),
        o(
            "wind",
            S::Amounts(D::Speed, WIND, MONTHS, MONTHS),
            "mean wind of each month from January",
        ),
        o(
            "wave_height",
            S::Amounts(D::Length, WAVES, MONTHS, MONTHS),
            "mean significant wave height of each month from January",
        ),
        o(
            "waves",
            S::Table(&SPELLS),
            "how heights of the sea spread about `wave_height`, and how long they last",
        ),
        o(
            "swell",
            S::Table(&SWELL),
            "swell from elsewhere, beside the sea of the wind; none when not written",
        ),
        o(
            "clearness",
            S::Figures(
                Scale::Share,
                between(0.0, 1.0, "from 0 to 1"),
                MONTHS,
                MONTHS,
            ),
            "clearness index of each month from January",
        ),
        o(
            "air_temperature",
            S::Amounts(D::Temperature, AIR, MONTHS, MONTHS),
            "mean air temperature of each month from January",
        ),
        o(
            "surface_temperature",
            S::Amounts(D::Temperature, SURFACE, MONTHS, MONTHS),
            "mean temperature of the water at the surface in each month from January",
        ),
        o(
            "horizon",
            S::Tables(&SKYLINE),
            "height of what hides the sun, by direction; open when not written",
        ),
        o(
            "weather",
            S::Text,
            "hourly weather file under the plan's folder, instead of years made from `clearness`: TMY3, or CSV with named columns",
        ),
        o(
            "shipping",
            S::Figure(
                Scale::Plain,
                between(0.0, 1.0, "from 0 (no ships) to 1 (heavy traffic)"),
            ),
            "shipping activity",
        ),
        o(
            "ph",
            S::Figure(Scale::Plain, between(7.0, 8.6, "from 7.0 to 8.6")),
            "acidity of the water",
        ),
        o(
            "spreading",
            S::Choice(&[
                "spherical",
                "practical",
                "cylindrical",
                "transition",
                "measured",
            ]),
            "how sound spreads: 20, 15 or 10 lg r, 20 changing to 10 at `spreading_changes_at`, or as `loss_measured` says",
        ),
        o(
            "spreading_changes_at",
            S::Amount(D::Length, RANGES),
            "range at which `transition` changes",
        ),
        o(
            "loss_measured",
            S::Table(&LOSS_MEASURED),
            "the law of spreading as it was measured at the place, with `spreading = \"measured\"`",
        ),
        o(
            "paths",
            S::Choice(&["simple", "surface-image", "rays"]),
            "the ways that sound takes in a rehearsal: straight with the loss of `spreading` (also when not written), straight and by its image in the surface, or every ray through the profile off surface and `bottom`",
        ),
        o("bottom", S::Table(&BOTTOM), "the sea bed as sound meets it"),
        o("rays", S::Table(&RAYS), "which rays are followed"),
    ],
};

const LATITUDE: Bounds = degrees(-90.0, 90.0, "from -90 deg to 90 deg");

const LONGITUDE: Bounds = degrees(-180.0, 180.0, "from -180 deg to 180 deg");

const AIR: Bounds = between(-60.0, 60.0, "from -60 degC to 60 degC");

const SURFACE: Bounds = between(-2.0, 40.0, "from -2 degC to 40 degC");

const LOSS_MEASURED: Section = Section {
    name: "a measured loss",
    doc: "How sound was found to thin out at the place, absorption apart: a line over the logarithm of range, and the document that it stands in.",
    part: None,
    fields: &[
        r(
            "slope",
            S::Level(&[K::Gain], between(10.0, 40.0, "from 10 dB to 40 dB")),
            "loss over a decade of range, with its uncertainty (k = 2) after ±",
        ),
        o(
            "at",
            S::Amount(D::Length, RANGES),
            "range at which `loss` is known, where the law was measured; needed with `loss` unless it was measured from 1 m on, where the line then begins with 0 dB",
        ),
        o(
            "loss",
            S::Level(&[K::Gain], between(0.0, 200.0, "from 0 dB to 200 dB")),
            "loss from 1 m to `at`, with its uncertainty (k = 2) after ±",
        ),
        o(
            "nearest",
            S::Amount(D::Length, RANGES),
            "least range at which it was measured; 1 m when not written, and listed as assumed",
        ),
        r(
            "farthest",
            S::Amount(D::Length, RANGES),
            "greatest range at which it was measured; beyond it the law is not known",
        ),
        r(
            "band",
            S::Amounts(D::Frequency, FREQUENCY, 2, 2),
            "lowest and highest frequency at which it was measured; for calls that lie outside the law is not known",
        ),
        r("document", S::Text, "where it is written down"),
        r("by", S::Text, "who measured it"),
        r("date", S::Date, "when"),
    ],
};

const RANGES: Bounds = between(1.0, 1.0e6, "from 1 m to 1000 km");

const BOTTOM: Section = Section {
    name: "a bottom",
    doc: "The sea bed: a fluid by its sound speed, density and attenuation, or a loss at every bounce.",
    part: None,
    fields: &[
        o(
            "sound_speed",
            S::Amount(
                D::Speed,
                between(1000.0, 7000.0, "from 1000 m/s to 7000 m/s"),
            ),
            "sound speed of the bed",
        ),
        o(
            "density",
            S::Amount(
                D::Density,
                between(1000.0, 4000.0, "from 1000 kg/m3 to 4000 kg/m3"),
            ),
            "density of the bed",
        ),
        o(
            "attenuation_per_wavelength",
            S::Level(&[K::Gain], between(0.0, 30.0, "from 0 dB to 30 dB")),
            "what the bed takes from sound over one wavelength",
        ),
        o(
            "loss_per_bounce",
            S::Level(&[K::Gain], between(0.0, 60.0, "from 0 dB to 60 dB")),
            "the same loss at every bounce, at every angle",
        ),
    ],
};

const RAYS: Section = Section {
    name: "limits of the rays",
    doc: "Which rays are followed, with `paths = \"rays\"`.",
    part: None,
    fields: &[
        o(
            "bottom_bounces",
            S::Count(0, 40),
            "bounces from the bed at the most; 4 when not written",
        ),
        o(
            "faintest",
            S::Level(&[K::Gain], between(1.0, 200.0, "from 1 dB to 200 dB")),
            "a ray fainter than the loudest by more is left out; 30 dB when not written",
        ),
        o(
            "most",
            S::Count(1, 32),
            "rays from a sound to a hydrophone at the most, the loudest; 8 when not written",
        ),
    ],
};

const TIDE: Section = Section {
    name: "a tide",
    doc: "How far the water falls and rises from the level of `water_depth`; 0 m both where there is no tide.",
    part: None,
    fields: &[
        r(
            "lowest",
            S::Amount(D::Length, between(-20.0, 0.0, "from -20 m to 0 m")),
            "lowest level",
        ),
        r(
            "highest",
            S::Amount(D::Length, between(0.0, 20.0, "from 0 m to 20 m")),
            "highest level",
        ),
    ],
};

const GROWTH: Section = Section {
    name: "growth",
    doc: "Animals and weed that grow on what is in the water: a firm layer of one thickness.",
    part: None,
    fields: &[
        r(
            "a_month",
            S::Amount(D::Length, between(0.0, 0.05, "from 0 m to 50 mm")),
            "thickness that it gains in a month",
        ),
        o(
            "most",
            S::Amount(D::Length, between(0.0, 1.0, "from 0 m to 1 m")),
            "thickness at which it stays; it never stays when not written",
        ),
        r(
            "density",
            S::Amount(
                D::Density,
                between(900.0, 2000.0, "from 900 kg/m3 to 2000 kg/m3"),
            ),
            "density of what grows",
        ),
        o(
            "rougher",
            S::Number(between(1.0, 5.0, "from 1 to 5")),
            "how many times larger drag coefficients of the rough surface are; 1 when not written",
        ),
        o(
            "down_to",
            S::Amount(D::Length, DEPTH),
            "greatest depth at which it grows; to the bed when not written",
        ),
    ],
};

const SKYLINE: Section = Section {
    name: "a point of the horizon",
    doc: "Elevation of the skyline in a direction; straight lines between the directions, all round.",
    part: None,
    fields: &[
        r(
            "azimuth",
            S::Amount(D::Angle, degrees(0.0, 360.0, "from 0 deg to 360 deg")),
            "direction, from north",
        ),
        r(
            "elevation",
            S::Amount(D::Angle, degrees(0.0, 90.0, "from 0 deg to 90 deg")),
            "elevation of the skyline",
        ),
    ],
};

const WATER: Section = Section {
    name: "a point of the profile",
    doc: "Temperature and salinity at a depth.",
    part: None,
    fields: &[
        r("depth", S::Amount(D::Length, DEPTH), "depth"),
        r(
            "temperature",
            S::Amount(
                D::Temperature,
                between(-2.0, 40.0, "from -2 degC to 40 degC"),
            ),
            "water temperature",
        ),
        r(
            "salinity",
            S::Figure(Scale::Plain, between(0.0, 42.0, "from 0 to 42")),
            "practical salinity",
        ),
    ],
};

const WORK: Section = Section {
    name: "work at sea",
    doc: "A stretch of time with low waves, all in one.",
    part: None,
    fields: &[
        r(
            "wave",
            S::Amount(D::Length, WAVES),
            "significant height up to which the work goes on",
        ),
        r(
            "lasts",
            S::Amount(
                D::Time,
                between(60.0, 30.0 * 86_400.0, "from 1 min to 30 d"),
            ),
            "how long it takes, without a break",
        ),
    ],
};

const SPELLS: Section = Section {
    name: "waves",
    doc: "Heights of the sea hour by hour: their spread within a month, and their memory.",
    part: None,
    fields: &[
        r(
            "shape",
            S::Number(between(0.5, 10.0, "from 0.5 to 10")),
            "shape of the Weibull law of significant heights in a month, whose mean is that of `wave_height`",
        ),
        r(
            "memory",
            S::Amount(
                D::Time,
                between(3600.0, 60.0 * 86_400.0, "from 1 h to 60 d"),
            ),
            "time after which of what was known of calm or rough a share of 1/e is left",
        ),
    ],
};

pub(crate) const SWELL: Section = Section {
    name: "a swell",
    doc: "Long waves from elsewhere, of one period.",
    part: None,
    fields: &[
        r("height", S::Amount(D::Length, WAVES), "significant height"),
        r(
            "period",
            S::Amount(D::Time, between(2.0, 60.0, "from 2 s to 60 s")),
            "time from crest to crest",
        ),
    ],
};

pub(super) const FLOW: Section = Section {
    name: "a point of the water current",
    doc: "Water current at a depth.",
    part: None,
    fields: &[
        r("depth", S::Amount(D::Length, DEPTH), "depth"),
        r(
            "speed",
            S::Amount(D::Speed, between(0.0, 10.0, "from 0 m/s to 10 m/s")),
            "speed",
        ),
        o(
            "towards",
            S::Amount(D::Angle, TURN),
            "where the water moves to, from north",
        ),
    ],
};
