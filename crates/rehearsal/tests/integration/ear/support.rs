//! A sea, an ear and sounds to check with.

use std::sync::Arc;

use plan::{
    CueSheet, Decibels, DetectorIx, FileId, ModuleIx, Q, SensorIx, Site, Sound, SoundIx, SoundKind,
    TrackPoint,
};
use rehearsal::ear::{Ear, EarError, EarSpec, HeardCell, Sea, Voice, Ways};
use seawater::{Profile, ProfilePoint, Spreading};
use signal::SensorChain;
use timeline::Ns;

pub(crate) const AT: Site = Site {
    file: FileId(0),
    start: 0,
    end: 0,
};

pub(crate) fn q(si: f64) -> Q {
    Q {
        si,
        law: None,
        at: AT,
    }
}

/// Uniform water of 10 degC, salinity 35, pH 8.
pub(crate) fn sea(spreading: Spreading) -> Sea {
    let profile = Profile::new(&[ProfilePoint {
        depth_m: 0.0,
        temperature_degc: 10.0,
        salinity: 35.0,
    }])
    .unwrap();
    Sea {
        profile,
        ways: Ways::Simple { spreading },
        ph: 8.0,
        wind_m_s: 5.0,
        shipping: 0.5,
        seed: 7,
    }
}

/// Mackenzie 1981 at 10 degC, salinity 35 and the surface, from the printed polynomial:
/// 1448.96 + 45.91 - 5.304 + 0.2374 m/s.
pub(crate) const SURFACE_SPEED_M_S: f64 = 1489.8034;

/// A chain that overloads at 188 dB and steps by 1.2 uPa: out of the way of every level but the loudest.
pub(crate) fn wide_chain(rate_hz: f64) -> SensorChain {
    SensorChain::new(-180.0, 0.0, None, 2.5, 32, rate_hz).unwrap()
}

pub(crate) fn ear(name: &str, depth_m: f64, chain: SensorChain) -> EarSpec {
    EarSpec {
        sensor: SensorIx {
            module: ModuleIx(0),
            sensor: 0,
        },
        name: name.to_owned(),
        depth_m,
        chain,
        self_noise: Vec::new(),
        detectors: Vec::new(),
    }
}

pub(crate) fn fixed(range_m: f64, depth_m: f64) -> Vec<TrackPoint> {
    vec![point(0.0, range_m, 0.0, depth_m)]
}

pub(crate) fn point(after_s: f64, range_m: f64, bearing_deg: f64, depth_m: f64) -> TrackPoint {
    TrackPoint {
        after_s: q(after_s),
        range_m: q(range_m),
        bearing_deg: q(bearing_deg),
        depth_m: q(depth_m),
    }
}

pub(crate) fn tone(frequency_hz: f64, length_s: f64) -> SoundKind {
    SoundKind::Tone {
        frequency_hz: q(frequency_hz),
        length_s: q(length_s),
    }
}

pub(crate) fn upsweep(from_hz: f64, to_hz: f64, length_s: f64) -> SoundKind {
    SoundKind::Upsweep {
        from_hz: q(from_hz),
        to_hz: q(to_hz),
        length_s: q(length_s),
    }
}

pub(crate) fn sound(
    at_s: f64,
    what: SoundKind,
    source_level_db: f64,
    track: Vec<TrackPoint>,
) -> Sound {
    Sound {
        id: "noise-maker".to_owned(),
        at: AT,
        at_s: q(at_s),
        what,
        source_level_db: Decibels {
            db: source_level_db,
            law: None,
            at: AT,
        },
        track,
        repeats: None,
    }
}

pub(crate) fn try_voices(sounds: Vec<Sound>) -> Result<Vec<Arc<Voice>>, EarError> {
    let cues = CueSheet {
        name: "check".to_owned(),
        start: None,
        duration_s: q(1e4),
        seed: 7,
        wind_m_s: q(5.0),
        wave_height_m: None,
        contacts_aged: false,
        begins_switched_on: false,
        sounds,
        faults: Vec::new(),
        inputs: Vec::new(),
        answers: Vec::new(),
        expects: Vec::new(),
    };
    (0..cues.sounds.len())
        .map(|i| Voice::new(&cues, SoundIx(i)).map(Arc::new))
        .collect()
}

pub(crate) fn voices(sounds: Vec<Sound>) -> Vec<Arc<Voice>> {
    try_voices(sounds).unwrap()
}

/// What the ear's converter gives until `until_s`, in uPa, from sample 0.
pub(crate) fn samples(ear: &mut Ear, until_s: f64) -> Vec<f32> {
    let mut all = Vec::new();
    let mut cells = Vec::new();
    ear.advance_with(s(until_s), &mut cells, &mut |taken| {
        assert_eq!(taken.first as usize, all.len());
        all.extend_from_slice(taken.pressure_upa);
    })
    .unwrap();
    all
}

pub(crate) fn s(seconds_s: f64) -> Ns {
    Ns::from_s_f64(seconds_s).unwrap()
}

/// Mean square of the samples from one time to another, dB re 1 uPa.
pub(crate) fn level_db(samples: &[f32], rate_hz: f64, from_s: f64, until_s: f64) -> f64 {
    let part = &samples[(from_s * rate_hz).round() as usize..(until_s * rate_hz).round() as usize];
    let sum: f64 = part.iter().map(|&p| f64::from(p) * f64::from(p)).sum();
    10.0 * libm::log10(sum / part.len() as f64)
}

/// Where a cell lies, with the bits of its levels.
#[derive(Debug, PartialEq)]
pub(crate) struct CellBits {
    detector: DetectorIx,
    samples: [u64; 4],
    level: u64,
    background: Option<u64>,
    known_at: Ns,
    clipped: bool,
}

/// For comparison bit for bit.
pub(crate) fn bits(cells: &[HeardCell]) -> Vec<CellBits> {
    cells
        .iter()
        .map(|h| {
            let c = &h.cell;
            CellBits {
                detector: h.detector,
                samples: [c.index, c.begin_sample, c.end_sample, c.known_at_sample],
                level: c.level_db.to_bits(),
                background: c.background_db.map(f64::to_bits),
                known_at: h.known_at,
                clipped: h.clipped,
            }
        })
        .collect()
}

#[track_caller]
pub(crate) fn near(found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "found {found}, expected {expected} within {tolerance}"
    );
}
