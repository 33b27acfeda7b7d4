//! Blocks of the sheet as HTML; text from outside can never become markup.

use super::sheet::{Block, Item, Table};
use crate::report::Verdict;

/// A picture of the page.
#[derive(Clone, Debug)]
pub struct Picture {
    /// File name.
    pub name: String,
    /// What it shows, for a reader and for those who cannot see it.
    pub caption: String,
    /// PNG or SVG.
    pub bytes: Vec<u8>,
}

/// A block.
pub(super) fn piece(block: &Block) -> String {
    match block {
        Block::Title(text) => format!("<h2>{}</h2>\n", escaped(text)),
        Block::Heading(text) => format!("<h3>{}</h3>\n", escaped(text)),
        Block::Paragraph(text) => format!("<p>{}</p>\n", escaped(text)),
        Block::Items(items) => {
            let all: String = items.iter().map(item).collect();
            format!("<ul class=\"items\">\n{all}</ul>\n")
        }
        Block::Table(t) => table(t),
        Block::List(lines) => {
            let all: String = lines.iter().map(|l| format!("<li>{}</li>\n", escaped(l))).collect();
            format!("<ol>\n{all}</ol>\n")
        }
    }
}

fn item(i: &Item) -> String {
    let details: String =
        i.details.iter().map(|d| format!("<p class=\"detail\">{}</p>", escaped(d))).collect();
    let says = escaped(&i.says);
    match i.verdict {
        Some(v) => {
            let class = match v {
                Verdict::Short | Verdict::Exceeds | Verdict::Tight | Verdict::NotMeasured => "attend",
                _ => "clear",
            };
            format!("<li><b class=\"{class}\">{}</b><div>{says}{details}</div></li>\n", v.words())
        }
        None => format!("<li class=\"plain\"><div>{says}{details}</div></li>\n"),
    }
}

/// A table.
pub(super) fn table(t: &Table) -> String {
    let head: String = t.head.iter().map(|h| format!("<th scope=\"col\">{}</th>", escaped(h))).collect();
    let rows: String = t
        .rows
        .iter()
        .map(|row| {
            let cells: String = row.iter().map(|c| format!("<td>{}</td>", escaped(c))).collect();
            format!("<tr>{cells}</tr>\n")
        })
        .collect();
    format!(
        "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"{0}\"><table>\n<caption>{0}</caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}</tbody>\n</table></div>\n",
        escaped(&t.caption)
    )
}

/// A name as it can be read: of a very long one the beginning and the end. `report.json` holds all of it.
pub(super) fn shortened(name: &str) -> String {
    const MOST: usize = 120;
    const FIRST: usize = 80;
    const LAST: usize = 30;
    let letters: Vec<char> = name.chars().collect();
    if letters.len() <= MOST {
        return name.to_owned();
    }
    let first: String = letters.iter().take(FIRST).collect();
    let last: String = letters.iter().skip(letters.len() - LAST).collect();
    format!("{first} … {last}")
}

/// Text that can stand anywhere in HTML or SVG.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Marks that turn the direction of what follows would reach beyond the name they stand in.
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => out.push('\u{fffd}'),
            // Control characters have no place in a page; a file name may hold them.
            c if c.is_control() && c != '\n' => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_from_outside_cannot_become_markup() {
        let block = Block::Title("<script>alert(1)</script> & \"x\"".into());
        let html = piece(&block);
        assert!(!html.contains("<script"));
        assert!(html.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;x&quot;"));
    }
}
