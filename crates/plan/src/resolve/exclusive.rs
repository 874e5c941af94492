//! What cannot happen together.

use super::{Resolver, module_of, output_of};
use crate::line::{Exclusive, ExclusiveMember, Line};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, join};

pub(super) fn exclusives(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("exclusive") {
        r.part = format!("exclusive.{id}");
        if let Some(exclusive) = exclusive(r, id, f, line) {
            line.exclusives.push(exclusive);
        }
    }
}

fn exclusive(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Exclusive> {
    if f.is_wrong("of") {
        return None;
    }
    let mut of: Vec<ExclusiveMember> = Vec::new();
    for t in f.tables("of") {
        let member = member(r, t, line)?;
        if of.contains(&member) {
            r.tell(
                Mistake::error(
                    Code::Duplicate,
                    t.site,
                    "this member stands twice in the group",
                )
                .label("again here"),
            );
            return None;
        }
        of.push(member);
    }
    let (count, at) = f.count("at_most")?;
    let at_most = u32::try_from(*count).ok()?;
    if of.len() <= at_most as usize {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                at,
                format!(
                    "a group of {} of which {at_most} may hold together excludes nothing",
                    of.len()
                ),
            )
            .label("not below the number of members"),
        );
        return None;
    }
    Some(Exclusive {
        id: id.to_owned(),
        at: f.site,
        of,
        at_most,
    })
}

fn member(r: &mut Resolver<'_>, t: &Fields, line: &Line) -> Option<ExclusiveMember> {
    if ["module", "state", "output"].iter().any(|k| t.is_wrong(k)) {
        return None;
    }
    let (state, output) = (t.has("module") || t.has("state"), t.has("output"));
    if state == output || t.has("module") != t.has("state") {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                t.site,
                "a member is a module with a state, or an output",
            )
            .label("here")
            .help("write `{ module = \"module.ID\", state = \"...\" }` or `{ output = \"module.ID.output.ID\" }`"),
        );
        return None;
    }
    if output {
        let (_, path, _) = r.reference(t, "output")?;
        return output_of(line, path).map(ExclusiveMember::Output);
    }
    let (_, path, _) = r.reference(t, "module")?;
    let module = module_of(line, path)?;
    let (name, site) = t.text("state")?;
    let all = &line.modules[module.0];
    let state = all.loads.iter().position(|l| &l.state == name);
    if state.is_none() && !r.declared.has_state(&all.id, name) {
        r.tell(
            Mistake::error(
                Code::NamesNothing,
                site,
                format!("there is no state `{name}`"),
            )
            .label("names nothing")
            .help(format!(
                "the states of this module are: {}",
                join(all.loads.iter().map(|l| l.state.as_str()))
            )),
        );
    }
    Some(ExclusiveMember::State {
        module,
        state: state?,
    })
}
