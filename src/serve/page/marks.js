// Marks: points on the cast that go into the case file, and the list of those that are there.

import { byId, made } from "/sheet.js";

const WANTS = {
  occlusal_plane: { least: 3, most: 3, says: "three points on the occlusal plane, one in front and one far back on either side" },
  tooth: { least: 1, most: 1, tooth: true, says: "a point on the crown" },
  crest: { least: 2, most: 400, says: "points along the crest, from the abutment backwards" },
  margin: { least: 3, most: 400, tooth: true, says: "points round the gingival margin, in order" },
  torus: { least: 3, most: 400, says: "points round the torus, in order" },
  torus_at: { least: 1, most: 1, says: "a place on the torus; its outline is found from there" },
  clasp_tip: { least: 1, most: 1, tooth: true, kind: true, says: "the place of the tip on the crown" },
  attachment: { least: 1, most: 1, along: true, says: "a place beside the crest, or drag along it" },
};

export class Marking {
  constructor(sheet) {
    this.sheet = sheet; this.points = []; this.last = null; this.crest = null;
    byId("mark-what").addEventListener("change", () => this.begin());
    byId("mark-back").addEventListener("click", () => { this.points.pop(); this.told(); });
    byId("mark-drop").addEventListener("click", () => { this.points = []; this.told(); });
    byId("along").addEventListener("input", () => this.slid());
    byId("mark-form").addEventListener("submit", (e) => { e.preventDefault(); this.set(); });
    byId("abutment-form").addEventListener("submit", (e) => {
      e.preventDefault();
      const teeth = [...byId("abutment-list").querySelectorAll("input:checked")].map((i) => Number(i.value));
      sheet.mark({ mark: "abutments", teeth: teeth });
    });
  }

  what() { return byId("mark-what").value; }

  begin() {
    const wants = WANTS[this.what()];
    this.points = []; this.last = null; this.crest = null;
    byId("mark-tooth-box").hidden = !(wants && wants.tooth);
    byId("mark-kind-box").hidden = !(wants && wants.kind);
    byId("along-box").hidden = !(wants && wants.along && this.crests().length);
    if (wants && wants.along) {
      // It begins where a mark stands already, else in the middle of the first crest.
      const known = (this.sheet.state.marks || []).find((m) => m.key === "attachment_at");
      const first = this.crests()[0];
      const at = known ? known.points_mm[0] : first && first[Math.floor(first.length / 2)];
      if (at) { this.along(at); }
    }
    this.told();
  }

  crests() { return (this.sheet.cast && this.sheet.cast.crests) || []; }

  /** The place of a crest nearest to a point. */
  along(at) {
    let best = null;
    this.crests().forEach((crest, c) => crest.forEach((p, n) => {
      const far = Math.hypot(p[0] - at[0], p[1] - at[1], p[2] - at[2]);
      if (!best || far < best.far) { best = { far: far, c: c, n: n, p: p }; }
    }));
    if (best) { this.onCrest(best.c, best.n); }
  }

  onCrest(c, n) {
    this.crest = c; this.points = [this.crests()[c][n]];
    byId("along").max = this.crests()[c].length - 1; byId("along").value = n;
    this.told();
  }

  slid() { if (this.crest !== null) { this.onCrest(this.crest, Number(byId("along").value)); } }

  /** Whether a drag that begins here moves the mark along the crest. */
  grabs([x, y]) {
    if (this.what() !== "attachment" || !this.points.length) { return false; }
    const at = this.sheet.view.seen(this.points[0]);
    return Math.hypot(at[0] - x, at[1] - y) < 22;
  }

  dragged([x, y]) {
    let best = null;
    this.crests().forEach((crest, c) => crest.forEach((p, n) => {
      const at = this.sheet.view.seen(p), far = Math.hypot(at[0] - x, at[1] - y);
      if (!best || far < best.far) { best = { far: far, c: c, n: n }; }
    }));
    if (best) { this.onCrest(best.c, best.n); }
  }

  /** A point that was read; whether it belongs to a mark. */
  takes(read) {
    const wants = WANTS[this.what()];
    if (!wants) { return false; }
    if (wants.along) { this.along(read.at_mm); return true; }
    if (wants.most === 1) { this.points = []; }
    if (this.points.length < wants.most) { this.points.push(read.at_mm); }
    this.last = read;
    if (wants.tooth && read.tooth && this.points.length === 1) { byId("mark-tooth").value = read.tooth; }
    this.told();
    return true;
  }

