//! When a buoy counts as adrift.

use mooring::{DriftAlarm, drift_alarm, sigma_of_circle_m};
use plan::Line;

use crate::input::MooredTop;
use crate::moorings::{HungLine, Moorings};

/// Share of fixes, and of anchors, within the circles of error that a plan writes.
pub(crate) const WITHIN: f64 = 0.95;

/// A drift alarm and what it must be.
#[derive(Clone, Debug, PartialEq)]
pub struct Adrift {
    /// The buoy: a typed path.
    pub buoy: String,
    /// Distance at which it goes off by the plan, m.
    pub radius_m: f64,
    /// The least radius of which false alarms are borne.
    pub least: DriftAlarm,
    /// Position fixes from the start to the latest recovery.
    pub fixes: u32,
    /// The longest that a buoy adrift in the strongest current of the design cases goes without an alarm, s: from the far side of its circle to the radius, and until the next fix; `None` in still water.
    pub told_within_s: Option<f64>,
    /// That current, m/s.
    pub strongest_m_s: f64,
    /// The weakest current of the cases in which the water flows, m/s, and the same time in it, s; `None` in still water. In slack water it has no end.
    pub weakest: Option<(f64, f64)>,
}

/// The drift alarm of the buoy at the top of a line.
pub(super) fn adrift(
    line: &Line,
    found: &Moorings,
    of: &HungLine,
) -> Option<Result<Adrift, String>> {
    let MooredTop::Buoy { module, .. } = of.line.top else {
        return None;
    };
    let said = line.modules[module.0].drift_alarm?;
    if let Some(why) = found.without_shape(of) {
        return Some(Err(why));
    }
    let circle = of.watch_circle?;
    let slip_s = line.deployment.recovery_slip_s.map_or(0.0, |q| q.si);
    let fixes = ((line.deployment.duration_s.si + slip_s) / said.every_s.si).ceil();
    if !(1.0..=f64::from(u32::MAX)).contains(&fixes) {
        return Some(Err(format!("{fixes} position fixes are too many to count")));
    }
    let fixes = fixes as u32;
    let least = (|| {
        let fix_m = sigma_of_circle_m(said.fix_error_m.si, WITHIN)?;
        let place_m = sigma_of_circle_m(said.place_error_m.si, WITHIN)?;
        drift_alarm(circle.radius_m, fix_m, place_m, fixes, said.false_alarms.si)
    })();
    let cases = found.cases.iter();
    let speeds = cases.map(|case| case.water.current.speed_and_direction(0.0).0);
    let flowing: Vec<f64> = speeds.filter(|m_s| *m_s > 0.0).collect();
    let strongest_m_s = flowing.iter().copied().fold(0.0, f64::max);
    let weakest_m_s = flowing.iter().copied().reduce(f64::min);
    let within_s = |m_s: f64| (said.radius_m.si + circle.radius_m) / m_s + said.every_s.si;
    Some(
        least
            .map_err(|error| error.to_string())
            .map(|least| Adrift {
                buoy: line.module_path(module),
                radius_m: said.radius_m.si,
                fixes,
                told_within_s: (strongest_m_s > 0.0).then(|| within_s(strongest_m_s)),
                strongest_m_s,
                weakest: weakest_m_s.map(|m_s| (m_s, within_s(m_s))),
                least,
            }),
    )
}
