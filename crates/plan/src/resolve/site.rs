//! The deployment, the sea and the weather.

use super::{Resolver, bare, cases, propagation, q, unknown, waves};
use crate::line::{
    Deployment, Flow, GrowthSaid, HorizonPoint, LossMeasured, Q, Sea, Spells, Spreading, Swell,
    Water, Work,
};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

/// What of the deployment can be read.
pub(super) fn deployment(f: &Fields) -> Deployment {
    Deployment {
        name: f.text("name").map_or_else(String::new, |(t, _)| t.clone()),
        start: f.date("start").map(|(start, _)| *start),
        duration_s: f.q("duration").unwrap_or_else(|| unknown(f.site)),
        start_slip_s: f.q("start_slip"),
        recovery_slip_s: f.q("recovery_slip"),
        deploying: work(f, "deploying"),
        recovering: work(f, "recovering"),
        dead_on_deck: f.q("dead_on_deck"),
    }
}

fn work(f: &Fields, key: &'static str) -> Option<Work> {
    let (t, _) = f.table(key)?;
    Some(Work {
        wave_m: t.q("wave")?,
        lasts_s: t.q("lasts")?,
    })
}

/// What of the sea can be read.
pub(super) fn sea(r: &mut Resolver<'_>, f: &Fields) -> Sea {
    "site".clone_into(&mut r.part);
    let spreading = match f.choice("spreading") {
        None => None,
        Some((&"spherical", _)) => Some(Spreading::Spherical),
        Some((&"practical", _)) => Some(Spreading::Practical),
        Some((&"cylindrical", _)) => Some(Spreading::Cylindrical),
        Some((&"measured", site)) => {
            if !f.has("loss_measured") {
                r.tell(
                    Mistake::error(
                        Code::MissingKey,
                        site,
                        "a measured law needs what was measured",
                    )
                    .label("this choice")
                    .help(format!("add `{LOSS_MEASURED}`")),
                );
            }
            Some(Spreading::Measured)
        }
        Some((_, site)) => {
            let at_m = f.q("spreading_changes_at");
            if !f.has("spreading_changes_at") {
                r.tell(
                    Mistake::error(
                        Code::MissingKey,
                        site,
                        "`transition` needs the range at which it changes",
                    )
                    .label("this choice")
                    .help("add `spreading_changes_at = \"200 m\"`"),
                );
            }
            at_m.map(|at_m| Spreading::Transition { at_m })
        }
    };
    let loss_measured = loss_measured(r, f, spreading);
    let profile: Vec<Water> = f
        .tables("profile")
        .iter()
        .filter_map(|p| {
            Some(Water {
                depth_m: p.q("depth")?,
                temperature_degc: p.q("temperature")?,
                salinity: p.q("salinity")?,
            })
        })
        .collect();
    let depths: Vec<Q> = profile.iter().map(|p| p.depth_m).collect();
    rising(r, &depths, "depths");
    let current = current(r, f);
    let hidden = || unknown(f.site);
    let sea = Sea {
        latitude_deg: f.deg("latitude").unwrap_or_else(hidden),
        longitude_deg: f.deg("longitude").unwrap_or_else(hidden),
        water_depth_m: f.q("water_depth").unwrap_or_else(hidden),
        profile,
        current,
        tide_m: f
            .table("tide")
            .and_then(|(t, _)| Some((t.q("lowest")?, t.q("highest")?))),
        growth: f.table("growth").and_then(|(t, _)| {
            Some(GrowthSaid {
                a_month_m: t.q("a_month")?,
                most_m: t.q("most"),
                density_kg_m3: t.q("density")?,
                rougher: t.number("rougher").map(bare),
                down_to_m: t.q("down_to"),
            })
        }),
        density_kg_m3: f.q("density"),
        wind_m_s: f.qs("wind"),
        wave_height_m: f.qs("wave_height"),
        spells: f.table("waves").and_then(|(t, _)| {
            Some(Spells {
                shape: bare(t.number("shape")?),
                memory_s: t.q("memory")?,
            })
        }),
        swell: f.table("swell").and_then(|(t, _)| {
            Some(Swell {
                height_m: t.q("height")?,
                period_s: t.q("period")?,
            })
        }),
        air_temperature_degc: f.qs("air_temperature"),
        surface_temperature_degc: f.qs("surface_temperature"),
        horizon: horizon(r, f),
        weather: None,
        clearness: f.qs("clearness"),
        shipping: f.q("shipping"),
        ph: f.q("ph"),
        spreading,
        loss_measured,
        paths: propagation::paths(r, f),
        bottom: propagation::bottom(r, f),
        rays: propagation::rays(f),
    };
    waves::of_site(r, &sea);
    cases::below_the_bed(r, &sea, ("the site", &sea.current), 0.0);
    sea
}

const LOSS_MEASURED: &str = "loss_measured = { slope = \"17 dB ± 1.5 dB\", at = \"1 km\", loss = \"52 dB ± 2 dB\", nearest = \"200 m\", farthest = \"5 km\", band = [\"50 Hz\", \"500 Hz\"], document = \"...\", by = \"...\", date = 2026-08-14 }";

