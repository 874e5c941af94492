//! Votes: how long sound takes from one ear to the next, and how surely a detector tells when.

use detect::{Detector, VoteSpec};
use plan::{Line, VoteIx};

use super::{InputError, detector_spec, ns, profile};

/// A vote, its times in nanoseconds.
///
/// Without a `within` of its own: the longest way between two of its ears, straight and with the line hanging straight
/// down, at the lowest sound speed of the profile, and the length of one value of each of the two detectors, because
/// neither tells an instant more finely than that.
///
/// # Errors
/// [`InputError::NotSaid`] where a depth is missing, [`InputError::Sea`] and [`InputError::Detector`] for what cannot be.
pub fn vote_spec(line: &Line, vote: VoteIx) -> Result<VoteSpec, InputError> {
    let v = &line.votes[vote.0];
    let what = || format!("vote.{}", v.id);
    let within = match v.within_s {
        Some(q) => ns(what, q.si)?,
        None => ns(what, travel_s(line, vote)?)?,
    };
    Ok(VoteSpec {
        members: v.of.len(),
        at_least: v.at_least as usize,
        within: within.0,
        hold_off: ns(what, v.hold_off_s.si)?.0,
    })
}

fn travel_s(line: &Line, vote: VoteIx) -> Result<f64, InputError> {
    let v = &line.votes[vote.0];
    let water = profile(line)?;
    let mut ears = Vec::new();
    for detector in &v.of {
        let sensor = line.detectors[detector.0].on;
        let depth_m = line.modules[sensor.module.0].depth_m;
        if !depth_m.is_finite() {
            return Err(InputError::NotSaid {
                what: line.module_path(sensor.module),
                missing: "its depth",
            });
        }
        let spec = detector_spec(line, *detector, None)?;
        let built = Detector::new(&spec).map_err(|source| InputError::Detector {
            what: format!("detector.{}", line.detectors[detector.0].id),
            source,
        })?;
        ears.push((depth_m, built.cell_samples() as f64 / spec.rate_hz));
    }
    let mut slowest_m_s = f64::INFINITY;
    let depths = line.sea.profile.iter().map(|p| p.depth_m.si);
    for depth_m in depths.chain(ears.iter().map(|e| e.0)) {
        slowest_m_s = slowest_m_s.min(water.sound_speed_m_s(depth_m)?);
    }
    let mut longest_s = 0.0_f64;
    for (i, a) in ears.iter().enumerate() {
        for b in &ears[..i] {
            longest_s = longest_s.max((a.0 - b.0).abs() / slowest_m_s + a.1 + b.1);
        }
    }
    Ok(longest_s)
}
