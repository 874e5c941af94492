//! The highest voltage that a module can ever see: nothing drawn, and every supply at its highest.
//!
//! Without a load no current flows, so the far end of the longest cable is at the voltage of its supply (Ohm's law). Of several supplies none lifts a module above the highest of those that feed it.

use plan::{Line, ModuleIx, Q, Supply};
use quantity::{Dimension, Law, show};

use crate::hours::fed_by;
use crate::power_verdicts::NARROW_V;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

const METHOD: &str = "no current without a load: the voltage of the highest supply that feeds the module (docs/method/power.md)";

/// Highest voltage at one module, or at each with an input, against a limit or its own maximum.
pub(crate) fn highest_voltage(
    line: &Line,
    of: Option<ModuleIx>,
    at_most_v: Option<Q>,
    assumed: &mut Vec<String>,
) -> Vec<Verdict> {
    let asked = |m: &ModuleIx| match of {
        Some(one) => one == *m,
        None => line.modules[m.0].input.is_some(),
    };
    let modules = (0..line.modules.len()).map(ModuleIx).filter(asked);
    modules
        .map(|m| of_module(line, m, at_most_v, assumed))
        .collect()
}

fn of_module(line: &Line, m: ModuleIx, at_most_v: Option<Q>, assumed: &mut Vec<String>) -> Verdict {
    let path = line.module_path(m);
    let own = line.modules[m.0]
        .input
        .as_ref()
        .map(|input| input.maximum_v);
    let Some(limit) = at_most_v.or(own) else {
        return unknown(
            path,
            "this module has no power input, and the requirement no `at_most`",
        );
    };
    let feeding = fed_by(line, m);
    let most = feeding
        .into_iter()
        .map(|s| (s, highest_given(&line.supplies[s])))
        .reduce(|most, one| if one.1.0 > most.1.0 { one } else { most });
    let Some((s, (volts, by))) = most else {
        return unknown(path, "no supply feeds it");
    };
    let supply = &line.supplies[s];
    if supply.highest_v.is_none() {
        let told = format!(
            "supply.{} never gives more than its `voltage` with its spread, because no `highest` is written",
            supply.id
        );
        if !assumed.contains(&told) {
            assumed.push(told);
        }
    }
    let against = Against {
        side: Side::AtMost,
        limit: limit.si,
        narrow: NARROW_V,
        unit: "V".to_owned(),
    };
    let evidence = Evidence::computed(METHOD, &(s, volts.to_bits(), limit.si.to_bits()));
    let why = format!(
        "nothing drawn and supply.{} at {by}{}",
        supply.id,
        touch(volts)
    );
    against.judge(path, volts, evidence, why)
}

/// The highest voltage that a supply gives, V, and by what.
pub(crate) fn highest_given(supply: &Supply) -> (f64, String) {
    let above = |q: Q| match q.law {
        Some(Law::Normal { half_width } | Law::Uniform { half_width }) => q.si + half_width,
        None => q.si,
    };
    let (q, key) = match supply.highest_v {
        Some(q) => (q, "highest"),
        None => (supply.voltage_v, "voltage"),
    };
    let volts = above(q);
    let spread = if volts > q.si { " and its spread" } else { "" };
    let shown = show(volts, Dimension::Voltage);
    (volts, format!("{shown}, its `{key}`{spread}"))
}

/// What is said of touching it. Voltages as in [`crate::cautions`].
fn touch(volts: f64) -> &'static str {
    if volts > crate::cautions::DRY_CAUTION_V {
        "; above 60 V dc extra-low voltage alone is not accepted as protection, even dry: local codes and licensed practice decide"
    } else if volts > crate::cautions::WATER_CAUTION_V {
        "; above 30 V dc a person in the water may be at risk from a damaged cable: local codes and licensed practice decide"
    } else {
        ""
    }
}
