//! From read fields to the resolved line: ids become indices, references are looked up, the graph is checked.

mod behaviours;
mod calls;
mod cases;
mod content;
mod cues;
mod declared;
mod delivery;
mod electric;
mod exclusive;
mod expectations;
mod faults;
mod hung;
mod link_kinds;
mod links;
mod mechanics;
mod modules;
mod propagation;
mod remedies;
mod requests;
mod requirements;
mod resolver;
mod routines;
mod settings;
mod site;
mod sound;
mod sources;
mod stages;
mod storages;
mod supply;
mod sync;
mod talk;
mod topic_field;
mod unchecked;
mod uplinks;
mod values;
mod votes;

use std::collections::BTreeMap;

pub(crate) use cues::cue_sheet;
pub use declared::DECLARED_KINDS;
pub(crate) use declared::Declared;
use resolver::{Resolver, ix_of, module_of, output_of};
use site::{deployment, rising, sea};
pub use unchecked::LINKS_WITHOUT_CHECK;
use values::{bare, q, unknown};

use crate::catalogue::Catalogue;
use crate::line::{Depths, Line};
use crate::mistake::Mistakes;
use crate::read::Fields;
use crate::site::{FileId, Site};

/// Resolves a plan. Things with a mistake are left out of the line; their mistakes name them.
///
/// Gives also all that the plan declares, so that a cue sheet may name what the line lacks.
pub(crate) fn line(
    root: &Fields,
    catalogue: &Catalogue,
    mistakes: &mut Mistakes,
) -> (Option<Line>, Declared) {
    let mut r = Resolver {
        mistakes,
        catalogue,
        declared: Declared::of(root),
        part: String::new(),
        unwritten: BTreeMap::new(),
    };
    // Without one of these tables there is no line, but its other mistakes are told all the same.
    let tables = ["deployment", "site"].map(|key| root.table(key).map(|(f, _)| f));
    let whole = tables.iter().all(Option::is_some);
    let none = Fields::none(Site::new(FileId(0), 0..0));
    let [about, sea_fields] = tables.map(|f| f.unwrap_or(&none));
    let mut line = Line {
        deployment: deployment(about),
        sea: sea(&mut r, sea_fields),
        anchors: Vec::new(),
        floats: Vec::new(),
        weights: Vec::new(),
        cases: Vec::new(),
        sections: Vec::new(),
        supplies: Vec::new(),
        modules: Vec::new(),
        depths: Depths::Straight,
        spans: Vec::new(),
        buses: Vec::new(),
        exclusives: Vec::new(),
        detectors: Vec::new(),
        calls: Vec::new(),
        votes: Vec::new(),
        traffic: None,
        topics: Vec::new(),
        requests: Vec::new(),
        joining: None,
        streams: Vec::new(),
        time_sync: None,
        behaviours: Vec::new(),
        uplinks: Vec::new(),
        storages: Vec::new(),
        requirements: Vec::new(),
        remedies: Vec::new(),
        unwritten: BTreeMap::new(),
    };
    modules::modules(&mut r, root, &mut line);
    mechanics::sections(&mut r, root, &mut line);
    mechanics::positions(&mut r, root, &mut line);
    hung::weights(&mut r, root, &mut line);
    cases::cases(&mut r, root, &mut line);
    supply::supplies(&mut r, root, &mut line);
    links::buses(&mut r, root, &mut line);
    electric::spans(&mut r, root, &mut line);
    links::shared(&mut r, root, &line);
    exclusive::exclusives(&mut r, root, &mut line);
    electric::connected(&mut r, &line);
    sound::detectors(&mut r, root, &mut line);
    calls::calls(&mut r, root, &mut line);
    votes::votes(&mut r, root, &mut line);
    talk::traffic(&mut r, root, &mut line);
    talk::topics(&mut r, root, &mut line);
    sync::streams(&mut r, root, &mut line);
    sync::time_sync(&mut r, root, &mut line);
    uplinks::uplinks(&mut r, root, &mut line);
    storages::storages(&mut r, root, &mut line);
    requests::requests(&mut r, root, &mut line);
    behaviours::behaviours(&mut r, root, &mut line);
    votes::told(&mut r, &line);
    behaviours::heard(&mut r, &line);
    requests::answered(&mut r, &line);
    unchecked::unchecked(&mut r, &line);
    requirements::requirements(&mut r, root, &mut line);
    remedies::remedies(&mut r, root, &mut line);
    line.unwritten = r.unwritten;
    let declared = r.declared;
    (whole.then_some(line), declared)
}
