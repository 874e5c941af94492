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
mod heartbeats;
mod hung;
mod link_kinds;
mod links;
mod mechanics;
mod metals;
mod modules;
mod pick_up;
mod propagation;
mod recovery;
mod remedies;
mod requests;
mod requirement_documents;
mod requirement_subjects;
mod requirements;
mod resolver;
mod routines;
mod settings;
mod site;
mod sound;
mod sources;
mod spares;
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
mod watches;
mod waves;

use std::collections::BTreeMap;

pub(crate) use cues::cue_sheet;
pub use declared::DECLARED_KINDS;
pub(crate) use declared::Declared;
use resolver::{Resolver, ix_of, module_of, output_of};
use site::{deployment, rising, sea};
pub use unchecked::LINKS_WITHOUT_CHECK;
use values::{bare, q, unknown};
pub use waves::breaks_above_m;

use crate::catalogue::Catalogue;
use crate::line::{Depths, Line};
use crate::mistake::Mistakes;
use crate::read::Fields;
use crate::site::{FileId, Site};
use crate::spreads::{Draw, NoDraw};

/// Resolves a plan. Things with a mistake are left out of the line; their mistakes name them.
///
/// Gives also all that the plan declares, so that a cue sheet may name what the line lacks.
pub(crate) fn line(
    root: &Fields,
    catalogue: &Catalogue,
    mistakes: &mut Mistakes,
) -> (Option<Line>, Declared) {
    let mut r = Resolver::new(catalogue, Declared::of(root), mistakes);
    let line = whole(&mut r, root);
    (line, r.declared)
}

/// Resolves a plan whose values have been drawn: the ropes, which are read here, are drawn too.
pub(crate) fn line_drawn(
    root: &Fields,
    catalogue: &Catalogue,
    draw: &Draw,
    mistakes: &mut Mistakes,
) -> Result<Option<Line>, NoDraw> {
    let mut r = Resolver::new(catalogue, Declared::of(root), mistakes);
    r.draw = Some(draw);
    let line = whole(&mut r, root);
    r.not_drawn.map_or(Ok(line), Err)
}

fn whole(r: &mut Resolver<'_>, root: &Fields) -> Option<Line> {
    // Without one of these tables there is no line, but its other mistakes are told all the same.
    let tables = ["deployment", "site"].map(|key| root.table(key).map(|(f, _)| f));
    let whole = tables.iter().all(Option::is_some);
    let none = Fields::none(Site::new(FileId(0), 0..0));
    let [about, sea_fields] = tables.map(|f| f.unwrap_or(&none));
    let mut line = Line {
        deployment: deployment(about),
        sea: sea(r, sea_fields),
        anchors: Vec::new(),
        floats: Vec::new(),
        weights: Vec::new(),
        weak_links: Vec::new(),
        means: Vec::new(),
        metals: Vec::new(),
        anodes: Vec::new(),
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
        spares: Vec::new(),
        watches: Vec::new(),
        requirements: Vec::new(),
        remedies: Vec::new(),
        unwritten: BTreeMap::new(),
    };
    modules::modules(r, root, &mut line);
    pick_up::pick_ups(r, root, &mut line);
    mechanics::sections(r, root, &mut line);
    mechanics::positions(r, root, &mut line);
    hung::weights(r, root, &mut line);
    recovery::recovery(r, root, &mut line);
    metals::metals(r, root, &mut line);
    cases::cases(r, root, &mut line);
    supply::supplies(r, root, &mut line);
    links::buses(r, root, &mut line);
    electric::spans(r, root, &mut line);
    links::shared(r, root, &line);
    exclusive::exclusives(r, root, &mut line);
    electric::connected(r, &line);
    sound::detectors(r, root, &mut line);
    calls::calls(r, root, &mut line);
    votes::votes(r, root, &mut line);
    talk::traffic(r, root, &mut line);
    talk::topics(r, root, &mut line);
    sync::streams(r, root, &mut line);
    sync::time_sync(r, root, &mut line);
    uplinks::uplinks(r, root, &mut line);
    storages::storages(r, root, &mut line);
    storages::thin_streams(r, &line);
    spares::spares(r, root, &mut line);
    requests::requests(r, root, &mut line);
    behaviours::behaviours(r, root, &mut line);
    heartbeats::heartbeats(r, root, &mut line);
    votes::told(r, &line);
    behaviours::heard(r, &line);
    sync::never_run(r, root, &line);
    requests::answered(r, &line);
    unchecked::unchecked(r, &line);
    watches::watches(r, root, &mut line);
    requirements::requirements(r, root, &mut line);
    remedies::remedies(r, root, &mut line);
    line.unwritten = std::mem::take(&mut r.unwritten);
    whole.then_some(line)
}
