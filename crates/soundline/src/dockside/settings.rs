//! Settings read back from a module, held against those of the deployment pack.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use plan::{Line, ModuleIx, Reading};
use quantity::nearest;
use report::{PLAN_DIGEST, module_settings};
use thiserror::Error;

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};

/// Why settings cannot be held against a plan.
#[derive(Debug, PartialEq, Error)]
pub(crate) enum SettingsError {
    #[error("`{name}` is no module of this plan")]
    NoModule { name: String, near: Option<String> },
    #[error("{name} has nothing that it is set to")]
    NothingSet { name: String },
    #[error("{}: it is not UTF-8 text: byte {at} is the first that is none", path.display())]
    NotText { path: PathBuf, at: usize },
    #[error("{}: {}", path.display(), lines.iter().map(|(line, why)| format!("line {line}: {why}")).collect::<Vec<_>>().join("; "))]
    Lines {
        path: PathBuf,
        lines: Vec<(usize, String)>,
    },
}

impl SettingsError {
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            SettingsError::NoModule { near, .. } => {
                near.as_ref().map(|near| format!("is it `{near}`?"))
            }
            SettingsError::Lines { .. } => Some(
                "a setting is one line, `KEY = VALUE`, as in `settings/MODULE.txt` of the pack; a line that begins with # is passed over".to_owned(),
            ),
            _ => None,
        }
    }
}

/// A setting that is another than the plan's.
#[derive(Debug, PartialEq)]
pub(super) struct Differs {
    pub(super) key: String,
    pub(super) plan: String,
    pub(super) found: String,
    pub(super) line: usize,
}

/// Settings held against a plan.
#[derive(Debug, PartialEq)]
pub(super) struct Held {
    pub(super) module: String,
    pub(super) same: usize,
    pub(super) differs: Vec<Differs>,
    pub(super) missing: Vec<String>,
    /// Line and key.
    pub(super) strange: Vec<(usize, String)>,
    /// The digest of another plan of which they say they are.
    pub(super) other_plan: Option<String>,
}

/// Holds the settings of a file against those of a module; layout within a value does not count.
pub(super) fn hold(
    reading: &Reading,
    line: &Line,
    module: &str,
    path: &Path,
    bytes: &[u8],
) -> Result<Held, SettingsError> {
    let named = (0..line.modules.len()).map(|m| line.module_path(ModuleIx(m)));
    let named: Vec<String> = named.collect();
    let wanted = module.strip_prefix("module.").unwrap_or(module);
    let Some(ix) = line.module_by_id(wanted) else {
        return Err(SettingsError::NoModule {
            name: module.to_owned(),
            near: nearest(module, named.iter().map(String::as_str)).map(str::to_owned),
        });
    };
    let name = line.module_path(ix);
    let settings = module_settings(reading, line, ix);
    if settings.is_empty() {
        return Err(SettingsError::NothingSet { name });
    }
    let text = std::str::from_utf8(bytes).map_err(|e| SettingsError::NotText {
        path: path.to_path_buf(),
        at: e.valid_up_to(),
    })?;
    let found = key_values(path, text.strip_prefix('\u{feff}').unwrap_or(text))?;
    let mut held = Held {
        module: name,
        same: 0,
        differs: Vec::new(),
        missing: Vec::new(),
        strange: Vec::new(),
        other_plan: None,
    };
    for (key, plan) in &settings {
        match found.get(key) {
            None => held.missing.push(key.clone()),
            Some((_, value)) if value == plan => held.same += 1,
            Some((at, value)) => held.differs.push(Differs {
                key: key.clone(),
                plan: plan.clone(),
                found: value.clone(),
                line: *at,
            }),
        }
    }
    for (key, (at, value)) in found {
        if key == PLAN_DIGEST {
            held.other_plan = (value != reading.digest).then_some(value);
        } else if !settings.iter().any(|(own, _)| *own == key) {
            held.strange.push((at, key));
        }
    }
    held.strange.sort();
    Ok(held)
}

fn key_values(path: &Path, text: &str) -> Result<BTreeMap<String, (usize, String)>, SettingsError> {
    let mut found: BTreeMap<String, (usize, String)> = BTreeMap::new();
    let mut wrong = Vec::new();
    for (i, line) in text.lines().enumerate() {
        let (at, line) = (i + 1, line.trim());
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let Some((key, value)) = line.split_once(" =").or_else(|| line.split_once('=')) else {
            wrong.push((at, "it has no `=`".to_owned()));
            continue;
        };
        let value = value.split_whitespace().collect::<Vec<_>>().join(" ");
        let key = key.trim().to_owned();
        if let Some((first, _)) = found.get(&key) {
            wrong.push((at, format!("it repeats `{key}` of line {first}")));
            continue;
        }
        found.insert(key, (at, value));
    }
    if wrong.is_empty() {
        return Ok(found);
    }
    Err(SettingsError::Lines {
        path: path.to_path_buf(),
        lines: wrong,
    })
}

/// Tells what differs.
pub(super) fn tell(held: &Held, out: &mut Out) -> Result<Exit, Failure> {
    match out.format {
        Format::Text => {
            writeln!(
                out.stdout,
                "{}: {} settings as in the plan, {} differ, {} missing, {} strange",
                held.module,
                held.same,
                held.differs.len(),
                held.missing.len(),
                held.strange.len()
            )?;
            if let Some(digest) = &held.other_plan {
                writeln!(
                    out.stdout,
                    "  they say that they are of another plan, {digest}"
                )?;
            }
            for one in &held.differs {
                writeln!(
                    out.stdout,
                    "  differs  {} is {}, the plan has {} (line {})",
                    one.key, one.found, one.plan, one.line
                )?;
            }
            for key in &held.missing {
                writeln!(out.stdout, "  missing  {key}")?;
            }
            for (line, key) in &held.strange {
                writeln!(out.stdout, "  strange  {key} (line {line})")?;
            }
        }
        Format::Json => {
            let whole = out.of_plan(super::settings_json(held));
            out.json(&whole)?;
        }
    }
    let whole = held.differs.is_empty() && held.missing.is_empty() && held.strange.is_empty();
    Ok(match whole && held.other_plan.is_none() {
        true => Exit::Met,
        false => Exit::Broken,
    })
}
