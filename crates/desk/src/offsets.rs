//! Places of a text as the page counts them: in units of UTF-16, as JavaScript's strings do.

use plan::{FileId, Site, Sources};
use serde_json::{Map, Value, json};

/// Where each line of a text begins, in bytes and in units of UTF-16.
pub(crate) struct Offsets<'t> {
    text: &'t str,
    lines: Vec<(usize, usize)>,
}

impl<'t> Offsets<'t> {
    pub(crate) fn of(text: &'t str) -> Offsets<'t> {
        let mut lines = vec![(0, 0)];
        let mut at = (0, 0);
        for c in text.chars() {
            at = (at.0 + c.len_utf8(), at.1 + c.len_utf16());
            if c == '\n' {
                lines.push(at);
            }
        }
        Offsets { text, lines }
    }

    /// The place of a byte. One within a character counts as that character's beginning.
    pub(crate) fn utf16(&self, byte: usize) -> usize {
        let line = self.lines.partition_point(|(start, _)| *start <= byte) - 1;
        let (start, units) = self.lines[line];
        let within = self.text[start..].char_indices();
        let before = within.take_while(|(i, c)| start + i + c.len_utf8() <= byte);
        units + before.map(|(_, c)| c.len_utf16()).sum::<usize>()
    }
}

/// The places of all texts of a plan.
pub(crate) struct Places<'s> {
    sources: &'s Sources,
    offsets: Vec<Offsets<'s>>,
    /// Name of each file as the page has it: relative to the folder of the plan.
    names: Vec<String>,
}

impl<'s> Places<'s> {
    pub(crate) fn of(sources: &'s Sources) -> Places<'s> {
        let all = || sources.iter().map(|(_, source)| source);
        let folder = all().next().and_then(|plan| plan.path.parent());
        let name = |path: &std::path::Path| {
            let within = folder.and_then(|f| path.strip_prefix(f).ok());
            within.unwrap_or(path).display().to_string()
        };
        Places {
            sources,
            offsets: all().map(|s| Offsets::of(&s.text)).collect(),
            names: all().map(|s| name(&s.path)).collect(),
        }
    }

    /// The name of a file.
    pub(crate) fn name(&self, file: FileId) -> &str {
        &self.names[file.0 as usize]
    }

    /// A place with its file, its ends, and line and column (from 1, in characters) of its beginning.
    pub(crate) fn place(&self, site: Site) -> Map<String, Value> {
        let file = site.file.0 as usize;
        let (line, column) = self.sources.line_column(site);
        let offsets = &self.offsets[file];
        let mut place = Map::new();
        place.insert("file".to_owned(), json!(self.names[file]));
        place.insert("from".to_owned(), json!(offsets.utf16(site.start as usize)));
        place.insert("to".to_owned(), json!(offsets.utf16(site.end as usize)));
        place.insert("line".to_owned(), json!(line));
        place.insert("column".to_owned(), json!(column));
        place
    }

    /// A place in the plan's own text; null for one in a catalogue.
    pub(crate) fn own(&self, site: Site) -> Value {
        match site.file.0 {
            0 => {
                let offsets = &self.offsets[0];
                let (from, to) = (site.start as usize, site.end as usize);
                json!({ "from": offsets.utf16(from), "to": offsets.utf16(to) })
            }
            _ => Value::Null,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the definition: the length of the text up to there as UTF-16.
    #[test]
    fn verif_places_are_those_of_the_text_as_utf16() {
        let text = "a = \"12 µPa\"\r\nπ = 3\n# 🐋 calls\nb";
        let offsets = Offsets::of(text);
        for (byte, _) in text.char_indices().chain([(text.len(), ' ')]) {
            let slow = text[..byte].encode_utf16().count();
            assert_eq!(offsets.utf16(byte), slow, "byte {byte}");
        }
        // Within the four bytes of the whale.
        let whale = text.find('🐋').unwrap();
        assert_eq!(offsets.utf16(whale + 2), offsets.utf16(whale));
    }
}
