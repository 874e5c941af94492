//! Modules that want more to switch on than any supply gives, even with nothing drawn: no order of starting switches them on.

use plan::{Line, ModuleIx};

use crate::start_words::listed;
use crate::verdict::{Against, Evidence, Side, Verdict};

const METHOD: &str = "the voltage of the highest supply, nothing drawn, against that at which the module switches on (docs/method/start-up.md)";

/// A module and what it wants.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Beyond {
    pub(crate) module: ModuleIx,
    /// Voltage at which it switches on, or from which it works, V.
    pub(crate) on_v: f64,
    /// Whether a lock-out holds it off until then.
    pub(crate) by_lock_out: bool,
    /// The highest voltage of all supplies, V.
    pub(crate) highest_v: f64,
}

/// Every module that wants more than any supply gives; none of a line without a supply.
pub(crate) fn beyond_the_supplies(line: &Line) -> Vec<Beyond> {
    let volts = line.supplies.iter().map(|s| s.voltage_v.si);
    let Some(highest_v) = volts.reduce(f64::max) else {
        return Vec::new();
    };
    let modules = line.modules.iter().enumerate();
    let wanted = modules.filter_map(|(m, module)| {
        let input = module.input.as_ref()?;
        let on_v = input.lock_out.map_or(input.minimum_v.si, |l| l.on_v.si);
        Some(Beyond {
            module: ModuleIx(m),
            on_v,
            by_lock_out: input.lock_out.is_some(),
            highest_v,
        })
    });
    wanted.filter(|b| b.on_v > highest_v).collect()
}

/// The same of one module, where its lock-out keeps it off for good.
pub(crate) fn locked_out(line: &Line, module: ModuleIx) -> Option<Beyond> {
    let all = beyond_the_supplies(line).into_iter();
    all.filter(|b| b.by_lock_out).find(|b| b.module == module)
}

/// What these want, in words; `None` where they want nothing.
pub(crate) fn told(line: &Line, all: &[Beyond]) -> Option<String> {
    let highest_v = all.first()?.highest_v;
    let each = all.iter().map(|b| {
        let path = line.module_path(b.module);
        match b.by_lock_out {
            true => format!("{path} switches on at {} V", b.on_v),
            false => format!("{path} works from {} V on", b.on_v),
        }
    });
    let each: Vec<String> = each.collect();
    Some(format!(
        "{}, and no supply gives more than {highest_v} V",
        listed(&each)
    ))
}

impl Beyond {
    /// Why it never switches on.
    pub(crate) fn why(&self, line: &Line) -> String {
        let told = told(line, std::slice::from_ref(self)).unwrap_or_default();
        format!("{told}: it never switches on, in whatever order the others do")
    }

    /// The voltage that it is given against that which it wants, of itself or of what is in it.
    pub(crate) fn verdict(&self, line: &Line, subject: String) -> Verdict {
        let against = Against {
            side: Side::AtLeast,
            limit: self.on_v,
            narrow: 0.0,
            unit: "V".to_owned(),
        };
        let evidence = Evidence::computed(METHOD, &(self.module.0, self.on_v, self.highest_v));
        against.judge(subject, self.highest_v, evidence, self.why(line))
    }
}
