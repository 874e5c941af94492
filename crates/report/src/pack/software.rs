//! Module software: each detector and each packed topic in C99, each in a folder of its own.

use assess::input::{detector_spec, layout};
use firmware::detector_c;
use network::{c99, identifier};
use plan::{DetectorIx, Line};

use super::PackFile;

/// Something of which no source is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotWritten {
    /// A detector or topic: a typed path.
    pub path: String,
    /// Why not.
    pub why: String,
}

pub(super) struct Software {
    pub(super) files: Vec<PackFile>,
    pub(super) not_written: Vec<NotWritten>,
}

/// The sources of all detectors and topics.
pub(super) fn software(line: &Line) -> Software {
    let mut all = Software {
        files: Vec::new(),
        not_written: Vec::new(),
    };
    for (ix, detector) in line.detectors.iter().enumerate() {
        let path = format!("detector.{}", detector.id);
        let spec = detector_spec(line, DetectorIx(ix), None).map_err(|e| e.to_string());
        let written =
            spec.and_then(|spec| detector_c(&spec, &detector.id).map_err(|e| e.to_string()));
        match written {
            Ok(c) => {
                let folder = format!("software/detector-{}", detector.id);
                let files = [
                    (c.header_name, c.header),
                    (c.source_name, c.source),
                    (c.test_name, c.test),
                    ("README.txt".to_owned(), c.note),
                ];
                let files = files.into_iter();
                all.files.extend(
                    files.map(|(name, text)| PackFile::text(format!("{folder}/{name}"), text)),
                );
            }
            Err(why) => all.not_written.push(NotWritten { path, why }),
        }
    }
    let mut taken = Vec::new();
    for topic in &line.topics {
        let path = plan::below("topic", &topic.name);
        match layout(topic) {
            Ok(Some(layout)) => {
                let name = identifier(&topic.name, "topic");
                if taken.contains(&name) {
                    let why = format!("another topic is called {name} in C already");
                    all.not_written.push(NotWritten { path, why });
                    continue;
                }
                let c = c99(&layout, &topic.name);
                let folder = format!("software/topic-{name}");
                all.files.push(PackFile::text(
                    format!("{folder}/{}", c.header_name),
                    c.header,
                ));
                all.files.push(PackFile::text(
                    format!("{folder}/{}", c.source_name),
                    c.source,
                ));
                taken.push(name);
            }
            Ok(None) => all.not_written.push(NotWritten {
                path,
                why: "it gives its size and no fields, so nothing is known of its bytes".to_owned(),
            }),
            Err(error) => all.not_written.push(NotWritten {
                path,
                why: error.to_string(),
            }),
        }
    }
    all
}
