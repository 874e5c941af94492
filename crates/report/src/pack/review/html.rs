//! The report as a page: text that is escaped, tables, lists, pictures; it needs nothing from elsewhere.

use std::fmt::Write as _;

use super::model::{Block, Cell, Look, Piece, Report, Table};

/// The page.
pub(in crate::pack) fn html(report: &Report) -> String {
    let mut body = String::new();
    let mut section = 0;
    for block in &report.blocks {
        // A text cannot refuse to be written.
        let _ = match block {
            Block::Heading { level: 2, text } => {
                section += 1;
                writeln!(body, "<h2 id=\"section-{section}\">{}</h2>", escaped(text))
            }
            Block::Heading { level, text } => {
                writeln!(body, "<h{level}>{}</h{level}>", escaped(text))
            }
            Block::Paragraph(text) => writeln!(body, "<p>{}</p>", escaped(text)),
            Block::Source(text) => writeln!(body, "<p class=\"source\">{}</p>", escaped(text)),
            Block::Contents => writeln!(body, "{}", contents(report)),
            Block::List(items) => {
                let items: String = items
                    .iter()
                    .map(|item| format!("<li>{}</li>\n", escaped(item)))
                    .collect();
                writeln!(body, "<ul>\n{items}</ul>")
            }
            Block::Printed(text) => writeln!(body, "<pre>{}</pre>", escaped(text)),
            Block::Facts(rows) => writeln!(body, "{}", facts(rows)),
            Block::Table(table) => writeln!(body, "{}", whole_table(table)),
            Block::Picture(drawn) => {
                // Within a page the line that says what file it is has no place.
                let svg = drawn.svg();
                let from = svg.find("<svg").unwrap_or(0);
                writeln!(body, "<figure>{}</figure>", &svg[from..])
            }
        };
    }
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>{}</title>\n<style>\n{LOOK}</style>\n</head>\n<body>\n<main>\n{body}</main>\n</body>\n</html>\n",
        escaped(&report.title)
    )
}

fn contents(report: &Report) -> String {
    let sections = report.blocks.iter().filter_map(|block| match block {
        Block::Heading { level: 2, text } => Some(text),
        _ => None,
    });
    let items = sections.enumerate().map(|(nth, text)| {
        let nth = nth + 1;
        format!(
            "<li><a href=\"#section-{nth}\">{}</a></li>\n",
            escaped(text)
        )
    });
    format!("<nav>\n<ol>\n{}</ol>\n</nav>", items.collect::<String>())
}

fn facts(rows: &[(String, String)]) -> String {
    let rows = rows.iter().map(|(name, value)| {
        format!(
            "<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n",
            escaped(name),
            escaped(value)
        )
    });
    format!(
        "<table>\n<tbody>\n{}</tbody></table>",
        rows.collect::<String>()
    )
}

fn whole_table(table: &Table) -> String {
    let class = match table.to_fill {
        true => " class=\"to-fill\"",
        false => "",
    };
    let mut out = format!("<table{class}>\n<thead><tr>");
    for head in &table.heads {
        let _ = write!(out, "<th scope=\"col\">{}</th>", escaped(head));
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for row in &table.rows {
        out.push_str("<tr>");
        for cell in row {
            let _ = write!(out, "<td>{}</td>", whole_cell(cell));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table>");
    out
}

fn whole_cell(cell: &Cell) -> String {
    let mut out = String::new();
    for (nth, part) in cell.parts.iter().enumerate() {
        let pieces: String = part.pieces.iter().map(piece).collect();
        let _ = match (part.quiet, nth) {
            (true, _) => write!(out, "<span class=\"quiet\">{pieces}</span>"),
            (false, 0) => write!(out, "{pieces}"),
            (false, _) => write!(out, "<br>{pieces}"),
        };
    }
    out
}

fn piece(piece: &Piece) -> String {
    let text = escaped(&piece.text);
    match piece.look {
        Look::Plain => text,
        Look::Strong => format!("<b>{text}</b>"),
        Look::Word(word) => format!("<span class=\"word {}\">{text}</span>", word.as_str()),
    }
}

/// A text as it stands in a page.
fn escaped(text: &str) -> String {
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
nav ol { columns: 2; column-gap: 2rem; }
nav a { color: inherit; }
.word { font-weight: 700; white-space: nowrap; }
.met::before { content: '\\2713\\00a0'; }
.marginal::before { content: '\\25b3\\00a0'; }
.broken::before { content: '\\2715\\00a0'; }
.unknown::before, .provisional::before { content: '?\\00a0'; }
.met { color: #1d5c36; } .marginal { color: #7a4d00; } .broken { color: #9b1c1c; } .unknown, .provisional { color: #4a3a86; }
.quiet { color: #444c55; display: block; }
.source { color: #444c55; break-after: avoid; }
.to-fill td { height: 2.6rem; }
@media print { main { max-width: none; padding: 0; } body { font-size: 10.5px; } pre { font-size: 7.6px; } }
";

#[cfg(test)]
mod tests {
    use super::*;

    /// The five characters of HTML that have to be written otherwise in text and in attributes (HTML Standard, section 13.3, escaping a string; from memory, which leaves `'` out).
    #[test]
    fn verif_nothing_that_a_plan_says_is_markup() {
        let mut report = Report {
            title: "<b>".to_owned(),
            plan_digest: String::new(),
            program: String::new(),
            blocks: Vec::new(),
        };
        report.heading(2, "<script>alert('x')</script>");
        report.blocks.push(Block::Contents);
        report.paragraph("a & \"b\"");
        report.table(&["<i>"], vec![vec![Cell::of("<u>").and_quiet("<s>")]]);
        let whole = html(&report);
        for tag in ["<script>", "<b>", "<i>", "<u>", "<s>"] {
            assert!(!whole.contains(tag), "{tag}");
        }
        assert!(whole.contains("&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;"));
        assert!(whole.contains("a &amp; &quot;b&quot;"));
    }
}
