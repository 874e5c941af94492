//! Linear sweeps with smooth edges, and trains of them.
//!
//! `p(t) = A w(t) sin(2 pi (f0 t + (f1 - f0) t^2 / (2 T)))` for `0 <= t <= T`, with `w = sin^2(pi t / (2 e))` over the first
//! and last `e` seconds and 1 between. The stated rms level is that over the energy duration: the mean square between the
//! instants at which 5 % and 95 % of the energy have passed (the usual 90 % energy duration of marine acoustics, common
//! practice; ISO 18406 uses it for pile strikes, from memory). The carrier's square is taken as one half on average, which
//! holds within 0.1 dB for five periods or more (checked).

use alloc::vec::Vec;
use core::f64::consts::PI;

use crate::error::SynthError;
use crate::synth::{finite, positive, pressure_upa, turning_point};

/// Share of the energy that the energy duration leaves out at each end.
const LEFT_OUT: f64 = 0.05;

/// A linear sweep; with equal ends, a tone burst.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweep {
    from_hz: f64,
    to_hz: f64,
    duration_s: f64,
    edge_s: f64,
    amplitude_upa: f64,
    energy_duration_s: f64,
}

impl Sweep {
    /// A sweep from `from_hz` to `to_hz` in `duration_s`, with edges of `edge_s` at both ends, and a source level of
    /// `source_level_db_re_1upa_m` (rms over the energy duration).
    ///
    /// # Errors
    /// [`SynthError::Value`] for frequencies or a duration that are not positive, edges that are negative or longer than
    /// half the duration, or a level that is not finite.
    pub fn new(
        from_hz: f64,
        to_hz: f64,
        duration_s: f64,
        edge_s: f64,
        source_level_db_re_1upa_m: f64,
    ) -> Result<Self, SynthError> {
        positive("sweep start", from_hz, "Hz")?;
        positive("sweep end", to_hz, "Hz")?;
        positive("sweep duration", duration_s, "s")?;
        finite("source level", source_level_db_re_1upa_m, "dB re 1 uPa m")?;
        if !(0.0..=0.5 * duration_s).contains(&edge_s) {
            return Err(SynthError::Value {
                what: "sweep edge",
                value: edge_s,
                unit: "s",
                expected: "between 0 and half the duration",
            });
        }
        let energy = duration_s - 1.25 * edge_s;
        let start_s = time_of_energy(LEFT_OUT * energy, edge_s);
        let energy_duration_s = duration_s - 2.0 * start_s;
        let mean_envelope = (1.0 - 2.0 * LEFT_OUT) * energy / energy_duration_s;
        let amplitude_upa =
            pressure_upa(source_level_db_re_1upa_m) * libm::sqrt(2.0 / mean_envelope);
        Ok(Self {
            from_hz,
            to_hz,
            duration_s,
            edge_s,
            amplitude_upa,
            energy_duration_s,
        })
    }

    /// Pressure in uPa at 1 m, `t_s` after the sweep's beginning; 0 outside it.
    pub fn value(&self, t_s: f64) -> f64 {
        if !(0.0..=self.duration_s).contains(&t_s) {
            return 0.0;
        }
        let rate_hz_s = (self.to_hz - self.from_hz) / self.duration_s;
        let cycles = (self.from_hz + 0.5 * rate_hz_s * t_s) * t_s;
        let from_end_s = t_s.min(self.duration_s - t_s);
        let envelope = if from_end_s < self.edge_s {
            let s = libm::sin(0.5 * PI * from_end_s / self.edge_s);
            s * s
        } else {
            1.0
        };
        self.amplitude_upa * envelope * libm::sin(2.0 * PI * (cycles - libm::floor(cycles)))
    }

    /// The whole sweep sampled at `rate_hz`, uPa at 1 m.
    pub fn samples(&self, rate_hz: f64) -> Vec<f32> {
        let count = (self.duration_s * rate_hz) as usize;
        (0..count)
            .map(|i| self.value(i as f64 / rate_hz) as f32)
            .collect()
    }

    /// Length of the sweep, s.
    pub fn duration_s(&self) -> f64 {
        self.duration_s
    }

    /// Time that holds the middle 90 % of the energy, s.
    pub fn energy_duration_s(&self) -> f64 {
        self.energy_duration_s
    }

    /// Largest magnitude of the envelope, uPa at 1 m.
    pub fn amplitude_upa(&self) -> f64 {
        self.amplitude_upa
    }
}

/// Time by which the squared envelope has gathered `energy` (unit amplitude): in the edge `int sin^4` =
/// `3t/8 - (e/2pi) sin(pi t/e) + (e/16pi) sin(2pi t/e)`, after it one a second.
fn time_of_energy(energy: f64, edge_s: f64) -> f64 {
    let whole_edge = 0.375 * edge_s;
    if energy >= whole_edge {
        return edge_s + (energy - whole_edge);
    }
    let gathered = |t: f64| {
        let a = PI * t / edge_s;
        0.375 * t - edge_s / (2.0 * PI) * libm::sin(a) + edge_s / (16.0 * PI) * libm::sin(2.0 * a)
    };
    turning_point(0.0, edge_s, |t| gathered(t) < energy)
}

/// A sweep repeated at equal intervals.
#[derive(Debug, Clone, PartialEq)]
pub struct PulseTrain {
    pulse: Sweep,
    interval_s: f64,
    count: u64,
}

impl PulseTrain {
    /// `count` pulses, the first beginning at 0, one every `interval_s`.
    ///
    /// # Errors
    /// [`SynthError::Value`] for an interval shorter than the pulse.
    pub fn new(pulse: Sweep, interval_s: f64, count: u64) -> Result<Self, SynthError> {
        positive("pulse interval", interval_s, "s")?;
        if interval_s < pulse.duration_s() {
            return Err(SynthError::Value {
                what: "pulse interval",
                value: interval_s,
                unit: "s",
                expected: "at least the pulse's duration",
            });
        }
        Ok(Self {
            pulse,
            interval_s,
            count,
        })
    }

    /// Pressure in uPa at 1 m, `t_s` after the train's beginning.
    pub fn value(&self, t_s: f64) -> f64 {
        if !(t_s >= 0.0 && t_s < self.duration_s()) {
            return 0.0;
        }
        let n = libm::floor(t_s / self.interval_s);
        self.pulse.value(t_s - n * self.interval_s)
    }

    /// From the first pulse's beginning to one interval after the last one's, s.
    pub fn duration_s(&self) -> f64 {
        self.interval_s * self.count as f64
    }
}
