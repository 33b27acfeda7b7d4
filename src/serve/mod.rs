//! The work sheet on screen: a page on the loopback address of this machine, with the cast beside its text and figures.
//!
//! The figures are those of the command line: the same analysis, the same check for a tilt that is tried, the same page as
//! export. What the page changes is the text of the case file and nothing else; undo is an older text. Nothing of a
//! request ever names a file: what may be asked for is a fixed list (`routes`), and what is read and written is settled
//! before the address is printed.
//!
//! | part | what it answers |
//! |---|---|
//! | `guard` | who may ask |
//! | `routes` | what may be asked |
//! | `room` | the text, its history, and the analysis that belongs to it |
//! | `desk` | the thread on which an analysis lies, and questions to it |
//! | `answers` | figures as the page reads them |
//! | `edit`, `save` | a mark into the text; the text into its file |
//! | `listen` | connections, limits of time and size, the end |

mod answers;
mod assets;
mod desk;
mod edit;
mod guard;
mod listen;
mod marks_shown;
mod room;
mod routes;
mod save;

use std::path::PathBuf;
use std::sync::Arc;

use crate::analysis::Analysis;
use crate::case::{Case, CaseFile};
use crate::report::Notation;
use crate::rules::Rules;

pub use listen::{Listener, listen};

/// Reads the scans that a case file names.
pub type ReadCase = dyn Fn(CaseFile) -> Result<Case, String> + Send + Sync;
/// The page of an analysis as the command line writes it.
pub type PageOf = dyn Fn(&Analysis<'_>) -> Vec<u8> + Send + Sync;

/// What a work sheet is opened on.
pub struct Sheet {
    /// Text of the case file.
    pub text: String,
    /// Where it is kept; it need not be there yet.
    pub file: PathBuf,
    /// Whether the text was read from that file.
    pub on_disk: bool,
    /// Reads the scans.
    pub read: Arc<ReadCase>,
    /// The limits of a case file.
    pub rules: Arc<dyn Fn(&CaseFile) -> Result<Rules, String> + Send + Sync>,
    /// The page, for export.
    pub page: Arc<PageOf>,
    /// How teeth are numbered on the page.
    pub notation: Notation,
}

/// The page could not be offered.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The port is taken or not allowed.
    #[error("cannot listen on 127.0.0.1, port {port}: {error}")]
    Port {
        /// The port asked for.
        port: u16,
        /// What the system says.
        error: std::io::Error,
    },
    /// The system gives no random bytes for the address.
    #[error("the system gives no random bytes for the one-time address: {0}")]
    Random(String),
    /// No thread could be started.
    #[error("no thread could be started: {0}")]
    Thread(std::io::Error),
}