/// The law that was measured at the place; none where some of it is wrong.
fn loss_measured(
    r: &mut Resolver<'_>,
    f: &Fields,
    spreading: Option<Spreading>,
) -> Option<LossMeasured> {
    let (t, site) = f.table("loss_measured")?;
    let mut wrong = |at, what: &str, label: &str, help: &str| {
        r.tell(
            Mistake::error(Code::MissingKey, at, what)
                .label(label)
                .help(help),
        );
    };
    if spreading != Some(Spreading::Measured) && !f.is_wrong("spreading") {
        wrong(
            site,
            "a measured law that the plan does not use",
            "measured here",
            "write `spreading = \"measured\"`, or take this table out",
        );
    }
    if t.has("at") != t.has("loss") {
        wrong(
            site,
            "a known loss needs `at` and `loss`",
            "here is one of them",
            "write both, or neither where it was measured from 1 m on",
        );
    }
    let (nearest_m, farthest_m) = (t.q("nearest"), t.q("farthest"));
    // A slope between two ranges says nothing of the loss at either.
    if let Some(near) = nearest_m.filter(|near| near.si > 1.0)
        && !t.has("at")
        && !t.has("loss")
    {
        wrong(
            near.at,
            "a law that was not measured from 1 m on needs a loss that is known: its slope alone does not say how much is lost on the way to here",
            "measured from here on",
            "add `at = \"1 km\", loss = \"52 dB ± 2 dB\"`: a range at which it was measured, and the loss from 1 m to there",
        );
    }
    if let (Some(at), true) = (t.q("at"), t.has("loss")) {
        let nearer = nearest_m.filter(|near| at.si < near.si);
        let other = nearer.or(farthest_m.filter(|far| at.si > far.si));
        if let Some(other) = other {
            r.tell(
                Mistake::error(
                    Code::OutOfRange,
                    at.at,
                    "the known loss must lie where the law was measured",
                )
                .label("outside it")
                .related(
                    other.at,
                    if nearer.is_some() {
                        "measured from here on"
                    } else {
                        "measured to here"
                    },
                ),
            );
        }
    }
    if let (Some(near), Some(far)) = (nearest_m, farthest_m)
        && near.si >= far.si
    {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                far.at,
                "the greatest range that was measured must lie beyond the least",
            )
            .label("not beyond it")
            .related(near.at, "the least"),
        );
    }
    let band = t.amounts("band")?.0;
    let band_hz = (q((&band[0].0, band[0].1)), q((&band[1].0, band[1].1)));
    if band_hz.0.si >= band_hz.1.si {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                band_hz.1.at,
                "the highest frequency that was measured must lie above the lowest",
            )
            .label("not above it")
            .related(band_hz.0.at, "the lowest"),
        );
    }
    Some(LossMeasured {
        slope: t.db("slope")?,
        known: t.q("at").zip(t.db("loss")),
        nearest_m,
        farthest_m: farthest_m?,
        band_hz,
        document: t.text("document")?.0.clone(),
        by: t.text("by")?.0.clone(),
        date: *t.date("date")?.0,
    })
}

/// Water current by depth; where some of it is wrong, what is left.
pub(super) fn current(r: &mut Resolver<'_>, f: &Fields) -> Vec<Flow> {
    let current: Vec<Flow> = f
        .tables("current")
        .iter()
        .filter_map(|p| {
            Some(Flow {
                depth_m: p.q("depth")?,
                speed_m_s: p.q("speed")?,
                towards_deg: p.deg("towards"),
            })
        })
        .collect();
    let depths: Vec<Q> = current.iter().map(|p| p.depth_m).collect();
    rising(r, &depths, "depths");
    let silent = |p: &&Flow| p.towards_deg.is_none();
    if let Some(one) = current.iter().find(silent)
        && let Some(other) = current.iter().find_map(|p| p.towards_deg)
    {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                one.depth_m.at,
                "some points of this water current say where it runs, and this one does not",
            )
            .label("`towards` is missing at this depth")
            .related(other.at, "it is said here")
            .help("add `towards = \"40 deg\"` to each point, or to none"),
        );
    }
    current
}

/// The skyline; none where some of it is wrong.
fn horizon(r: &mut Resolver<'_>, f: &Fields) -> Vec<HorizonPoint> {
    let points: Vec<HorizonPoint> = f
        .tables("horizon")
        .iter()
        .filter_map(|p| {
            Some(HorizonPoint {
                azimuth_deg: p.deg("azimuth")?,
                elevation_deg: p.deg("elevation")?,
            })
        })
        .collect();
    let azimuths: Vec<Q> = points.iter().map(|p| p.azimuth_deg).collect();
    rising(r, &azimuths, "azimuths");
    points
}

/// Tells a mistake where a list of depths or frequencies does not rise.
pub(super) fn rising(r: &mut Resolver<'_>, list: &[Q], what: &str) {
    for pair in list.windows(2) {
        if pair[1].si <= pair[0].si {
            r.tell(
                Mistake::error(
                    Code::OutOfRange,
                    pair[1].at,
                    format!("{what} must rise from point to point"),
                )
                .label("not above the one before")
                .related(pair[0].at, "the one before"),
            );
        }
    }
}
