//! Tooth numbers of the file in its notation; the chart and the design, and whether their statements agree.

use super::problem::Sheet;
use super::raw::{RawChart, RawClasp, RawDesign, RawRest, Teeth};
use super::read::{Given, Named, Placed, RawTooth};
use crate::case::{Arch, Chart, Clasp, Design, Notation, Rest, RestPlace, Tooth};

/// How tooth numbers are written, and the arch that gets the denture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Numbering {
    pub(super) notation: Notation,
    pub(super) restored: Option<Arch>,
}

impl Numbering {
    pub(super) fn show(self, tooth: Tooth) -> String {
        tooth.show(self.notation)
    }

    fn tooth(self, place: &Placed<RawTooth>, sheet: &mut Sheet) -> Option<Tooth> {
        let read = match &place.value {
            RawTooth::Number(number) => Tooth::of_number(*number, self.notation),
            RawTooth::Word(word) => Tooth::of_word(word, self.notation),
        };
        read.map_err(|error| sheet.at(place, error.says, error.mend)).ok()
    }

    /// A tooth that has to stand in the restored arch.
    pub(super) fn restored_tooth(self, place: &Placed<RawTooth>, sheet: &mut Sheet) -> Option<Tooth> {
        let tooth = self.tooth(place, sheet)?;
        match self.restored {
            Some(arch) if arch != tooth.arch() => {
                sheet.at(
                    place,
                    format!(
                        "{} stands in the {}, but the restored arch is the {}",
                        self.show(tooth),
                        tooth.arch().word(),
                        arch.word()
                    ),
                    "name a tooth of the restored arch, or check restored_arch and chart.notation",
                );
                None
            }
            _ => Some(tooth),
        }
    }

    /// The teeth of a list, each named once.
    fn list(self, teeth: &Given<Teeth>, sheet: &mut Sheet) -> Vec<Placed<Tooth>> {
        let mut read: Vec<Placed<Tooth>> = Vec::new();
        for place in teeth.value().into_iter().flatten() {
            let Some(tooth) = self.tooth(place, sheet) else { continue };
            if read.iter().any(|t| t.value == tooth) {
                let says = format!("{} is named twice in this list", self.show(tooth));
                sheet.at(place, says, "name it once, or correct the number");
            } else {
                read.push(place.with(tooth));
            }
        }
        read
    }

    /// The rows of a table whose keys are teeth of the restored arch.
    pub(super) fn by_tooth<'r, T>(
        self,
        rows: &'r Given<Named<T>>,
        sheet: &mut Sheet,
    ) -> Vec<(Placed<Tooth>, &'r Placed<T>)> {
        let mut read: Vec<(Placed<Tooth>, &Placed<T>)> = Vec::new();
        for (name, value) in rows.value().map_or(&[][..], |named| &named.0) {
            let place = name.with(RawTooth::Word(name.value.clone()));
            let Some(tooth) = self.restored_tooth(&place, sheet) else { continue };
            if read.iter().any(|(t, _)| t.value == tooth) {
                let says = format!("{} is given twice in this table", self.show(tooth));
                sheet.at(name, says, "keep one of the two");
            } else {
                read.push((name.with(tooth), value));
            }
        }
        read
    }

    /// Puts a tooth on the sheet that the chart says is not there.
    pub(super) fn must_stand(
        self,
        tooth: &Placed<Tooth>,
        chart: Option<&Chart>,
        what: &str,
        sheet: &mut Sheet,
    ) {
        let Some(state) = chart.and_then(|c| absence(c, tooth.value)) else { return };
        let number = self.show(tooth.value);
        sheet.at(
            tooth,
            format!("{number} is {state} in the chart, so {what}"),
            format!("take {number} out here or in the chart"),
        );
    }
}

/// Why no crown stands at a place of the arch when the denture is made; `None` where one does.
fn absence(chart: &Chart, tooth: Tooth) -> Option<&'static str> {
    if chart.crown_at(tooth) {
        None
    } else if chart.no_space.contains(&tooth) {
        Some("a closed gap")
    } else if chart.extractions.contains(&tooth) {
        Some("to be extracted")
    } else if chart.missing.contains(&tooth) {
        Some("missing")
    } else {
        Some("to be replaced")
    }
}

/// The lists of a chart with their places.
struct Lists {
    missing: Vec<Placed<Tooth>>,
    replaced: Vec<Placed<Tooth>>,
    not_replaced: Vec<Placed<Tooth>>,
    extractions: Vec<Placed<Tooth>>,
    no_space: Vec<Placed<Tooth>>,
    pontics: Vec<Placed<Tooth>>,
    implants: Vec<Placed<Tooth>>,
}

