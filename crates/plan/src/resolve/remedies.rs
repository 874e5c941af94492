//! Remedies that a plan declares.

use super::Resolver;
use crate::edit::{EditError, reads_as, thing, well_formed};
use crate::line::{Choice, Line, Remedy};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, Reader};
use crate::site::Site;

pub(super) fn remedies(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("remedy") {
        r.part = format!("remedy.{id}");
        if let Some(remedy) = remedy(r, id, f) {
            line.remedies.push(remedy);
        }
    }
}

fn remedy(r: &mut Resolver<'_>, id: &str, f: &Fields) -> Option<Remedy> {
    let (sets, sets_at) = f.text("sets")?;
    let mut to = Vec::new();
    let mut costs = f.tables("to").iter().filter_map(|t| t.money("cost"));
    let first = costs.next().map(|(money, _)| *money);
    if let Some((other, site)) = costs.find(|(m, _)| Some(m.currency) != first.map(|f| f.currency))
    {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                site,
                format!("\"{other}\": costs of one remedy are in one currency"),
            )
            .label("another currency"),
        );
        return None;
    }
    let mut all_fit = true;
    for t in f.tables("to") {
        let Some((value, value_at)) = t.text("value") else {
            all_fit = false;
            continue;
        };
        all_fit &= fits(r, sets, sets_at, value, value_at);
        let cost = t.money("cost").map(|(money, _)| *money);
        to.push(Choice {
            value: value.clone(),
            cost,
        });
    }
    all_fit.then(|| Remedy {
        id: id.to_owned(),
        at: f.site,
        sets: sets.clone(),
        to,
    })
}

/// Whether the key is one that may be set so; tells what is wrong.
fn fits(r: &mut Resolver<'_>, sets: &str, at: Site, value: &str, value_at: Site) -> bool {
    let wrong = |code, site, message: String| Mistake::error(code, site, message).label("here");
    let mistake = match well_formed(sets, value) {
        Ok(()) => match thing(sets) {
            Some((kind, _)) if ["requirement", "remedy"].contains(&kind.as_str()) => wrong(
                Code::BadReference,
                at,
                "a remedy changes the line, not what is asked of it".to_owned(),
            ),
            Some((kind, id)) if !r.declared.has(&format!("{kind}.{id}")) => {
                wrong(Code::NamesNothing, at, format!("there is no `{kind}.{id}`"))
            }
            // What the key cannot be is told at the value, as it would be at the key itself.
            _ => {
                let part = r.part.clone();
                let mut reader = Reader::within(r.catalogue, r.mistakes, part);
                return reads_as(&mut reader, sets, value, value_at);
            }
        },
        Err(error) => {
            let (code, site) = match error {
                EditError::NoKey { .. } => (Code::UnknownKey, at),
                EditError::Form { .. } => (Code::WrongType, value_at),
                _ => (Code::BadReference, at),
            };
            wrong(code, site, error.to_string())
        }
    };
    r.tell(mistake);
    false
}
