//! The first extra power at which a rated span comes to its current.
//!
//! Every voltage is a concave, falling function of the extra power `x` (see the head of [`super`]), so the current of
//! a power load, `(P + x)/V`, is convex, and each span's current is a difference of two convex functions, `p - q`: in a
//! resistance from `a` to `b`, `p = -g V_b` and `q = -g V_a`; in a span of zero resistance, by Kirchhoff's law, the
//! sum of what lies behind it. Between two powers a convex function lies below its chord and above its tangents,
//! so values and slopes at both ends enclose the current between them, with an error that shrinks as the square of
//! their distance. Intervals are halved from the left until the enclosure keeps within the rating or the interval is
//! as narrow as the answer may be wrong: no crossing is stepped over.

use crate::network::{LoadKind, NetworkError};
use crate::solver::Scratch;

use super::{At, Binding, Reserve, Search, WIDTH, not_found};

/// Relative rounding of a few terms: 400 V over 0.01 ohm leave a span current uncertain by 1e-10 A.
const ROUNDING: f64 = 2e-15;
/// Operating points after which the search gives up.
const MOST_POINTS: u32 = 100_000;

/// Currents at an operating point, each as a difference of two convex functions of the extra power.
pub(super) struct Flows {
    /// Of each span from its `a` to its `b`, A.
    span: Vec<Pair>,
    /// Of each source, A.
    pub(super) source_a: Vec<f64>,
}

#[derive(Clone, Copy, Default)]
struct Pair {
    p: f64,
    q: f64,
}

impl Flows {
    pub(super) fn of(search: &Search<'_>, at: &At) -> Flows {
        let v = &at.voltages_v;
        let joined = &search.solver.topology.joined;
        let loads = search.load_with(at.extra_w);
        let loads = loads.map(|load| {
            let voltage_v = v[joined[load.node]];
            let pair = match load.kind {
                LoadKind::Power { power_w } => Pair {
                    p: power_w / voltage_v,
                    q: 0.0,
                },
                LoadKind::Current { current_a } => Pair {
                    p: current_a,
                    q: 0.0,
                },
                LoadKind::Resistance { resistance_ohm } => Pair {
                    p: 0.0,
                    q: -voltage_v / resistance_ohm,
                },
            };
            (load.node, pair)
        });
        spread(search, v, 1.0, loads)
    }

    /// The change of the same with the extra power, A/W.
    fn slopes(search: &Search<'_>, at: &At, dv: &[f64]) -> Flows {
        let v = &at.voltages_v;
        let joined = &search.solver.topology.joined;
        let last = search.loads.len();
        let loads = search.load_with(at.extra_w).enumerate();
        let loads = loads.map(|(i, load)| {
            let (voltage_v, slope) = (v[joined[load.node]], dv[joined[load.node]]);
            let pair = match load.kind {
                LoadKind::Power { power_w } => Pair {
                    p: f64::from(i == last) / voltage_v - power_w * slope / (voltage_v * voltage_v),
                    q: 0.0,
                },
                LoadKind::Current { .. } => Pair::default(),
                LoadKind::Resistance { resistance_ohm } => Pair {
                    p: 0.0,
                    q: -slope / resistance_ohm,
                },
            };
            (load.node, pair)
        });
        spread(search, dv, 0.0, loads)
    }
}

/// From voltages and load currents, or from the slopes of both, to those of spans and sources. `source` scales the voltages
/// of the sources: 1 for values, 0 for slopes.
fn spread(
    search: &Search<'_>,
    v: &[f64],
    source: f64,
    loads: impl Iterator<Item = (usize, Pair)>,
) -> Flows {
    let network = &search.solver.network;
    let topology = &search.solver.topology;
    let mut needs = vec![Pair::default(); network.nodes];
    let mut flows = Flows {
        span: vec![Pair::default(); network.spans.len()],
        source_a: vec![0.0; network.sources.len()],
    };
    for (node, pair) in loads {
        needs[node].p += pair.p;
        needs[node].q += pair.q;
    }
    for resistor in &topology.resistors {
        let g = resistor.conductance_s;
        let pair = Pair {
            p: -g * v[resistor.b],
            q: -g * v[resistor.a],
        };
        flows.span[resistor.span] = pair;
        let span = &network.spans[resistor.span];
        needs[span.a].p += pair.p;
        needs[span.a].q += pair.q;
        needs[span.b].p += pair.q;
        needs[span.b].q += pair.p;
    }
    for (i, s) in network.sources.iter().enumerate() {
        if s.resistance_ohm > 0.0 {
            let given_a = (source * s.voltage_v - v[topology.joined[s.node]]) / s.resistance_ohm;
            flows.source_a[i] = given_a;
            needs[s.node].q += given_a;
        }
    }
    for joint in &topology.joints {
        let Pair { p, q } = std::mem::take(&mut needs[joint.child]);
        needs[joint.parent].p += p;
        needs[joint.parent].q += q;
        let forwards = network.spans[joint.span].a == joint.parent;
        flows.span[joint.span] = if forwards {
            Pair { p, q }
        } else {
            Pair { p: q, q: p }
        };
    }
    for (i, s) in network.sources.iter().enumerate() {
        if s.resistance_ohm == 0.0 {
            flows.source_a[i] = needs[s.node].p - needs[s.node].q;
        }
    }
    flows
}