  told() {
    const wants = WANTS[this.what()], many = this.points.length;
    byId("mark-so-far").textContent = !wants ? "" : "Point at " + wants.says + ". " + (many === 1 ? "1 point" : many + " points") + " so far" +
      (this.last && wants.kind && this.last.surface ? ", on the " + this.last.surface + " surface" : "") + ".";
    byId("mark-set").disabled = !wants || many < wants.least;
    byId("mark-back").disabled = byId("mark-drop").disabled = !many;
    this.sheet.redrawn();
  }

  async set() {
    const what = this.what(), wants = WANTS[what], edit = { mark: what };
    if (!wants || this.points.length < wants.least) { return; }
    if (wants.tooth) { edit.tooth = Number(byId("mark-tooth").value); }
    if (wants.most === 1) { edit.point = this.points[0]; } else { edit.points = this.points; }
    if (what === "clasp_tip") {
      if (!this.last || !this.last.surface) { this.sheet.trouble("That place lies on no known crown; point at the crown that the clasp holds."); return; }
      edit.surface = this.last.surface; edit.kind = byId("mark-kind").value;
    }
    if (what === "attachment") {
      // One mark a span: one that stands on the same crest is moved.
      const own = this.crests()[this.crest] || [];
      const known = (this.sheet.state.marks || []).find((m) => m.key === "attachment_at" &&
        own.some((p) => Math.hypot(...p.map((v, k) => v - m.points_mm[0][k])) < 5));
      edit.replaces = known ? known.number : null;
    }
    if (await this.sheet.mark(edit)) { this.points = []; this.last = null; this.told(); }
  }

  show(state) {
    const teeth = state.teeth || [], chosen = byId("mark-tooth").value;
    const all = JSON.stringify([state.marks, teeth]);
    if (all === this.all) { this.abutments(state, teeth); return; }
    this.all = all;
    byId("mark-tooth").replaceChildren(...teeth.map((t) => made("option", t.shown, { value: t.tooth })));
    if (chosen) { byId("mark-tooth").value = chosen; }
    this.abutments(state, teeth);
    byId("mark-list").replaceChildren(...(state.marks || []).map((m) => {
      const li = made("li", m.says + " "), away = made("button", "take away", { type: "button", ariaLabel: "take away: " + m.says });
      away.addEventListener("click", () => this.sheet.mark({ mark: "remove", key: m.key, tooth: m.tooth, number: m.number }));
      li.append(away);
      return li;
    }));
    this.sheet.redrawn();
  }

  abutments(state, teeth) {
    const known = JSON.stringify([teeth, state.abutments]);
    if (known === this.known) { return; }
    this.known = known;
    byId("abutment-list").replaceChildren(...teeth.map((t) => {
      const label = made("label");
      label.append(made("input", null, { type: "checkbox", value: t.tooth, checked: (state.abutments || []).includes(t.tooth) }), " " + t.shown);
      return label;
    }));
  }

  /** The points of the mark that is being made, by number; the attachment by its name. */
  labels() {
    const wants = WANTS[this.what()];
    return !wants ? [] : this.points.map((p, n) => ({ text: wants.along ? "attachment" : String(n + 1), at: p, mark: true }));
  }

  /** Lines and places of the marks, and of the one that is being made. */
  drawing(lines, spots, colour) {
    const marks = (this.sheet.state && this.sheet.state.marks) || [];
    marks.forEach((m) => {
      if (m.points_mm.length > 1 && m.key !== "occlusal_plane") { lines.push({ points: m.points_mm, closed: m.closed, colour: colour }); } else { m.points_mm.forEach((p) => spots.push({ at: p, colour: colour })); }
    });
    const wants = WANTS[this.what()];
    if (wants) {
      const own = [138, 94, 0];
      this.points.forEach((p) => spots.push({ at: p, colour: own }));
      if (this.points.length > 1) { lines.push({ points: this.points, closed: false, colour: own }); }
      if (wants.along) { this.crests().forEach((c) => lines.push({ points: c, colour: own })); }
    }
  }
}
