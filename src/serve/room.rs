//! The room in which a case is worked on: the text of its file with the history of marks, and the analysis that belongs
//! to it, worked out anew on a thread of its own after each mark. All tabs look into the same room.

use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};

use serde_json::{Value, json};
use tokio::sync::watch;

use super::desk::Edition;
use super::edit::Edit;
use super::save::{self, Hash, Kept, Saved};
use super::{Sheet, answers, marks_shown};
use crate::case::CaseFile;
use crate::case::file::parse;
use crate::checks;
use crate::report::Notation;
use crate::rules::Rules;

/// Steps back at most.
const STEPS: usize = 200;

/// The room.
pub(super) struct Room {
    sheet: Sheet,
    inner: Mutex<Inner>,
    wake: Condvar,
    revision: watch::Sender<u64>,
}

/// A text of the case file, and what led to it.
#[derive(Clone, Debug)]
struct Step {
    text: Arc<str>,
    because: String,
}

#[derive(Debug)]
struct Inner {
    steps: Vec<Step>,
    at: usize,
    edition: Option<Arc<Edition>>,
    /// What the last analysis changed, and why.
    changes: Option<(String, Vec<Value>)>,
    /// What is being done.
    doing: Option<String>,
    /// Why the text cannot be worked through.
    refused: Option<(Arc<str>, String)>,
    /// What the file on disk held when it was last read or written.
    disk: Option<Hash>,
    saved: Option<Hash>,
    /// The hash of the text on which unsaved marks are made: what was opened, or saved last.
    base: Hash,
    /// What is to be said of marks that are not saved: whether they could be kept beside the file.
    remark: Option<String>,
    revision: u64,
    ended: bool,
}

/// What saving came to, for the page.
pub(super) enum SaveAnswer {
    /// Written.
    Done,
    /// The file was changed meanwhile.
    Conflict(Option<String>),
    /// It could not be written.
    Failed(String),
}

impl Room {
    /// A room for a case, with the marks that were not saved when it was left the last time.
    pub fn new(sheet: Sheet) -> Room {
        let text: Arc<str> = sheet.text.as_str().into();
        let base = save::hash(text.as_bytes());
        let disk = sheet.on_disk.then_some(base);
        let mut steps = vec![Step { text, because: "as opened".into() }];
        let mut remark = None;
        match save::kept(&sheet.file) {
            Some(kept) if kept.base == base && parsed(&kept.text).is_ok() => {
                steps.push(Step {
                    text: kept.text.into(),
                    because: "marks of the last time, not saved then".into(),
                });
                remark = Some(
                    "Marks of the last time that were not saved are here again; undo takes them away.".into(),
                );
            }
            None if !save::kept_file(&sheet.file).exists() => {}
            _ => {
                let there = match save::put_aside(&sheet.file) {
                    Ok(to) => format!("in {}", to.file_name().unwrap_or_default().to_string_lossy()),
                    Err(why) => format!("where they were ({why})"),
                };
                remark = Some(format!(
                    "Marks of another time that were not saved belong to another state of this case; they lie {there}."
                ));
            }
        }
        let inner = Inner {
            at: steps.len() - 1,
            steps,
            edition: None,
            changes: None,
            doing: None,
            refused: None,
            disk,
            saved: disk,
            base,
            remark,
            revision: 1,
            ended: false,
        };
        Room { sheet, inner: Mutex::new(inner), wake: Condvar::new(), revision: watch::Sender::new(1) }
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        // Each step leaves the room whole.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn tell(&self, mut inner: MutexGuard<'_, Inner>) {
        inner.revision += 1;
        let revision = inner.revision;
        drop(inner);
        self.revision.send_replace(revision);
        self.wake.notify_all();
    }

    /// Keeps what is not saved beside the case file, or takes that file away where all is saved.
    fn kept(&self, inner: &mut Inner) {
        let text = inner.text();
        if save::hash(text.as_bytes()) == inner.saved.unwrap_or(inner.base) {
            save::let_go(&self.sheet.file);
            inner.remark = None;
            return;
        }
        let kept = save::keep(&self.sheet.file, &Kept { base: inner.base, text: text.to_string() });
        inner.remark = Some(match kept {
            Ok(()) => "They are kept beside it and come back when it is opened again.".into(),
            Err(why) => format!("They are lost when the program ends unless they are saved: {why}."),
        });
    }

    /// What is to be said of unsaved marks.
    pub fn remark(&self) -> Option<String> {
        self.inner().remark.clone()
    }

