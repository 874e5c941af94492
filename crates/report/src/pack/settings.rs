//! What each module is to be set to: the plan's own values, one a line, by their key paths.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use plan::{Action, Line, ModuleIx, Reading};

use super::{PackFile, PackOf};

/// Key of the plan's digest in a file of settings.
pub const PLAN_DIGEST: &str = "plan_digest";

/// What a module is to be set to, each by its key path and on one line, sorted by that; empty where nothing is.
#[must_use]
pub fn module_settings(reading: &Reading, line: &Line, module: ModuleIx) -> Vec<(String, String)> {
    let of_it = owned(line, module);
    let written = reading.written().into_iter();
    let set = written.filter(|w| of_it.iter().any(|path| is_set(path, &w.path)));
    // A list over several lines of the plan is one line here.
    let one_line = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    set.map(|w| (w.path, one_line(&w.text))).collect()
}

/// A file of settings for each module that has any.
pub(super) fn modules(of: &PackOf<'_>) -> Vec<PackFile> {
    let modules = (0..of.line.modules.len()).map(ModuleIx);
    let files = modules.filter_map(|module| {
        let settings = module_settings(of.reading, of.line, module);
        if settings.is_empty() {
            return None;
        }
        let mut text = format!(
            "# What {} is to be set to, by the plan's own keys.\n{PLAN_DIGEST} = {}\n",
            of.line.module_path(module),
            of.check.plan_digest
        );
        for (key, value) in settings {
            let _ = writeln!(text, "{key} = {value}");
        }
        let id = &of.line.modules[module.0].id;
        Some(PackFile::text(format!("settings/{id}.txt"), text))
    });
    files.collect()
}

/// Paths of the things that run on a module.
fn owned(line: &Line, module: ModuleIx) -> BTreeSet<String> {
    let mut all = BTreeSet::from([line.module_path(module)]);
    let detectors = line.detectors.iter().filter(|d| d.on.module == module);
    all.extend(detectors.map(|d| format!("detector.{}", d.id)));
    for behaviour in line.behaviours.iter().filter(|b| b.on == module) {
        all.insert(format!("behaviour.{}", behaviour.id));
        for action in &behaviour.actions {
            if let Action::Publish { topic, .. } = action {
                let name = &line.topics[topic.0].name;
                all.insert(plan::below("topic", name));
            }
        }
    }
    let uplinks = line.uplinks.iter().filter(|u| u.module == module);
    all.extend(uplinks.map(|u| format!("uplink.{}", u.id)));
    let storages = line.storages.iter().filter(|s| s.module == module);
    all.extend(storages.map(|s| format!("storage.{}", s.id)));
    all
}

/// Keys of a module that its program is set by: of what it is made and where it hangs nobody sets.
const SET: [&str; 6] = [
    "sensor",
    "output",
    "heartbeat",
    "drift_alarm",
    "starts_in",
    "wakes_after",
];
/// Keys of a sensor that say what it is, and not what it is set to.
const NOT_SET: [&str; 6] = [
    "calibrated",
    "self_noise",
    "pick_up",
    "no_pick_up",
    "amplifier_noise",
    "sensitivity",
];

/// Whether a key is one of a thing, and is set.
fn is_set(path: &str, key: &str) -> bool {
    let Some(rest) = key.strip_prefix(path) else {
        return false;
    };
    if !rest.starts_with(['.', '[']) {
        return false;
    }
    if !path.starts_with("module.") {
        return true;
    }
    let mut steps = rest.trim_start_matches('.').split(['.', '[']);
    let first = steps.next().unwrap_or_default();
    let of_sensor = first != "sensor" || steps.nth(1).is_none_or(|key| !NOT_SET.contains(&key));
    SET.contains(&first) && of_sensor
}
