//! Catalogues that a plan includes, and those that they include.

use std::path::{Path, PathBuf};

use crate::catalogue::Catalogue;
use crate::fetch::{Fetch, load};
use crate::folder::{stays_inside, tidy};
use crate::mistake::{Code, Mistake, Mistakes};
use crate::node::{self, Table, Value};
use crate::read::{Fields, Reader};
use crate::site::Sources;
use crate::tables::CATALOGUE;

/// Most files that one plan may include.
const MOST_FILES: usize = 64;

#[expect(
    clippy::too_many_arguments,
    reason = "one recursive walk with all its state"
)]
pub(crate) fn include(
    table: &Table,
    folder: &Path,
    root: &Path,
    trail: &mut Vec<PathBuf>,
    sources: &mut Sources,
    catalogue: &mut Catalogue,
    mistakes: &mut Mistakes,
    fetch: &Fetch<'_>,
) {
    let Some(entry) = table.get("include") else {
        return;
    };
    let Value::List(list) = &entry.node.value else {
        return;
    };
    for item in list {
        let Value::Text(name) = &item.value else {
            continue;
        };
        let path = tidy(&folder.join(name));
        let below = tidy(root);
        let inside = path.strip_prefix(&below).is_ok_and(stays_inside);
        let error = |code, message: String| {
            Mistake::error(code, item.site, message)
                .label("included here")
                .part("include")
        };
        if Path::new(name).is_absolute() || !inside {
            catalogue.lacks_a_file();
            mistakes.push(
                error(
                    Code::OutsideFolder,
                    format!("`{name}` leads out of the plan's folder"),
                )
                .help("copy the catalogue into the plan's folder"),
            );
            continue;
        }
        if trail.contains(&path) {
            mistakes.push(
                error(Code::IncludesItself, format!("`{name}` includes itself"))
                    .help("remove this entry: a file cannot be part of itself"),
            );
            continue;
        }
        if sources.iter().any(|(_, s)| s.path == path) {
            continue;
        }
        if sources.iter().count() >= MOST_FILES {
            catalogue.lacks_a_file();
            mistakes.push(error(
                Code::TooLarge,
                format!("more than {MOST_FILES} files are included"),
            ));
            return;
        }
        let (file, readable) = load(&path, sources, mistakes, fetch, Some(item.site));
        if !readable {
            catalogue.lacks_a_file();
            continue;
        }
        let mut own = Mistakes::default();
        let node = node::parse(&sources.get(file).text.clone(), file, &CATALOGUE, &mut own);
        if own.is_torn() {
            catalogue.lacks_a_file();
            mistakes.tear();
        }
        let Value::Table(inner) = &node.value else {
            continue;
        };
        catalogue.take(inner, &mut own);
        Reader::within(&Catalogue::default(), &mut own, "include".to_owned())
            .file(&CATALOGUE, &node);
        for mistake in own.into_sorted() {
            mistakes.push(mistake);
        }
        let inner_folder = path.parent().unwrap_or(Path::new("")).to_path_buf();
        trail.push(path);
        include(
            inner,
            &inner_folder,
            root,
            trail,
            sources,
            catalogue,
            mistakes,
            fetch,
        );
        trail.pop();
    }
}

/// Reads each part on its own, so that a mistake in a part that nobody uses is told too.
pub(crate) fn check_parts(catalogue: &Catalogue, mistakes: &mut Mistakes) {
    for (id, part) in catalogue.iter() {
        let _: Fields = Reader::new(catalogue, mistakes).part(
            part.section,
            &part.table,
            part.site,
            &format!("part.{id}"),
        );
    }
}
