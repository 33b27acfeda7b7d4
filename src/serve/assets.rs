//! What the page is made of; all of it lies in the program.

/// A file of the page.
pub(super) struct Asset {
    /// What it is asked for by.
    pub path: &'static str,
    /// Its media type.
    pub kind: &'static str,
    /// Its bytes.
    pub bytes: &'static [u8],
}

const SCRIPT: &str = "text/javascript; charset=utf-8";

/// The page itself.
pub(super) const PAGE: &str = include_str!("page/sheet.html");

/// What the page asks for.
pub(super) const ASSETS: &[Asset] = &[
    Asset { path: "/sheet.css", kind: "text/css; charset=utf-8", bytes: include_bytes!("page/sheet.css") },
    Asset { path: "/sheet.js", kind: SCRIPT, bytes: include_bytes!("page/sheet.js") },
    Asset { path: "/cast.js", kind: SCRIPT, bytes: include_bytes!("page/cast.js") },
    Asset { path: "/marks.js", kind: SCRIPT, bytes: include_bytes!("page/marks.js") },
    Asset { path: "/tilt.js", kind: SCRIPT, bytes: include_bytes!("page/tilt.js") },
];
