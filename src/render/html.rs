//! The sheet as one self-contained page: no script, nothing fetched. Same blocks, same order as the text.

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

/// The page. Pictures stand after the short answer.
pub fn page(title: &str, blocks: &[Block], pictures: &[Picture]) -> String {
    let mut body = String::new();
    let mut headings = 0;
    for block in blocks {
        if matches!(block, Block::Heading(_)) {
            headings += 1;
            if headings == 2 {
                body.push_str(&gallery(pictures));
            }
        }
        body.push_str(&piece(block));
    }
    if headings < 2 {
        body.push_str(&gallery(pictures));
    }
    let title = escaped(title);
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'\">\n\
         <title>{title}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n<main>\n{body}</main>\n</body>\n</html>\n"
    )
}

const STYLE: &str = "\
body { font: 15px/1.5 Georgia, 'Times New Roman', serif; color: #1e1e22; background: #fff; margin: 0; }
main { max-width: 62rem; margin: 0 auto; padding: 1.5rem; }
h1 { font-size: 1.5rem; margin: 0 0 .5rem; }
h2 { font-size: 1.15rem; margin: 1.8rem 0 .5rem; border-bottom: 1px solid #b9b4a8; }
dl.items { display: grid; grid-template-columns: 8rem 1fr; gap: .35rem .8rem; margin: .5rem 0; }
dl.items dt { font-variant: small-caps; letter-spacing: .03em; }
dl.items dt.clear { font-weight: normal; }
dl.items dt.attend { font-weight: bold; border-left: .3rem solid #1e1e22; padding-left: .4rem; }
dl.items dd { margin: 0; }
dl.items dd.plain { grid-column: 1 / 3; }
p.detail { margin: 0; color: #55524b; font-size: .87rem; }
table { border-collapse: collapse; margin: .6rem 0; font-size: .87rem; display: block; overflow-x: auto; }
caption { text-align: left; font-style: italic; padding-bottom: .2rem; }
th, td { border: 1px solid #cfcabd; padding: .15rem .45rem; text-align: left; vertical-align: top; }
th { background: #f1eee6; }
td { font-variant-numeric: tabular-nums; }
figure { margin: .8rem 0; break-inside: avoid; }
figure img, figure svg { max-width: 100%; height: auto; border: 1px solid #cfcabd; }
figcaption { font-size: .87rem; color: #55524b; }
div.gallery { display: grid; grid-template-columns: repeat(auto-fit, minmax(22rem, 1fr)); gap: 1rem; }
@media print { main { max-width: none; padding: 0; } h2 { break-after: avoid; } table { display: table; font-size: .75rem; } }
";

fn gallery(pictures: &[Picture]) -> String {
    if pictures.is_empty() {
        return String::new();
    }
    let mut out = "<h2>Pictures</h2>\n<div class=\"gallery\">\n".to_owned();
    for picture in pictures {
        let caption = escaped(&picture.caption);
        let drawn = if picture.name.ends_with(".svg") {
            String::from_utf8_lossy(&picture.bytes).into_owned()
        } else {
            format!("<img alt=\"{caption}\" src=\"data:image/png;base64,{}\">", base64(&picture.bytes))
        };
        out.push_str(&format!("<figure>\n{drawn}\n<figcaption>{caption}</figcaption>\n</figure>\n"));
    }
    out.push_str("</div>\n");
    out
}

fn piece(block: &Block) -> String {
    match block {
        Block::Title(text) => format!("<h1>{}</h1>\n", escaped(text)),
        Block::Heading(text) => format!("<h2>{}</h2>\n", escaped(text)),
        Block::Paragraph(text) => format!("<p>{}</p>\n", escaped(text)),
        Block::Items(items) => {
            let all: String = items.iter().map(item).collect();
            format!("<dl class=\"items\">\n{all}</dl>\n")
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
            format!("<dt class=\"{class}\">{}</dt><dd>{says}{details}</dd>\n", v.words())
        }
        None => format!("<dd class=\"plain\">{says}{details}</dd>\n"),
    }
}

fn table(t: &Table) -> String {
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
        "<table>\n<caption>{}</caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}</tbody>\n</table>\n",
        escaped(&t.caption)
    )
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
            // Control characters have no place in a page; a file name may hold them.
            c if c.is_control() && c != '\n' => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let byte = |k: usize| u32::from(chunk.get(k).copied().unwrap_or(0));
        let all = (byte(0) << 16) | (byte(1) << 8) | byte(2);
        for k in 0..4 {
            if k <= chunk.len() {
                out.push(char::from(SIGNS[((all >> (18 - 6 * k)) & 63) as usize]));
            } else {
                out.push('=');
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_of_the_examples_of_rfc_4648() {
        let pairs = [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("foobar", "Zm9vYmFy"),
        ];
        for (plain, coded) in pairs {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn names_from_outside_cannot_become_markup() {
        let blocks = [Block::Title("<script>alert(1)</script> & \"x\"".into())];
        let page = page("</title><b>", &blocks, &[]);
        assert!(!page.contains("<script") && !page.contains("</title><b>"));
        assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;x&quot;"));
    }
}
