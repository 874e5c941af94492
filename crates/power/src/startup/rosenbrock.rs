//! One step of the line in time: the Rosenbrock method RODAS.
//!
//! Source: Hairer and Wanner, Solving Ordinary Differential Equations II (1996), section VI.4: six stages, order 4(3),
//! L-stable, stiffly accurate, for index-1 differential-algebraic systems; coefficients as in the authors' public
//! program, read in three independent transcriptions that agree. The book itself was not read.
//!
//! `(C/(h gamma) - F') U_i = F(V + sum a_ij U_j) + (C/h) sum c_ij U_j`, new voltages `V + sum a_5j U_j + U_5 + U_6`,
//! error `U_6`. `C/(h gamma) - F'` is the matrix `L + diag(g - P/V^2 + C/(h gamma))` of [`crate::elimination`]: one
//! elimination and six solves a step, `O(n)` on a tree, algebraic nodes included. If a pivot is not above zero, the step
//! is too long for a capacitor with a constant-power module, or the algebraic part has collapsed.
//!
//! Accuracy: set by the tolerance of the caller; order 4 in the voltages, 3 between the ends of a step.

use crate::startup::circuit::{Circuit, Work};

const GAMMA: f64 = 0.25;
const STAGES: usize = 6;
const A: [[f64; 4]; 4] = [
    [1.544, 0.0, 0.0, 0.0],
    [0.9466785280815826, 0.2557011698983284, 0.0, 0.0],
    [
        3.314825187068521,
        2.896124015972201,
        0.9986419139977817,
        0.0,
    ],
    [
        1.221224509226641,
        6.019134481288629,
        12.53708332932087,
        -0.6878860361058950,
    ],
];
const C: [[f64; 5]; 5] = [
    [-5.6688, 0.0, 0.0, 0.0, 0.0],
    [-2.430093356833875, -0.2063599157091915, 0.0, 0.0, 0.0],
    [
        -0.1073529058151375,
        -9.594562251023355,
        -20.47028614809616,
        0.0,
        0.0,
    ],
    [
        7.496443313967647,
        -10.24680431464352,
        -33.99990352819905,
        11.70890893206160,
        0.0,
    ],
    [
        8.083246795921522,
        -7.981132988064893,
        -31.52159432874371,
        16.31930543123136,
        -6.058818238834054,
    ],
];
/// Between the ends of a step, `V(t + q h) = (1 - q) V0 + q (V1 + (1 - q) (D2 U + q D3 U))`.
const D2: [f64; 5] = [
    10.12623508344586,
    -7.487995877610167,
    -34.80091861555747,
    -7.992771707568823,
    1.025137723295662,
];
const D3: [f64; 5] = [
    -0.6762803392801253,
    6.087714651680015,
    16.43084320892478,
    24.76722511418386,
    -6.594389125716872,
];

/// The step could not be taken: a pivot or a voltage at a constant-power module was not above zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct TooLong;

/// Working memory of a step, and what the last one left.
#[derive(Clone, Debug)]
pub(crate) struct Stepper {
    stages: [Vec<f64>; STAGES],
    stage_v: Vec<f64>,
    /// Voltages at the end of the last step, V.
    pub(crate) end_v: Vec<f64>,
}

impl Stepper {
    pub(crate) fn new(nodes: usize) -> Self {
        Self {
            stages: std::array::from_fn(|_| vec![0.0; nodes]),
            stage_v: vec![0.0; nodes],
            end_v: vec![0.0; nodes],
        }
    }

    /// A step of `h_s` from the voltages in `w`, which stay. Returns the largest estimated error of a voltage, V.
    pub(crate) fn step(
        &mut self,
        circuit: &Circuit,
        h_s: f64,
        w: &mut Work,
    ) -> Result<f64, TooLong> {
        let nodes = circuit.nodes();
        let elimination = &circuit.topology.elimination;
        for i in 0..nodes {
            w.s[i] = w.ground_s[i] + circuit.capacitance_f[i] / (h_s * GAMMA);
            if w.power_w[i] > 0.0 {
                w.s[i] -= w.power_w[i] / (w.voltage_v[i] * w.voltage_v[i]);
            }
        }
        elimination
            .factor(&mut w.s, &w.held, &mut w.factor)
            .map_err(|_| TooLong)?;
        for stage in 0..STAGES {
            if stage < 5 {
                self.stage_v.copy_from_slice(&w.voltage_v);
                for earlier in 0..stage {
                    let a = A[stage - 1][earlier];
                    for i in 0..nodes {
                        self.stage_v[i] += a * self.stages[earlier][i];
                    }
                }
            } else {
                for i in 0..nodes {
                    self.stage_v[i] += self.stages[4][i];
                }
            }
            for i in 0..nodes {
                let sound = w.power_w[i] == 0.0 || self.stage_v[i] > 0.0;
                if !sound {
                    return Err(TooLong);
                }
            }
            let mut r = std::mem::take(&mut w.r);
            circuit.charging_currents(&self.stage_v, w, &mut r);
            for earlier in 0..stage {
                let c = C[stage - 1][earlier] / h_s;
                for i in 0..nodes {
                    r[i] += circuit.capacitance_f[i] * c * self.stages[earlier][i];
                }
            }
            // held nodes do not move
            let u = &mut self.stages[stage];
            u.fill(0.0);
            elimination.solve(&w.factor, &w.held, &mut r, u);
            w.r = r;
        }
        let mut error_v = 0.0_f64;
        for i in 0..nodes {
            let last = self.stages[5][i];
            self.end_v[i] = self.stage_v[i] + last;
            if !self.end_v[i].is_finite() || (w.power_w[i] > 0.0 && self.end_v[i] <= 0.0) {
                return Err(TooLong);
            }
            error_v = error_v.max(last.abs());
        }
        Ok(error_v)
    }

    /// Voltages halfway through the last step, V; `begin_v` are those at its begin.
    pub(crate) fn halfway(&self, begin_v: &[f64], halfway_v: &mut [f64]) {
        for i in 0..begin_v.len() {
            let mut bend = 0.0;
            for stage in 0..5 {
                bend += (D2[stage] + 0.5 * D3[stage]) * self.stages[stage][i];
            }
            halfway_v[i] = 0.5 * (begin_v[i] + self.end_v[i] + 0.5 * bend);
        }
    }
}
