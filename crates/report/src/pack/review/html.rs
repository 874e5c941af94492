//! Elements of a page: text that is escaped, tables, lists, pictures.

use std::fmt::Write as _;

/// A page that is written from the top down.
pub(super) struct Page {
    body: String,
}

impl Page {
    pub(super) fn new() -> Page {
        Page {
            body: String::new(),
        }
    }

    pub(super) fn heading(&mut self, level: u8, text: &str) {
        let _ = writeln!(self.body, "<h{level}>{}</h{level}>", escaped(text));
    }

    pub(super) fn paragraph(&mut self, text: &str) {
        let _ = writeln!(self.body, "<p>{}</p>", escaped(text));
    }

    pub(super) fn list(&mut self, items: &[String]) {
        self.body.push_str("<ul>\n");
        for item in items {
            let _ = writeln!(self.body, "<li>{}</li>", escaped(item));
        }
        self.body.push_str("</ul>\n");
    }

    /// What a command prints, as it prints it.
    pub(super) fn printed(&mut self, text: &str) {
        let _ = writeln!(self.body, "<pre>{}</pre>", escaped(text.trim_end()));
    }

    /// A table with a row of heads; cells are parts of a page already.
    pub(super) fn table(&mut self, heads: &[&str], rows: &[Vec<String>]) {
        self.body.push_str("<table>\n<thead><tr>");
        for head in heads {
            let _ = write!(self.body, "<th scope=\"col\">{}</th>", escaped(head));
        }
        self.body.push_str("</tr></thead>\n<tbody>\n");
        for row in rows {
            self.body.push_str("<tr>");
            for cell in row {
                let _ = write!(self.body, "<td>{cell}</td>");
            }
            self.body.push_str("</tr>\n");
        }
        self.body.push_str("</tbody></table>\n");
    }

    /// A table of names and what they are, both texts.
    pub(super) fn facts(&mut self, rows: &[(&str, String)]) {
        self.body.push_str("<table>\n<tbody>\n");
        for (name, value) in rows {
            let (name, value) = (escaped(name), escaped(value));
            let _ = writeln!(
                self.body,
                "<tr><th scope=\"row\">{name}</th><td>{value}</td></tr>"
            );
        }
        self.body.push_str("</tbody></table>\n");
    }

    /// A picture of our own, drawn as an SVG file.
    pub(super) fn picture(&mut self, svg: &str) {
        // Within a page the line that says what file it is has no place.
        let from = svg.find("<svg").unwrap_or(0);
        let _ = writeln!(self.body, "<figure>{}</figure>", &svg[from..]);
    }

    /// The whole page, which needs nothing from elsewhere.
    pub(super) fn whole(self, title: &str) -> String {
        format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>{}</title>\n<style>\n{LOOK}</style>\n</head>\n<body>\n<main>\n{}</main>\n</body>\n</html>\n",
            escaped(title),
            self.body
        )
    }
}

/// A text as it stands in a page.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            _ => out.push(c),
        }
    }
    out
}

/// On a screen and on A4 paper.
const LOOK: &str = "\
@page { size: A4; margin: 16mm 14mm; }
body { margin: 0; color: #1b2026; background: #fff; font: 15px/1.45 'DejaVu Sans', Verdana, sans-serif; }
main { max-width: 66rem; margin: 0 auto; padding: 2rem 1.5rem 4rem; }
h1 { font-size: 1.8rem; margin: 0 0 .3rem; }
h2 { font-size: 1.25rem; margin: 2.4rem 0 .6rem; border-bottom: 2px solid #1b2026; padding-bottom: .2rem; break-after: avoid; }
h3 { font-size: 1.02rem; margin: 1.6rem 0 .4rem; break-after: avoid; }
table { border-collapse: collapse; width: 100%; margin: .6rem 0 1rem; font-size: .87rem; }
th { text-align: left; padding: .25rem .5rem; vertical-align: bottom; }
thead th { border-bottom: 1.5px solid #1b2026; }
tbody th { border-bottom: 1px solid #c9ced4; font-weight: 400; width: 22%; vertical-align: top; }
td { border-bottom: 1px solid #c9ced4; padding: .3rem .5rem; vertical-align: top; }
tr { break-inside: avoid; }
pre { font: 11.5px/1.4 'DejaVu Sans Mono', monospace; background: #f4f5f6; padding: .7rem .9rem; white-space: pre-wrap; overflow-wrap: anywhere; }
figure { margin: 1rem 0; break-inside: avoid; }
figure svg { width: 100%; height: auto; }
li { margin: .2rem 0; }
.word { font-weight: 700; white-space: nowrap; }
.met::before { content: '\\2713\\00a0'; }
.marginal::before { content: '\\25b3\\00a0'; }
.broken::before { content: '\\2715\\00a0'; }
.unknown::before, .provisional::before { content: '?\\00a0'; }
.met { color: #1d5c36; } .marginal { color: #7a4d00; } .broken { color: #9b1c1c; } .unknown, .provisional { color: #4a3a86; }
.id { font-weight: 600; }
.why, .by { color: #444c55; display: block; }
.sign td { height: 2.6rem; width: 25%; }
@media print { main { max-width: none; padding: 0; } body { font-size: 10.5px; } pre { font-size: 7.6px; } }
";

#[cfg(test)]
mod tests {
    use super::*;

    /// The five characters of HTML that have to be written otherwise in text and in attributes (HTML Standard, section 13.3, escaping a string; from memory, which leaves `'` out).
    #[test]
    fn verif_nothing_that_a_plan_says_is_markup() {
        let mut page = Page::new();
        page.heading(2, "<script>alert('x')</script>");
        page.paragraph("a & \"b\"");
        let whole = page.whole("<b>");
        assert!(!whole.contains("<script>") && !whole.contains("<b>"));
        assert!(whole.contains("&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;"));
        assert!(whole.contains("a &amp; &quot;b&quot;"));
    }
}
