//! The thread on which an analysis lies. An analysis borrows its case, so it stays on the stack of one thread; whoever
//! wants to know something sends a question there and waits. It ends when nobody can ask any more.

use std::cell::{Cell, OnceCell, RefCell};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::Duration;

use tokio::sync::oneshot;

use super::answers::{self, Cast};
use crate::analysis::{self, Analysis, AtTilt, Ready};
use crate::case::Case;
use crate::estimate::Measured;
use crate::report::Report;
use crate::rules::Rules;
use crate::space::Tilt;

/// Tilts whose figures are kept: those of the tabs that are open, the ones just left, and those worked out ahead.
const KEPT: usize = 24;
/// A step from one tilt to the next up to which the hand is taken to go on that way, degrees.
const HAND_DEG: f64 = 1.01;
/// Quiet after the last question before anything is worked out ahead.
const QUIET: Duration = Duration::from_millis(60);

/// Stack of that thread, bytes: that of a program's first thread.
const STACK: usize = 8 << 20;

/// A question to an analysis.
type Question = Box<dyn for<'d> FnOnce(&Desk<'d>) + Send>;

/// An analysis with what serves its questions.
pub(super) struct Desk<'d> {
    /// The analysis.
    pub done: &'d Analysis<'d>,
    /// The cast as the page draws it.
    pub cast: &'d Cast,
    ready: &'d Ready<'d>,
    recent: RefCell<Vec<(Option<[u64; 2]>, Arc<AtTilt>)>>,
    /// The tilt asked last, and those that will be asked next where the hand goes on; the likeliest last.
    asked: Cell<Option<Tilt>>,
    ahead: RefCell<Vec<Tilt>>,
    page: RefCell<Option<Arc<Vec<u8>>>>,
    opposing: OnceCell<Option<Vec<u8>>>,
}

impl Desk<'_> {
    /// The abutments along a tilt; along the path of the case where `None`.
    pub fn at_tilt(&self, tilt: Option<Tilt>) -> Measured<Arc<AtTilt>> {
        if let Some(now) = tilt {
            let before = self.asked.replace(tilt);
            *self.ahead.borrow_mut() = before.map_or_else(Vec::new, |before| next(before, now));
        }
        self.known(tilt)
    }

    fn known(&self, tilt: Option<Tilt>) -> Measured<Arc<AtTilt>> {
        let key = tilt.map(|t| [t.anterior_deg.to_bits(), t.left_deg.to_bits()]);
        let mut recent = self.recent.borrow_mut();
        if let Some(at) = recent.iter().position(|(k, _)| *k == key) {
            let known = recent.remove(at);
            let found = known.1.clone();
            recent.push(known);
            return Ok(found);
        }
        let found = Arc::new(analysis::at_tilt(self.done, self.ready, tilt)?);
        if recent.len() >= KEPT {
            recent.remove(0);
        }
        recent.push((key, found.clone()));
        Ok(found)
    }

    /// The other arch as the page draws it, made once; `None` where it was not scanned.
    pub fn opposing(&self) -> Option<Vec<u8>> {
        self.opposing.get_or_init(|| answers::opposing(self.done)).clone()
    }

    /// The page for export, made once.
    pub fn page(&self, make: &super::PageOf) -> Arc<Vec<u8>> {
        self.page.borrow_mut().get_or_insert_with(|| Arc::new(make(self.done))).clone()
    }
}

/// An analysis that can be asked.
#[derive(Debug)]
pub(super) struct Edition {
    /// The text that it belongs to.
    pub text: Arc<str>,
    /// What was measured and judged.
    pub report: Arc<Report>,
    ask: Sender<Question>,
}

/// The analysis cannot be asked: its thread has ended.
#[derive(Clone, Copy, Debug, thiserror::Error)]
#[error("the analysis ended because of a fault in the program; change a mark or start again")]
pub(super) struct Gone;

