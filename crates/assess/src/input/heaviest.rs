//! Which of its states and its boot a module draws most in.
//!
//! A way of drawing is a constant power, a constant current and a conductance together, each at the module's input. One that
//! draws no less current than another at every voltage from a module's lowest to its highest gives no higher voltage
//! anywhere, as long as the module's own voltage stays between the two (method of [`power::Solver::worst`]).

use plan::Module;
use power::LoadKind;

use super::InputError;
use super::electric::{Draw, boots, draws};

/// A way that is the heaviest.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Heaviest {
    pub(crate) draw: Draw,
    /// At any voltage, not only at those at which the module works.
    pub(crate) everywhere: bool,
}

/// The state with every output on, or the boot, in which a module draws most; `None` where that depends on its voltage. A boot
/// of which nothing is said counts as nothing; that it is not said is told where it is drawn.
///
/// # Errors
/// [`InputError::Converter`] for a load that cannot be.
pub(crate) fn heaviest_way(module: &Module) -> Result<Option<Heaviest>, InputError> {
    let states = (0..module.loads.len()).map(Some);
    let none = module.loads.is_empty().then_some(None);
    let mut ways: Vec<Draw> = states
        .chain(none)
        .map(|state| Draw::State {
            state,
            outputs_on: vec![true; module.outputs.len()],
        })
        .collect();
    if boots(module) {
        ways.push(Draw::Boot);
    }
    let mut sizes = Vec::with_capacity(ways.len());
    for way in &ways {
        sizes.push(size(&draws(module, way, &mut Vec::new())?));
    }
    let range_v = module
        .input
        .as_ref()
        .map(|input| (input.minimum_v.si, input.maximum_v.si));
    let everywhere = |a: &[f64; 3], b: &[f64; 3]| (0..3).all(|kind| a[kind] >= b[kind]);
    let over_its_range = |a: &[f64; 3], b: &[f64; 3]| {
        everywhere(a, b) || range_v.is_some_and(|range_v| no_less(a, b, range_v))
    };
    let of = |holds: &dyn Fn(&[f64; 3], &[f64; 3]) -> bool| {
        (0..ways.len()).find(|&w| sizes.iter().all(|other| holds(&sizes[w], other)))
    };
    let found = of(&everywhere).map(|w| (w, true));
    let found = found.or_else(|| of(&over_its_range).map(|w| (w, false)));
    Ok(found.map(|(w, everywhere)| Heaviest {
        draw: ways[w].clone(),
        everywhere,
    }))
}

/// Whether `a` draws no less current than `b` at every voltage of a range: `power + current V + conductance V^2` of the
/// difference has no value below zero there.
fn no_less(a: &[f64; 3], b: &[f64; 3], (low_v, high_v): (f64, f64)) -> bool {
    let [power_w, current_a, conductance_s] = [0, 1, 2].map(|kind| a[kind] - b[kind]);
    let more_w = |v: f64| power_w + current_a * v + conductance_s * v * v;
    let turn_v = -current_a / (2.0 * conductance_s);
    more_w(low_v) >= 0.0
        && more_w(high_v) >= 0.0
        && !(turn_v > low_v && turn_v < high_v && more_w(turn_v) < 0.0)
}

/// What a way draws as constant power, W, as constant current, A, as a conductance, S.
pub(crate) fn size(way: &[LoadKind]) -> [f64; 3] {
    let mut size = [0.0; 3];
    for load in way {
        match load {
            LoadKind::Power { power_w } => size[0] += power_w,
            LoadKind::Current { current_a } => size[1] += current_a,
            LoadKind::Resistance { resistance_ohm } => size[2] += 1.0 / resistance_ohm,
        }
    }
    size
}
