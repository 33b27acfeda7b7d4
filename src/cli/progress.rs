//! Progress of long work: on standard error, and only where a person looks at it.

use std::io::IsTerminal;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

use super::Common;

/// A line that tells what is being done; nothing where standard error is no terminal.
pub(super) struct Progress(Option<ProgressBar>);

impl Progress {
    pub(super) fn new(common: &Common) -> Progress {
        if common.quiet || !std::io::stderr().is_terminal() {
            return Progress(None);
        }
        let bar = ProgressBar::new_spinner();
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} ({elapsed})") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(120));
        Progress(Some(bar))
    }

    pub(super) fn say(&self, doing: &str) {
        if let Some(bar) = &self.0 {
            bar.set_message(doing.to_owned());
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}