impl Edition {
    /// Works a case through on a thread of its own. `Err` with the reason where nothing can be reported.
    pub fn work_through(
        text: Arc<str>,
        case: Case,
        rules: Rules,
        progress: Arc<dyn Fn(&str) + Send + Sync>,
    ) -> Result<Edition, String> {
        let (ask, questions) = channel::<Question>();
        let (tell, told) = channel::<Result<Arc<Report>, String>>();
        let work = move || {
            let done = match analysis::analyse(&case, &rules, &*progress) {
                Ok(done) => done,
                Err(reason) => {
                    let _ = tell.send(Err(reason.to_string()));
                    return;
                }
            };
            let cast = Cast::new(&done);
            let ready = Ready::new(&done.facts, &cast.light.kept);
            let _ = tell.send(Ok(Arc::new(done.report.clone())));
            let (recent, page, opposing) = (RefCell::default(), RefCell::default(), OnceCell::new());
            let (asked, ahead) = (Cell::new(None), RefCell::default());
            let desk = Desk { done: &done, cast: &cast, ready: &ready, recent, asked, ahead, page, opposing };
            answer(&desk, &questions);
        };
        std::thread::Builder::new()
            .name("analysis".into())
            .stack_size(STACK)
            .spawn(work)
            .map_err(|e| format!("no thread could be started: {e}"))?;
        let report = told.recv().map_err(|_| Gone.to_string())??;
        Ok(Edition { text, report, ask })
    }

    /// Asks, and waits for the answer.
    pub async fn ask<T: Send + 'static>(
        &self,
        question: impl for<'d> FnOnce(&Desk<'d>) -> T + Send + 'static,
    ) -> Result<T, Gone> {
        let (tell, told) = oneshot::channel();
        let job = move |desk: &Desk<'_>| {
            // Whoever asked may have gone: then nothing is worked out for them.
            if !tell.is_closed() {
                let _ = tell.send(question(desk));
            }
        };
        self.ask.send(Box::new(job)).map_err(|_| Gone)?;
        told.await.map_err(|_| Gone)
    }
}

/// The steps that a hand makes next, the likeliest last: the same once more, or as wide to either side of it. None after a
/// wide step or none at all.
fn next(before: Tilt, now: Tilt) -> Vec<Tilt> {
    let (a, l) = (now.anterior_deg - before.anterior_deg, now.left_deg - before.left_deg);
    if (a == 0.0 && l == 0.0) || a.abs() > HAND_DEG || l.abs() > HAND_DEG {
        return Vec::new();
    }
    let by = |a: f64, l: f64| Tilt { anterior_deg: now.anterior_deg + a, left_deg: now.left_deg + l };
    vec![by(-l, -a), by(l, a), by(a, l)]
}

fn answer(desk: &Desk<'_>, questions: &Receiver<Question>) {
    loop {
        let ahead = !desk.ahead.borrow().is_empty();
        let question = if ahead {
            questions.recv_timeout(QUIET)
        } else {
            questions.recv().map_err(|_| RecvTimeoutError::Disconnected)
        };
        match question {
            // A fault in one answer must not take the others with it; what was borrowed is released on the way out.
            Ok(question) => drop(catch_unwind(AssertUnwindSafe(|| question(desk)))),
            Err(RecvTimeoutError::Timeout) => {
                let tilt = desk.ahead.borrow_mut().pop();
                let _ = catch_unwind(AssertUnwindSafe(|| desk.known(tilt).map(drop)));
            }
            Err(RecvTimeoutError::Disconnected) => return,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hand_that_goes_on_is_foreseen_and_a_jump_is_not() {
        let tilt = |anterior_deg: f64, left_deg: f64| Tilt { anterior_deg, left_deg };
        assert_eq!(
            next(tilt(1.0, 2.0), tilt(1.5, 2.0)),
            [tilt(1.5, 1.5), tilt(1.5, 2.5), tilt(2.0, 2.0)],
            "the likeliest last"
        );
        assert!(next(tilt(1.0, 2.0), tilt(1.0, 2.0)).is_empty());
        assert!(next(tilt(1.0, 2.0), tilt(7.0, 2.0)).is_empty());
    }
}