/// Reads the chart; `None` where the file names no teeth in it.
pub(super) fn chart(raw: &Given<RawChart>, numbering: Numbering, sheet: &mut Sheet) -> Option<Chart> {
    let place = raw.get()?;
    let c = &place.value;
    let others = [&c.replaced, &c.not_replaced, &c.extractions, &c.no_space, &c.pontics, &c.implants];
    if c.missing.get().is_none() {
        // A list that could not be read has been put on the sheet already.
        if others.iter().any(|list| list.get().is_some()) && sheet.is_clean() {
            sheet.at(
                place,
                "the chart says what becomes of teeth, but not which are missing",
                "add missing = [..], empty where no tooth is missing",
            );
        }
        if others.iter().all(|list| list.get().is_none()) {
            return None;
        }
    }
    let lists = Lists {
        missing: numbering.list(&c.missing, sheet),
        replaced: numbering.list(&c.replaced, sheet),
        not_replaced: numbering.list(&c.not_replaced, sheet),
        extractions: numbering.list(&c.extractions, sheet),
        no_space: numbering.list(&c.no_space, sheet),
        pontics: numbering.list(&c.pontics, sheet),
        implants: numbering.list(&c.implants, sheet),
    };
    lists.agree(numbering, sheet);
    other_arch(c, &lists, numbering, sheet);
    let bare = |list: Vec<Placed<Tooth>>| list.into_iter().map(|t| t.value).collect();
    Some(Chart {
        missing: bare(lists.missing),
        replaced: bare(lists.replaced),
        not_replaced: bare(lists.not_replaced),
        extractions: bare(lists.extractions),
        no_space: bare(lists.no_space),
        pontics: bare(lists.pontics),
        implants: bare(lists.implants),
    })
}

/// A chart may tell of both arches, but not of the other arch alone.
fn other_arch(raw: &RawChart, lists: &Lists, numbering: Numbering, sheet: &mut Sheet) {
    let Some(restored) = numbering.restored else { return };
    let all = [&lists.missing, &lists.extractions, &lists.replaced, &lists.not_replaced];
    let mut arches = all.into_iter().flatten().map(|t| t.value.arch()).peekable();
    if arches.peek().is_none() || arches.any(|arch| arch == restored) {
        return;
    }
    let Some(place) = raw.missing.get() else { return };
    sheet.at(
        place,
        format!(
            "the chart names teeth of the {} alone, but the restored arch is the {}",
            restored.opposing().word(),
            restored.word()
        ),
        "check restored_arch and chart.notation, or add the missing teeth of the restored arch",
    );
}

impl Lists {
    fn agree(&self, n: Numbering, sheet: &mut Sheet) {
        let has = |list: &[Placed<Tooth>], tooth: &Placed<Tooth>| list.iter().any(|t| t.value == tooth.value);
        let mut clash = |tooth: &Placed<Tooth>, says: &str| {
            let number = n.show(tooth.value);
            sheet.at(tooth, format!("{number} {says}"), format!("keep {number} in one of the two lists"));
        };
        for t in self.extractions.iter().filter(|t| has(&self.missing, t)) {
            clash(t, "cannot be extracted, because it is missing");
        }
        for t in &self.replaced {
            if has(&self.not_replaced, t) {
                clash(t, "is both replaced and not_replaced");
            }
            for (list, says) in [
                (&self.no_space, "is replaced, but its gap has closed (no_space)"),
                (&self.pontics, "is replaced, but a pontic stands there already (pontics)"),
                (&self.implants, "is replaced, but an implant crown stands there already (implants)"),
            ] {
                if has(list, t) {
                    clash(t, says);
                }
            }
        }
        for (a, b, says) in [
            (&self.pontics, &self.no_space, "is a pontic, but its gap has closed (no_space)"),
            (&self.implants, &self.no_space, "is an implant crown, but its gap has closed (no_space)"),
            (&self.implants, &self.pontics, "is both a pontic and an implant crown"),
        ] {
            for t in a.iter().filter(|t| has(b, t)) {
                clash(t, says);
            }
        }
        self.only_missing_are_replaced(n, sheet);
    }

    /// Third molars may be named without being charted as missing.
    fn only_missing_are_replaced(&self, n: Numbering, sheet: &mut Sheet) {
        for (list, what) in [(&self.replaced, "replaced"), (&self.not_replaced, "not_replaced")] {
            for t in list.iter().filter(|t| t.value.place() < 8) {
                let gone = self.missing.iter().chain(&self.extractions).chain(&self.no_space);
                let gone = gone.chain(&self.pontics).chain(&self.implants);
                if !gone.into_iter().any(|g| g.value == t.value) {
                    let number = n.show(t.value);
                    sheet.at(
                        t,
                        format!("{number} is named under {what}, but it is not missing"),
                        format!("add {number} to missing or extractions, or take it out here"),
                    );
                }
            }
        }
    }
}

