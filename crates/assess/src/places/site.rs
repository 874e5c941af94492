//! The places of a line at which one more module could hang, in the order along the line.

use std::collections::BTreeSet;

use plan::{Line, Module, ModuleIx, Position, SectionEnd, Span};

/// Where a module would be.
#[derive(Clone, Debug, PartialEq)]
pub enum At {
    /// On a section.
    Section {
        /// Id of the section.
        id: String,
        /// Length along it from its upper end, m.
        from_top_m: f64,
    },
    /// At a depth, m.
    Depth(f64),
}

/// How a module would hang on the line.
#[derive(Clone, Debug, PartialEq)]
pub enum Way {
    /// Beside a module, on a stub.
    Beside {
        /// Id of that module.
        neighbour: String,
        /// Id of the span whose cable the stub is, where none is named.
        like: Option<String>,
    },
    /// Beyond the last module of a section, on a span of its own.
    Beyond {
        /// Id of that module.
        neighbour: String,
        /// Id of the span whose cable it is, where none is named.
        like: Option<String>,
    },
    /// Within a span, which is cut in two.
    Within {
        /// Id of the span.
        span: String,
        /// Id of the module at its one end.
        from: String,
        /// Id of the module at its other end.
        to: String,
        /// Id of the end that asks, where its link is polled.
        polled_by: Option<String>,
        /// Lengths of the two halves, m, where the span's length is written.
        lengths_m: Option<(f64, f64)>,
        /// Share of the span that lies before the cut.
        share: f64,
    },
}

/// A place at which one more module could hang.
#[derive(Clone, Debug, PartialEq)]
pub struct Site {
    /// Its name: a module, a span, or a length along a section.
    pub id: String,
    /// How it would hang.
    pub way: Way,
    /// Where it would be.
    pub position: At,
}

/// A length along a section at which a place is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Along {
    /// Id of the section.
    pub section: String,
    /// Length from its upper end, m.
    pub from_top_m: f64,
}

/// Why a length along a section is no place.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SiteError {
    /// No section has this id.
    #[error("there is no `section.{section}`; the plan has {sections}")]
    NoSection {
        /// The id.
        section: String,
        /// Those that are there.
        sections: String,
    },
    /// The section is shorter.
    #[error("{from_top_m} m is beyond the end of `section.{section}`, which is {length_m} m long")]
    BeyondSection {
        /// The section.
        section: String,
        /// What was asked, m.
        from_top_m: f64,
        /// Its length, m.
        length_m: f64,
    },
    /// A module hangs there already.
    #[error("`module.{module}` hangs there already: ask for the place beside it")]
    Taken {
        /// The module.
        module: String,
    },
    /// No module with a span hangs on the section.
    #[error("no module hangs on `section.{section}` above {from_top_m} m, so nothing leads there")]
    NothingAbove {
        /// The section.
        section: String,
        /// What was asked, m.
        from_top_m: f64,
    },
}

/// Every module and the middle of every span, from the supplies outwards.
pub(super) fn everywhere(line: &Line) -> Vec<Site> {
    let mut sites = Vec::new();
    let mut seen = BTreeSet::new();
    let mut cut = BTreeSet::new();
    let mut starts: Vec<ModuleIx> = line.supplies.iter().map(|s| s.module).collect();
    starts.extend((0..line.modules.len()).map(ModuleIx));
    for start in starts {
        let mut todo: Vec<(Option<usize>, ModuleIx)> = vec![(None, start)];
        while let Some((by, at)) = todo.pop() {
            if let Some(s) = by
                && cut.insert(s)
            {
                sites.extend(within(line, &line.spans[s], 0.5));
            }
            if !seen.insert(at) {
                continue;
            }
            sites.push(beside(line, at));
            let leads = |s: &Span| match (s.from == at, s.to == at) {
                (true, _) => Some(s.to),
                (_, true) => Some(s.from),
                _ => None,
            };
            let onwards = line.spans.iter().enumerate();
            let mut onwards: Vec<(Option<usize>, ModuleIx)> = onwards
                .filter(|(i, _)| !cut.contains(i))
                .filter_map(|(i, s)| Some((Some(i), leads(s)?)))
                .collect();
            // The first by id is followed first.
            onwards.reverse();
            todo.extend(onwards);
        }
    }
    sites
}

fn beside(line: &Line, at: ModuleIx) -> Site {
    let module = &line.modules[at.0];
    Site {
        id: format!("module.{}", module.id),
        way: Way::Beside {
            neighbour: module.id.clone(),
            like: feeding(line, at),
        },
        position: at_module(line, module),
    }
}

/// The span that leads to a module from the nearest supply, one that carries power and data before one that carries power, and that before any other; of a module at a
/// supply the first of these.
fn feeding(line: &Line, at: ModuleIx) -> Option<String> {
    let mut steps: Vec<Option<usize>> = vec![None; line.modules.len()];
    let mut todo: std::collections::VecDeque<ModuleIx> =
        line.supplies.iter().map(|s| s.module).collect();
    for m in &todo {
        steps[m.0] = Some(0);
    }
    while let Some(m) = todo.pop_front() {
        for s in &line.spans {
            let far = match (s.from == m, s.to == m) {
                (true, _) => s.to,
                (_, true) => s.from,
                _ => continue,
            };
            if steps[far.0].is_none() {
                steps[far.0] = steps[m.0].map(|n| n + 1);
                todo.push_back(far);
            }
        }
    }
    let other = |s: &Span| if s.from == at { s.to } else { s.from };
    let its = line.spans.iter().filter(|s| s.from == at || s.to == at);
    let lacks = |s: &Span| match (s.conductor.is_some(), s.link.is_some() || s.bus.is_some()) {
        (true, true) => 0,
        (true, false) => 1,
        (false, _) => 2,
    };
    its.min_by_key(|s| (lacks(s), steps[other(s).0].unwrap_or(usize::MAX), &s.id))
        .map(|s| s.id.clone())
}