    /// Told whenever something changes.
    pub fn revisions(&self) -> watch::Receiver<u64> {
        self.revision.subscribe()
    }

    /// The analysis that can be asked; that of an older text while the present one is worked out.
    pub fn edition(&self) -> Option<Arc<Edition>> {
        self.inner().edition.clone()
    }

    /// The analysis of the present text, once it is there; `Err` with the reason where it cannot be.
    pub async fn settled(&self) -> Result<Arc<Edition>, String> {
        let mut changed = self.revisions();
        loop {
            {
                let inner = self.inner();
                let text = inner.text();
                if let Some(edition) = inner.edition.as_ref().filter(|e| e.text == text) {
                    return Ok(edition.clone());
                }
                if let Some((of, why)) = &inner.refused
                    && *of == text
                {
                    return Err(why.clone());
                }
            }
            changed.changed().await.map_err(|_| "the program is ending".to_owned())?;
        }
    }

    /// The page of an analysis.
    pub fn page(&self) -> Arc<super::PageOf> {
        self.sheet.page.clone()
    }

    /// How teeth are numbered.
    pub fn notation(&self) -> Notation {
        self.sheet.notation
    }

    /// Puts a mark into the text.
    ///
    /// # Errors
    /// The text would not be a case file any more; in words.
    pub fn mark(&self, edit: &Edit) -> Result<(), String> {
        let mut inner = self.inner();
        let text = inner.text();
        let file = parsed(&text)?;
        let new = edit.apply(&text, &file)?;
        parsed(&new)?;
        if new == *text {
            return Ok(());
        }
        inner.step(new.into(), edit.words(self.sheet.notation));
        self.kept(&mut inner);
        self.tell(inner);
        Ok(())
    }

    /// A step back or forth; `false` where there is none.
    pub fn go(&self, back: bool) -> bool {
        let mut inner = self.inner();
        let to = if back {
            inner.at.checked_sub(1)
        } else {
            Some(inner.at + 1).filter(|n| *n < inner.steps.len())
        };
        let Some(to) = to else { return false };
        inner.at = to;
        self.kept(&mut inner);
        self.tell(inner);
        true
    }

    /// Saves the text.
    pub fn save(&self, over: bool) -> SaveAnswer {
        let mut inner = self.inner();
        let text = inner.text();
        match save::save(&self.sheet.file, &text, inner.disk, over) {
            Ok(Saved::Done(hash)) => {
                (inner.disk, inner.saved, inner.base) = (Some(hash), Some(hash), hash);
                self.kept(&mut inner);
                self.tell(inner);
                SaveAnswer::Done
            }
            Ok(Saved::Conflict(there)) => SaveAnswer::Conflict(there),
            Err(says) => SaveAnswer::Failed(says),
        }
    }

    /// Takes the text that lies on disk, as a step that can be taken back.
    ///
    /// # Errors
    /// It cannot be read or is no case file; in words.
    pub fn take_from_disk(&self) -> Result<(), String> {
        let bytes = save::now(&self.sheet.file).ok_or("there is no file to read")?;
        let hash = save::hash(&bytes);
        let text = String::from_utf8(bytes).map_err(|_| "the file is no UTF-8 text")?;
        parsed(&text)?;
        let mut inner = self.inner();
        inner.step(text.into(), "taken from the file on disk".into());
        (inner.disk, inner.saved, inner.base) = (Some(hash), Some(hash), hash);
        self.kept(&mut inner);
        self.tell(inner);
        Ok(())
    }

    /// Whether there are marks that were not saved.
    pub fn unsaved(&self) -> bool {
        let inner = self.inner();
        inner.saved != Some(save::hash(inner.text().as_bytes()))
    }