/// One end of an interval.
struct End {
    at: At,
    flows: Flows,
    slopes: Option<Flows>,
}

impl Search<'_> {
    /// The reserve, where `last` keeps everything but, it may be, the spans.
    pub(super) fn enclose(
        &self,
        first: At,
        last: At,
        binds: Binding,
        scratch: &mut Scratch,
    ) -> Result<Reserve, NetworkError> {
        let whole_w = last.extra_w;
        let mut left = self.end(first, scratch);
        let mut to_the_right = vec![self.end(last, scratch)];
        let mut points = 0;
        while let Some(right) = to_the_right.last() {
            let width_w = right.at.extra_w - left.at.extra_w;
            let Some((span, _)) = self.exceeds(&left, right, width_w) else {
                left = to_the_right.pop().expect("the one just looked at");
                continue;
            };
            if width_w <= WIDTH * whole_w {
                return Ok(Reserve {
                    power_w: left.at.extra_w,
                    binds: Some(Binding::Span { span }),
                });
            }
            points += 1;
            let middle_w = left.at.extra_w + 0.5 * width_w;
            scratch.voltage_v.copy_from_slice(&left.at.voltages_v);
            let middle = self
                .operating(middle_w, scratch)
                .filter(|_| points < MOST_POINTS)
                .ok_or_else(|| not_found(left.at.extra_w, right.at.extra_w))?;
            to_the_right.push(self.end(middle, scratch));
        }
        Ok(Reserve {
            power_w: whole_w,
            binds: Some(binds),
        })
    }

    fn end(&self, at: At, scratch: &mut Scratch) -> End {
        let flows = Flows::of(self, &at);
        let slopes_v_w = self.slopes_v_w(&at, scratch);
        let slopes = slopes_v_w.map(|dv| Flows::slopes(self, &at, &dv));
        End { at, flows, slopes }
    }

    /// The span whose current may exceed its rating most, as a share of it, between two powers.
    fn exceeds(&self, left: &End, right: &End, width_w: f64) -> Option<(usize, f64)> {
        let mut most: Option<(usize, f64)> = None;
        for (i, rated_a) in self.limits.rated_a.iter().enumerate() {
            let Some(rated_a) = *rated_a else { continue };
            let (l, r) = (left.flows.span[i], right.flows.span[i]);
            let slope = |end: &End| end.slopes.as_ref().map(|s| s.span[i]);
            let (dl, dr) = (slope(left), slope(right));
            let forwards_a = largest(
                (l.p, r.p),
                (l.q, r.q),
                (dl.map(|d| d.q), dr.map(|d| d.q)),
                width_w,
            );
            let backwards_a = largest(
                (l.q, r.q),
                (l.p, r.p),
                (dl.map(|d| d.p), dr.map(|d| d.p)),
                width_w,
            );
            let rounding_a = ROUNDING * (l.p.abs() + l.q.abs() + r.p.abs() + r.q.abs());
            let share = (forwards_a.max(backwards_a) - rounding_a) / rated_a;
            if share > 1.0 && most.is_none_or(|(_, so_far)| share > so_far) {
                most = Some((i, share));
            }
        }
        most
    }
}

/// Upper bound of `p - q` between two ends: `p` lies below its chord, `q` above its tangent at either end.
fn largest(
    (p_left, p_right): (f64, f64),
    (q_left, q_right): (f64, f64),
    (slope_left, slope_right): (Option<f64>, Option<f64>),
    width: f64,
) -> f64 {
    let by_left = slope_left.map_or(f64::INFINITY, |slope| {
        (p_left - q_left).max(p_right - (q_left + slope * width))
    });
    let by_right = slope_right.map_or(f64::INFINITY, |slope| {
        (p_left - (q_right - slope * width)).max(p_right - q_right)
    });
    by_left.min(by_right)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reserve::tests::on_the_mesh;

    /// The slopes of both parts of every current are those of the operating points beside it, and both parts are convex.
    #[test]
    fn verif_slopes_of_currents_are_differences() {
        on_the_mesh(&[29.9, 30.0, 30.1], |search, points, slopes_v_w| {
            let [below, here, above] = [0, 1, 2].map(|i: usize| Flows::of(search, &points[i]));
            let slopes = Flows::slopes(search, &points[1], &slopes_v_w[1]);
            assert_eq!(slopes.span.len(), 5);
            for (i, slope) in slopes.span.iter().enumerate() {
                let parts = [
                    (below.span[i].p, here.span[i].p, above.span[i].p, slope.p),
                    (below.span[i].q, here.span[i].q, above.span[i].q, slope.q),
                ];
                for (below_a, here_a, above_a, slope_a_w) in parts {
                    let difference_a_w = (above_a - below_a) / 0.2;
                    assert!(
                        (slope_a_w - difference_a_w).abs() < 1e-6 * (1e-3 + difference_a_w.abs()),
                        "{} {i}: {slope_a_w} {difference_a_w}",
                        search.node
                    );
                    assert!(above_a + below_a - 2.0 * here_a > -1e-12);
                }
            }
            for (i, slope_a_w) in slopes.source_a.iter().enumerate() {
                let difference_a_w = (above.source_a[i] - below.source_a[i]) / 0.2;
                assert!((slope_a_w / difference_a_w - 1.0).abs() < 1e-5);
                assert!(*slope_a_w > 0.0);
            }
        });
    }
}