/// The place within a span at a share of it.
fn within(line: &Line, span: &Span, share: f64) -> Option<Site> {
    let (from, to) = (&line.modules[span.from.0], &line.modules[span.to.0]);
    let position = match common(line, span.from, span.to) {
        Some((section, a_m, b_m)) => At::Section {
            id: line.sections[section].id.clone(),
            from_top_m: a_m + share * (b_m - a_m),
        },
        None => {
            let [from_m, to_m] = [from, to].map(|m| m.straight_depth_m);
            let depth_m = from_m + share * (to_m - from_m);
            At::Depth(depth_m).finite()?
        }
    };
    let on_section = matches!(position, At::Section { .. });
    let written = span.written_length_m.is_some() || !on_section;
    let asks = span.link.as_ref().and_then(|l| l.polled_by);
    Some(Site {
        id: format!("span.{}", span.id),
        way: Way::Within {
            span: span.id.clone(),
            from: from.id.clone(),
            to: to.id.clone(),
            polled_by: asks.map(|m| line.modules[m.0].id.clone()),
            lengths_m: written.then_some((span.length_m * share, span.length_m * (1.0 - share))),
            share,
        },
        position,
    })
}

impl At {
    fn finite(self) -> Option<At> {
        match self {
            At::Depth(depth_m) if !depth_m.is_finite() => None,
            other => Some(other),
        }
    }
}

/// The places at lengths along sections, in the order asked.
pub(super) fn along(line: &Line, asked: &[Along]) -> Result<Vec<Site>, SiteError> {
    asked.iter().map(|one| at_length(line, one)).collect()
}

fn at_length(line: &Line, asked: &Along) -> Result<Site, SiteError> {
    let found = line.sections.iter().position(|s| s.id == asked.section);
    let Some(section) = found else {
        let ids: Vec<String> = line.sections.iter().map(|s| s.id.clone()).collect();
        return Err(SiteError::NoSection {
            section: asked.section.clone(),
            sections: match ids.is_empty() {
                true => "no section".to_owned(),
                false => ids.join(", "),
            },
        });
    };
    let from_top_m = asked.from_top_m;
    let length_m = line.sections[section].length_m.si;
    if from_top_m > length_m {
        return Err(SiteError::BeyondSection {
            section: asked.section.clone(),
            from_top_m,
            length_m,
        });
    }
    let on: Vec<(ModuleIx, f64)> = (0..line.modules.len())
        .filter_map(|m| Some((ModuleIx(m), from_top(line, ModuleIx(m), section)?)))
        .collect();
    if let Some((m, _)) = on.iter().find(|(_, x)| *x == from_top_m) {
        return Err(SiteError::Taken {
            module: line.modules[m.0].id.clone(),
        });
    }
    let id = format!("section.{}@{from_top_m}m", asked.section);
    let place = |m: ModuleIx| on.iter().find(|(o, _)| *o == m).map(|(_, x)| *x);
    for span in &line.spans {
        if let (Some(a_m), Some(b_m)) = (place(span.from), place(span.to)) {
            let share = (from_top_m - a_m) / (b_m - a_m);
            if share > 0.0 && share < 1.0 {
                let site = within(line, span, share).expect("a place on a section has a length");
                return Ok(Site { id, ..site });
            }
        }
    }
    let above = on.iter().filter(|(_, x)| *x < from_top_m);
    let Some((last, _)) = above.max_by(|a, b| a.1.total_cmp(&b.1)) else {
        return Err(SiteError::NothingAbove {
            section: asked.section.clone(),
            from_top_m,
        });
    };
    Ok(Site {
        id,
        way: Way::Beyond {
            neighbour: line.modules[last.0].id.clone(),
            like: feeding(line, *last),
        },
        position: At::Section {
            id: asked.section.clone(),
            from_top_m,
        },
    })
}

fn at_module(line: &Line, module: &Module) -> At {
    match module.position {
        Position::FromTop { section, length_m } => At::Section {
            id: line.sections[section.0].id.clone(),
            from_top_m: length_m.si,
        },
        Position::FromAnchor { section, length_m } => {
            let section = &line.sections[section.0];
            At::Section {
                id: section.id.clone(),
                from_top_m: section.length_m.si - length_m.si,
            }
        }
        Position::Depth(depth_m) => At::Depth(depth_m.si),
    }
}

/// Length from the upper end of a section at which a module hangs on it or ends it, m.
fn from_top(line: &Line, at: ModuleIx, section: usize) -> Option<f64> {
    let whole = &line.sections[section];
    if whole.from == SectionEnd::Module(at) {
        return Some(0.0);
    }
    if whole.to == SectionEnd::Module(at) {
        return Some(whole.length_m.si);
    }
    match line.modules[at.0].position {
        Position::FromTop {
            section: s,
            length_m,
        } if s.0 == section => Some(length_m.si),
        Position::FromAnchor {
            section: s,
            length_m,
        } if s.0 == section => Some(whole.length_m.si - length_m.si),
        _ => None,
    }
}

/// A section on which both modules are, with the place of each on it, m.
fn common(line: &Line, a: ModuleIx, b: ModuleIx) -> Option<(usize, f64, f64)> {
    (0..line.sections.len()).find_map(|s| Some((s, from_top(line, a, s)?, from_top(line, b, s)?)))
}
