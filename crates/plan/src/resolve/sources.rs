//! Where sources of sound may be: in the water, and no faster than the delay of a sound can be followed.

use quantity::{Dimension, show};

use super::{Resolver, rising, unknown};
use crate::cue_sheet::TrackPoint;
use crate::line::Q;
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

/// Whether a source lies no deeper than the seabed; tells a mistake when it does. `depth_of_sea` stands in the same file only
/// for a source of the plan. A water depth that another mistake hides is no limit.
pub(super) fn in_the_water(
    r: &mut Resolver<'_>,
    depth_m: Q,
    water_depth_m: Q,
    same_file: bool,
) -> bool {
    let below = depth_m.si > water_depth_m.si;
    if !below {
        return true;
    }
    let mut mistake = Mistake::error(
        Code::BadPlace,
        depth_m.at,
        format!("the source of `{}` lies below the seabed", r.part),
    )
    .label(format!("{} deep", show(depth_m.si, Dimension::Length)))
    .help(format!(
        "the water is {} deep",
        show(water_depth_m.si, Dimension::Length)
    ));
    if same_file {
        mistake = mistake.related(water_depth_m.at, "the water depth");
    }
    r.tell(mistake);
    false
}

/// The track of a sound of a cue sheet.
pub(super) fn track(r: &mut Resolver<'_>, f: &Fields, water_depth_m: Q) -> Option<Vec<TrackPoint>> {
    let zero = |at| Q {
        si: 0.0,
        ..unknown(at)
    };
    let points: Option<Vec<TrackPoint>> = f
        .tables("track")
        .iter()
        .map(|t| {
            Some(TrackPoint {
                after_s: t.q("after").unwrap_or_else(|| zero(t.site)),
                range_m: t.q("range")?,
                bearing_deg: t.deg("bearing").unwrap_or_else(|| zero(t.site)),
                depth_m: t.q("depth")?,
            })
        })
        .collect();
    let points = points.filter(|p| !p.is_empty())?;
    let deepest = points.iter().map(|p| p.depth_m);
    let in_water: Vec<bool> = deepest
        .map(|depth_m| in_the_water(r, depth_m, water_depth_m, false))
        .collect();
    rising(
        r,
        &points.iter().map(|p| p.after_s).collect::<Vec<_>>(),
        "times",
    );
    let rises = points.windows(2).all(|w| w[1].after_s.si > w[0].after_s.si);
    let slow: Vec<bool> = points
        .windows(2)
        .map(|w| slow_enough(r, &w[0], &w[1]))
        .collect();
    (rises && in_water.iter().chain(&slow).all(|holds| *holds)).then_some(points)
}

/// Whether a source gets from one point of its track to the next no faster than it may; tells a mistake when it does not.
fn slow_enough(r: &mut Resolver<'_>, from: &TrackPoint, to: &TrackPoint) -> bool {
    let time_s = to.after_s.si - from.after_s.si;
    let way_m = to.distance_m(from);
    // Times that do not rise are told as such.
    let too_fast = time_s > 0.0 && way_m > TrackPoint::FASTEST_M_S * time_s;
    if !too_fast {
        return true;
    }
    let length = |m| show(m, Dimension::Length);
    r.tell(
        Mistake::error(
            Code::OutOfRange,
            to.range_m.at,
            format!(
                "the source of `{}` moves at {}; the limit is {}",
                r.part,
                show(way_m / time_s, Dimension::Speed),
                show(TrackPoint::FASTEST_M_S, Dimension::Speed)
            ),
        )
        .label(format!("{} from the point before", length(way_m)))
        .help(format!(
            "they are {} apart in time: write a later `after`, or points nearer to each other",
            show(time_s, Dimension::Time)
        )),
    );
    false
}