    /// Everything that the page shows beside the cast and the tilt.
    pub fn state(&self) -> Value {
        let inner = self.inner();
        let text = inner.text();
        let file = parsed(&text).ok();
        let step = inner.steps.get(inner.at);
        let report = inner.edition.as_ref().map(|e| e.report.clone());
        let current = inner.edition.as_ref().is_some_and(|e| e.text == text);
        let next = inner.steps.get(inner.at + 1).map(|s| s.because.clone());
        let sections = checks::sections();
        json!({
            "revision": inner.revision,
            "edition": inner.edition.as_ref().map(|e| save::hex(&save::hash(e.text.as_bytes())[..8])),
            "current": current,
            "doing": inner.doing,
            "refused": inner.refused.as_ref().filter(|(of, _)| *of == text).map(|(_, why)| why),
            "remark": inner.remark,
            "unsaved": inner.saved != Some(save::hash(text.as_bytes())),
            "file": self.sheet.file.file_name().map(|n| n.to_string_lossy().into_owned()),
            "undo": (inner.at > 0).then(|| step.map(|s| s.because.clone())),
            "redo": next,
            "id": file.as_ref().map(|f| f.id.clone()),
            "restored_arch": file.as_ref().map(|f| f.restored.word()),
            "abutments": file.as_ref().map(|f| f.design.abutments.clone()),
            "clasps": file.as_ref().map(|f| f.design.clasps.iter().map(|c| json!({
                "tooth": c.tooth, "surface": c.surface, "kind": c.kind,
            })).collect::<Vec<_>>()),
            "notation": self.sheet.notation,
            "marks": file.as_ref().map(marks_shown::marks),
            "teeth": file.as_ref().map(|f| teeth(f, self.sheet.notation)),
            "path_given": file.as_ref().map(|f| f.path != crate::case::PathWanted::Searched),
            "changes": inner.changes.as_ref().map(|(because, list)| json!({ "because": because, "list": list })),
            "attention": report.as_ref().map(|r| r.asks_attention()),
            "sections": report.as_ref().map(|r| answers::findings(r, &sections)),
            "questions": report.as_ref().map(|r| r.questions.clone()),
            "path": report.as_ref().and_then(|r| r.path.as_ref().map(|p| json!({
                "tilt_deg": p.tilt_deg, "says": p.says,
            }))),
        })
    }

    /// Works out the present text whenever it has changed; returns when the room is left.
    pub fn work(self: &Arc<Room>) {
        loop {
            let (text, because) = {
                let mut inner = self.inner();
                loop {
                    if inner.ended {
                        return;
                    }
                    let text = inner.text();
                    let known = inner.edition.as_ref().is_some_and(|e| e.text == text);
                    let refused = inner.refused.as_ref().is_some_and(|(of, _)| *of == text);
                    if !known && !refused {
                        inner.doing = Some("reading the scans".into());
                        let because = inner.steps.get(inner.at).map_or(String::new(), |s| s.because.clone());
                        self.tell(inner);
                        break (text, because);
                    }
                    inner = self.wake.wait(inner).unwrap_or_else(PoisonError::into_inner);
                }
            };
            let found = self.worked_through(&text);
            let mut inner = self.inner();
            inner.doing = None;
            match found {
                Ok(edition) => {
                    let before = inner.edition.replace(Arc::new(edition));
                    let after = inner.edition.clone();
                    inner.changes =
                        before.zip(after).map(|(b, a)| (because, answers::changes(&b.report, &a.report)));
                    inner.refused = None;
                }
                Err(why) => inner.refused = Some((text, why)),
            }
            self.tell(inner);
        }
    }

    fn worked_through(self: &Arc<Room>, text: &Arc<str>) -> Result<Edition, String> {
        let file = parsed(text)?;
        let rules = (self.sheet.rules)(&file)?;
        let case = (self.sheet.read)(file)?;
        let room = Arc::downgrade(self);
        let progress = move |doing: &str| {
            if let Some(room) = room.upgrade() {
                let mut inner = room.inner();
                inner.doing = Some(format!("measuring: {doing}"));
                room.tell(inner);
            }
        };
        Edition::work_through(text.clone(), case, rules, Arc::new(progress))
    }

    /// Ends the work.
    pub fn leave(&self) {
        let mut inner = self.inner();
        inner.ended = true;
        self.tell(inner);
    }
}

impl Inner {
    fn text(&self) -> Arc<str> {
        self.steps.get(self.at).map_or_else(|| "".into(), |s| s.text.clone())
    }

    fn step(&mut self, text: Arc<str>, because: String) {
        self.steps.truncate(self.at + 1);
        self.steps.push(Step { text, because });
        if self.steps.len() > STEPS {
            self.steps.remove(0);
        }
        self.at = self.steps.len().saturating_sub(1);
    }
}

fn parsed(text: &str) -> Result<CaseFile, String> {
    parse(text, &Rules::standard().ids()).map_err(|problems| problems.to_string())
}

/// Teeth that can be marked: those of the restored arch that the chart does not call missing.
fn teeth(file: &CaseFile, notation: Notation) -> Vec<Value> {
    crate::case::notation::teeth_of(file.restored)
        .filter(|t| file.chart.as_ref().is_none_or(|c| c.crown_at(*t)))
        .map(|t| json!({ "tooth": t, "shown": t.show(notation) }))
        .collect()
}