/// Reads `[design]`.
pub(super) fn design(
    raw: &Given<RawDesign>,
    chart: Option<&Chart>,
    numbering: Numbering,
    sheet: &mut Sheet,
) -> Design {
    let Some(raw) = raw.value() else { return Design::default() };
    let mut design = Design { request: raw.request.value().map(|w| w.0), ..Design::default() };
    for place in raw.abutments.value().into_iter().flatten() {
        let Some(tooth) = numbering.restored_tooth(place, sheet) else { continue };
        if design.abutments.contains(&tooth) {
            let says = format!("{} is named twice among the abutments", numbering.show(tooth));
            sheet.at(place, says, "name it once, or correct the number");
            continue;
        }
        numbering.must_stand(&place.with(tooth), chart, "it cannot be an abutment", sheet);
        design.abutments.push(tooth);
    }
    for place in raw.rests.value().into_iter().flatten() {
        let Some(rest) = rest(place, chart, numbering, sheet) else { continue };
        if design.rests.contains(&rest) {
            let says = format!("this rest on {} is given twice", numbering.show(rest.tooth));
            sheet.at(place, says, "keep one of the two");
        } else {
            design.rests.push(rest);
        }
    }
    for place in raw.clasps.value().into_iter().flatten() {
        let Some(clasp) = clasp(place, chart, numbering, sheet) else { continue };
        if design
            .clasps
            .iter()
            .any(|c| (c.tooth, c.surface, c.kind) == (clasp.tooth, clasp.surface, clasp.kind))
        {
            let says = format!("this clasp on {} is given twice", numbering.show(clasp.tooth));
            sheet.at(place, says, "keep one of the two");
        } else {
            design.clasps.push(clasp);
        }
    }
    design
}

/// A member that has to be there.
pub(super) fn required<'g, T, U>(
    member: &'g Given<T>,
    table: &Placed<U>,
    key: &str,
    mend: &str,
    sheet: &mut Sheet,
) -> Option<&'g Placed<T>> {
    if member.get().is_none() && !sheet.names(&super::read::member(&table.key, key)) {
        sheet.at(table, format!("`{key}` is missing"), mend);
    }
    member.get()
}

fn rest(
    place: &Placed<RawRest>,
    chart: Option<&Chart>,
    numbering: Numbering,
    sheet: &mut Sheet,
) -> Option<Rest> {
    let raw = &place.value;
    let tooth = required(&raw.tooth, place, "tooth", "say which tooth carries the rest", sheet);
    let words = "add place = \"mesial\", \"distal\", \"cingulum\" or \"incisal\"";
    let on = required(&raw.place, place, "place", words, sheet).map(|w| w.value.0);
    let at = tooth?;
    let tooth = numbering.restored_tooth(at, sheet)?;
    numbering.must_stand(&at.with(tooth), chart, "it cannot carry a rest", sheet);
    let on = on?;
    if !tooth.is_front() && matches!(on, RestPlace::Cingulum | RestPlace::Incisal) {
        let kind = if tooth.is_molar() { "molar" } else { "premolar" };
        let number = numbering.show(tooth);
        let says = format!("{number} is a {kind}, which has neither cingulum nor incisal edge");
        let word = raw.place.get().map_or(place.with(()), |p| p.with(()));
        sheet.at(&word, says, "write \"mesial\" or \"distal\"");
        return None;
    }
    Some(Rest { tooth, place: on })
}

fn clasp(
    place: &Placed<RawClasp>,
    chart: Option<&Chart>,
    numbering: Numbering,
    sheet: &mut Sheet,
) -> Option<Clasp> {
    let raw = &place.value;
    let tooth = required(&raw.tooth, place, "tooth", "say which tooth carries the clasp", sheet);
    let surfaces = "add surface = \"buccal\", \"lingual\", \"mesial\" or \"distal\"";
    let surface = required(&raw.surface, place, "surface", surfaces, sheet).map(|w| w.value.0);
    let kinds = "add kind = \"cast_circumferential\", \"bar\" or \"wrought_wire\"";
    let kind = required(&raw.kind, place, "kind", kinds, sheet).map(|w| w.value.0);
    let arm_mm = raw.arm_mm.get().and_then(|arm| super::validate::size(arm, sheet));
    let at = tooth?;
    let tooth = numbering.restored_tooth(at, sheet)?;
    numbering.must_stand(&at.with(tooth), chart, "it cannot carry a clasp", sheet);
    Some(Clasp { tooth, surface: surface?, kind: kind?, alloy: raw.alloy.value().map(|w| w.0), arm_mm })
}
