//! The two levels of a trigger, moved together: `on_above`, and `off_below` where it is written, so that the distance between them stays.

use plan::Written;
use quantity::show_bare;

use crate::remedy::split;

/// A level as the plan writes it: a number of decibels, and what follows it.
#[derive(Clone, Debug)]
struct Level {
    path: String,
    written: String,
    db: f64,
    tail: String,
}

/// The levels of a trigger.
#[derive(Clone, Debug)]
pub struct Levels {
    on: Level,
    off: Option<Level>,
}

impl Levels {
    /// Those of the trigger whose `on_above` is written at this path; `None` where that is no number of decibels of the plan's own text.
    #[must_use]
    pub fn of(written: &[Written], on_above: &str) -> Option<Levels> {
        let stage = on_above.strip_suffix(".on_above")?;
        let level = |path: String| {
            let own = |w: &&Written| w.path == path && w.means.is_some();
            let text = written.iter().find(own)?.text.trim_matches(['"', '\'']);
            let (db, tail) = split(text).filter(|(_, t)| t.trim_start().starts_with("dB"))?;
            Some(Level {
                db,
                tail: tail.to_owned(),
                written: text.to_owned(),
                path,
            })
        };
        Some(Levels {
            on: level(on_above.to_owned())?,
            off: level(format!("{stage}.off_below")),
        })
    }

    /// Path of `on_above`.
    #[must_use]
    pub fn path(&self) -> &str {
        &self.on.path
    }

    /// `on_above`, dB as written.
    #[must_use]
    pub fn on_db(&self) -> f64 {
        self.on.db
    }

    /// The unit of `on_above` as written: `dB`, `dB re 1 uPa`.
    #[must_use]
    pub fn unit(&self) -> &str {
        self.on.tail.trim()
    }

    /// Each key with what is written and what is to be, for another `on_above` in the same unit. To a millionth of a decibel.
    #[must_use]
    pub fn moved(&self, on_db: f64) -> Vec<LevelMoved> {
        let by_db = on_db - self.on.db;
        let levels = std::iter::once(&self.on).chain(&self.off);
        let moved = levels.map(|level| LevelMoved {
            path: level.path.clone(),
            from: level.written.clone(),
            to: format!(
                "{}{}",
                show_bare(libm::round((level.db + by_db) * 1e6) / 1e6),
                level.tail
            ),
        });
        moved.collect()
    }
}

/// A key of a trigger, before and after.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct LevelMoved {
    /// Its path.
    pub path: String,
    /// As it is written.
    pub from: String,
    /// As it is to be.
    pub to: String,
}
