//! One rung of the bank: band-passes side by side, and the decimator to the rung below.
//!
//! The numerators `1 - z^-2` of all sections are applied first, once for all bands; what is left of a section is
//! `y[n] = (u[n] - a2 y[n-2]) - a1 y[n-1]`. At the rates of a rung the poles lie far from 0 Hz, so that the order of zeros and
//! poles costs no digits in double precision. Four bands run in step.
//!
//! State below [`QUIET`] in every place is set to zero at every 256th sample since the reset, as in [`Sos`].

use alloc::vec;
use alloc::vec::Vec;

use super::BandBlock;
use crate::block::Block;
use crate::decimate::Decimator;
use crate::sos::Sos;

const LANES: usize = 4;
const MOST_SECTIONS: usize = 5;
const CHUNK: usize = 256;
const QUIET: f64 = 1e-30;

type Lanes = [f64; LANES];

#[derive(Debug, Clone)]
pub(super) struct Rung {
    down: Option<Decimator>,
    sections: usize,
    zeros: Zeros,
    groups: Vec<Group>,
    count: usize,
    differences: Vec<f64>,
}

impl Rung {
    /// Band-passes, all of one order, of bands by their index.
    pub(super) fn new(bands: &[(usize, &Sos)], down: Option<Decimator>) -> Self {
        let sections = bands.first().map_or(0, |(_, sos)| sos.sections().len());
        Self {
            down,
            sections,
            zeros: [[0.0; 2]; MOST_SECTIONS],
            groups: bands.chunks(LANES).map(Group::new).collect(),
            count: 0,
            differences: vec![0.0; CHUNK],
        }
    }

    pub(super) fn down(&mut self) -> Option<&mut Decimator> {
        self.down.as_mut()
    }

    /// Input samples of the rung that the decimator waits for.
    pub(super) fn reach(&self) -> u64 {
        self.down.as_ref().map_or(0, Decimator::reach)
    }

    /// Gain of the decimator.
    pub(super) fn gain(&self, f_hz: f64) -> f64 {
        self.down.as_ref().map_or(1.0, |down| down.gain(f_hz))
    }

    pub(super) fn reset(&mut self) {
        if let Some(down) = &mut self.down {
            down.reset();
        }
        self.forget();
        self.count = 0;
    }

    fn forget(&mut self) {
        self.zeros = [[0.0; 2]; MOST_SECTIONS];
        for group in &mut self.groups {
            group.state = [[[0.0; LANES]; 2]; MOST_SECTIONS];
        }
    }

    /// Filters samples and hands out what each band lets through.
    pub(super) fn filter(&mut self, block: Block<'_>, sink: &mut impl FnMut(BandBlock<'_>)) {
        let (mut first, mut x) = (block.first, block.x);
        while !(x.is_empty() || self.groups.is_empty()) {
            let (piece, rest) = x.split_at((CHUNK - self.count % CHUNK).min(x.len()));
            if self.sections == 4 {
                self.run::<4>(piece);
            } else {
                self.run::<5>(piece);
            }
            for group in &self.groups {
                for (&band, output) in group.bands.iter().zip(&group.output) {
                    sink(BandBlock {
                        band,
                        first,
                        x: &output[..piece.len()],
                    });
                }
            }
            first += piece.len() as u64;
            x = rest;
        }
    }

    /// Runs `S` sections over at most [`CHUNK`] samples that end at or before the next anchor.
    fn run<const S: usize>(&mut self, x: &[f32]) {
        let differences = &mut self.differences[..x.len()];
        difference::<S>(&mut self.zeros, x, differences);
        for group in &mut self.groups {
            group.run::<S>(differences);
        }
        self.count = (self.count + x.len()) % CHUNK;
        if self.count == 0 && self.is_quiet() {
            self.forget();
        }
    }

    fn is_quiet(&self) -> bool {
        let poles = self.groups.iter().flat_map(|group| &group.state);
        let poles = poles.flatten().flatten();
        let mut all = self.zeros.iter().flatten().chain(poles);
        all.all(|v| v.abs() < QUIET)
    }
}

/// The last two inputs of each numerator, newest first.
type Zeros = [[f64; 2]; MOST_SECTIONS];

/// `(1 - z^-2)^S` of samples.
fn difference<const S: usize>(zeros: &mut Zeros, x: &[f32], out: &mut [f64]) {
    let mut state: [[f64; 2]; S] = zeros[..S].try_into().expect("at most five sections");
    for (d, &v) in out.iter_mut().zip(x) {
        let mut u = f64::from(v);
        for s in &mut state {
            let y = u - s[1];
            *s = [u, s[0]];
            u = y;
        }
        *d = u;
    }
    zeros[..S].copy_from_slice(&state);
}

/// Up to four bands in step.
#[derive(Debug, Clone)]
struct Group {
    /// Index of the band in each lane that is used.
    bands: Vec<usize>,
    gain: Lanes,
    /// `a1` and `a2` of each section.
    poles: [[Lanes; 2]; MOST_SECTIONS],
    /// The last two outputs of each section, newest first.
    state: [[Lanes; 2]; MOST_SECTIONS],
    output: [Vec<f64>; LANES],
}

impl Group {
    fn new(bands: &[(usize, &Sos)]) -> Self {
        let mut group = Self {
            bands: bands.iter().map(|(band, _)| *band).collect(),
            gain: [0.0; LANES],
            poles: [[[0.0; LANES]; 2]; MOST_SECTIONS],
            state: [[[0.0; LANES]; 2]; MOST_SECTIONS],
            output: core::array::from_fn(|_| vec![0.0; CHUNK]),
        };
        for (lane, (_, sos)) in bands.iter().enumerate() {
            group.gain[lane] = sos.sections()[0][0];
            for (section, &[_, _, _, a1, a2]) in group.poles.iter_mut().zip(sos.sections()) {
                section[0][lane] = a1;
                section[1][lane] = a2;
            }
        }
        group
    }

    fn run<const S: usize>(&mut self, differences: &[f64]) {
        const FEW: &str = "at most five sections";
        let poles: [[Lanes; 2]; S] = self.poles[..S].try_into().expect(FEW);
        let mut state: [[Lanes; 2]; S] = self.state[..S].try_into().expect(FEW);
        let gain = self.gain;
        let n = differences.len();
        let [o0, o1, o2, o3] = &mut self.output;
        let outputs = o0[..n]
            .iter_mut()
            .zip(&mut o1[..n])
            .zip(&mut o2[..n])
            .zip(&mut o3[..n]);
        for (d, (((y0, y1), y2), y3)) in differences.iter().zip(outputs) {
            let mut u: Lanes = gain.map(|g| g * d);
            for i in 0..S {
                let mut y = [0.0; LANES];
                for l in 0..LANES {
                    y[l] =
                        (u[l] - poles[i][1][l] * state[i][1][l]) - poles[i][0][l] * state[i][0][l];
                }
                state[i] = [y, state[i][0]];
                u = y;
            }
            [*y0, *y1, *y2, *y3] = u;
        }
        self.state[..S].copy_from_slice(&state);
    }
}
