// The sheet: what the program says of the case, and the cast beside it. Figures and their words come from the program.

import { CastView, readCast } from "/cast.js";
import { Tilting } from "/tilt.js";
import { Marking } from "/marks.js";

export const byId = (id) => document.getElementById(id);

export function made(name, text, more) {
  const element = document.createElement(name);
  if (text !== undefined && text !== null) { element.textContent = text; }
  return Object.assign(element, more || {});
}

/** A table of the program into a table of the page. */
export function cells(table, data) {
  const row = (all, cell) => { const tr = made("tr"); all.forEach((c) => tr.append(made(cell, c))); return tr; };
  const head = made("thead"), body = made("tbody");
  head.append(row(data.head, "th"));
  data.rows.forEach((r) => body.append(row(r, "td")));
  table.replaceChildren(made("caption", data.caption), head, body);
}

/** Findings as a list: the verdict as a word, then what is said. */
export function items(list, findings) {
  list.replaceChildren(...findings.map((f) => item(f)));
}

function item(f, before) {
  const li = made("li"), says = made("div");
  if (before) { says.append(made("del", before), made("br")); }
  says.append(made("span", f.says));
  if (f.settled_by) { says.append(made("p", "Settled by: " + f.settled_by, { className: "detail" })); }
  li.append(made("b", f.verdict, { className: f.attend ? "attend" : "clear" }), says);
  return li;
}

export const fetched = (path, body) => fetch(path, body === undefined ? {} : {
  method: "POST", body: body === null ? "" : JSON.stringify(body), headers: { "content-type": "application/json" },
});

export async function refusal(response) {
  const text = await response.text();
  try { return JSON.parse(text).says || text; } catch (e) { return text; }
}

class Sheet {
  constructor() {
    this.state = null; this.cast = null; this.view = null; this.kept = null; this.edition = null; this.waiting = [];
    this.tilting = new Tilting(this);
    this.marking = new Marking(this);
    for (const deed of ["undo", "redo"]) { byId(deed).addEventListener("click", () => this.deed("/api/" + deed)); }
    byId("save").addEventListener("click", () => this.save(false));
    byId("conflict-over").addEventListener("click", () => this.save(true));
    byId("conflict-theirs").addEventListener("click", () => { byId("conflict").hidden = true; this.deed("/api/reload"); });
    byId("conflict-leave").addEventListener("click", () => { byId("conflict").hidden = true; byId("save").focus(); });
    byId("another").addEventListener("click", async () => {
      const response = await fetched("/api/address", null);
      if (response.ok) { this.trouble("Open once, in another browser of this machine: " + (await response.json()).address); }
    });
    byId("place-form").addEventListener("submit", (e) => { e.preventDefault(); this.read("at=" + encodeURIComponent(byId("place").value)); });
    document.addEventListener("keydown", (e) => {
      const typing = e.target instanceof HTMLInputElement && e.target.type !== "range" && e.target.type !== "checkbox";
      if ((e.ctrlKey || e.metaKey) && !e.altKey && !typing) {
        const key = e.key.toLowerCase();
        const deed = key === "z" ? (e.shiftKey ? "redo" : "undo") : key === "y" ? "redo" : null;
        if (deed) { e.preventDefault(); this.deed("/api/" + deed); }
        if (key === "s") { e.preventDefault(); this.save(false); }
      }
    });
    byId("show-found").addEventListener("change", () => this.redrawn());
    byId("show-opposing").addEventListener("change", () => this.opposing());
    this.canvas();
    this.follow();
  }

  trouble(text) { byId("trouble").textContent = text || ""; }

  /** Follows the program's news for as long as the page is open. */
  async follow() {
    let after = "";
    for (;;) {
      try {
        const response = await fetched("/api/state" + after);
        if (!response.ok) { this.trouble(await refusal(response)); return; }
        const state = await response.json();
        after = "?after=" + state.revision;
        await this.show(state);
      } catch (e) {
        byId("doing").textContent = "The program does not answer; it may have ended. Trying again.";
        await new Promise((done) => setTimeout(done, 2000));
        after = "";
      }
    }
  }

  async show(state) {
    if (this.state && state.revision < this.state.revision) { return; }
    this.state = state;
    document.title = "Work sheet of " + (state.id || "a case");
    byId("title").textContent = "Work sheet of " + (state.id || "a case") + ": " + (state.restored_arch || "arch") + " to be restored";
    const busy = state.doing || (!state.current && !state.refused ? "waiting to be measured" : "");
    byId("doing").textContent = busy ? "Now " + busy + (state.edition ? ". What is shown below belongs to the marks before." : ".") : "";
    document.body.dataset.busy = busy ? "yes" : "no";
    if (state.refused) { this.trouble("This case cannot be worked through:\n" + state.refused); } else if (byId("trouble").textContent.startsWith("This case cannot")) { this.trouble(""); }
    byId("saved").textContent = (state.unsaved ? "There are marks that are not in " : "All is saved in ") + (state.file || "the case file") + "." + (state.remark ? " " + state.remark : "");
    const history = (id, word, what) => { byId(id).disabled = !what; byId(id).textContent = word; byId(id).title = what ? word + ": " + what : ""; };
    history("undo", "Undo", state.undo); history("redo", "Redo", state.redo);
    this.marking.show(state);
    // What is told anew while something is measured is the same until the measuring has ended.
    if (state.sections && state.edition !== this.told) { this.told = state.edition; this.findings(state); }
    if (state.edition && state.edition !== this.edition) {
      this.edition = state.edition;
      await this.load();
      document.body.dataset.edition = state.edition;
    }
  }

  findings(state) {
    const all = state.sections.flatMap((s) => s.findings), attend = all.filter((f) => f.attend).length;
    byId("lead").textContent = (attend ? attend + " of " + all.length + " findings want attention" : "Nothing that was asked for is short") +
      "; " + state.questions.length + " questions are open." + (state.path ? " " + state.path.says : "");
    byId("findings-list").replaceChildren(...state.sections.map((s) => {
      const section = made("section"), list = made("ul", null, { className: "items" });
      items(list, s.findings);
      section.append(made("h3", s.title), list);
      return section;
    }));
    if (state.changes) {
      const c = state.changes;
      byId("changes-why").textContent = "After: " + c.because + ". " + (c.list.length ? "" : "No finding changed.");
      byId("changes-list").replaceChildren(...c.list.map((one) => {
        if (one.change === "gone") { return item({ verdict: "gone", says: "No longer said: " + one.before.says }); }
        return one.change === "new" ? item(one.now) : item(one.now, one.before.verdict + ": " + one.before.says);
      }));
    }
  }

  /** The cast of a new analysis, then the tilt that was shown. */
  async load() {
    const response = await fetched("/api/cast");
    if (!response.ok) { this.trouble(await refusal(response)); return; }
    const cast = readCast(await response.arrayBuffer());
    const same = this.cast && this.cast.vertices === cast.vertices && this.cast.triangles === cast.triangles;
    const camera = this.view && this.view.camera;
    this.cast = cast;
    if (!same || !this.view) {
      this.view = new CastView(byId("cast"), cast, camera);
      if (!this.view.able) { byId("cast-says").textContent = "This browser draws nothing in space (no WebGL 2); all figures can be read all the same, and places given by their coordinates."; }
      this.view.listeners.push(() => this.labels());
      this.scale();
    } else { this.view.cast = Object.assign(this.view.cast, { teeth: cast.teeth, crests: cast.crests, frame: cast.frame, found: cast.found }); }
    if (this.view.able) { byId("cast-says").textContent = cast.scan_triangles + " triangles scanned, " + cast.triangles + " drawn; every figure is read on the scan itself."; }
    this.tilting.map();
    this.tilting.ask(this.tilting.tilt);
    if (byId("show-opposing").checked) { await this.opposing(); }
  }

  /** The opposing arch in front of the cast, where it is asked for and was scanned. */
  async opposing() {
    if (!this.view) { return; }
    let mesh = null, says = "";
    if (byId("show-opposing").checked) {
      const response = await fetched("/api/opposing");
      if (response.ok) { mesh = readCast(await response.arrayBuffer()); } else { says = await refusal(response); }
    }
    byId("opposing-says").textContent = says;
    // It may have been put away while it was fetched.
    this.view.veiled(byId("show-opposing").checked ? mesh : null);
  }

  /** When the picture that was asked for has been drawn: what waits for the next frame runs in the order of asking. */
  drawn() { return new Promise((done) => requestAnimationFrame(() => { if (this.view && this.view.able) { this.view.gl.finish(); } done(); })); }

  /** Lines and places on the cast. */
  redrawn() {
    if (!this.view) { return; }
    const now = this.tilting.now, lines = [], spots = [];
    const ink = [30, 30, 34], mark = [0, 34, 78], pale = [122, 116, 104];
    if (byId("show-found").checked) { (this.cast.found || []).forEach((l) => lines.push({ points: l.points_mm, closed: l.closed, colour: pale })); }
    if (now) {
      now.survey_line_mm.forEach((l) => lines.push({ points: l, colour: ink }));
      now.gauges_mm.forEach((at) => spots.push({ at: at, colour: ink }));
    }
    this.marking.drawing(lines, spots, mark);
    if (this.pointed) { spots.push({ at: this.pointed, colour: [138, 94, 0] }); }
    if (this.before) { spots.push({ at: this.before, colour: [138, 94, 0] }); lines.push({ points: [this.before, this.pointed], colour: [138, 94, 0] }); }
    this.view.drawn(lines, spots);
  }

  labels() {
    const box = byId("labels"), names = new Map((this.state.teeth || []).map((t) => [t.tooth, t.shown]));
    const all = this.cast.teeth.map((t) => ({ text: names.get(t.tooth) || t.tooth, at: t.at_mm })).concat(this.marking.labels());
    while (box.children.length < all.length) { box.append(made("span")); }
    [...box.children].forEach((span, n) => {
      const one = all[n];
      span.hidden = !one;
      if (!one) { return; }
      const [x, y] = this.view.seen(one.at);
      span.textContent = one.text;
      span.className = one.mark ? "mark" : "";
      span.style.transform = "translate(" + x.toFixed(0) + "px," + y.toFixed(0) + "px) translate(-50%,-50%)";
    });
  }

  scale() {
    const c = this.cast, bar = made("canvas", null, { width: 128, height: 12 }), pen = bar.getContext("2d");
    c.cividis.forEach((rgb, n) => { pen.fillStyle = "rgb(" + rgb + ")"; pen.fillRect(Math.floor(n * 128 / c.cividis.length), 0, 5, 12); });
    byId("scale-bar").replaceChildren(made("span", "0"), bar, made("span", c.most_mm + " mm and more"));
    byId("scale-free").style.background = "rgb(" + c.plain + ")";
    byId("scale-none").style.background = "rgb(" + c.not_measured + ")";
  }

  /** The view beside, with the same camera. */
  keptView(kept) {
    byId("kept-view").hidden = !kept;
    if (!kept || !this.view) { return null; }
    if (!this.kept || this.kept.cast !== this.cast) {
      this.kept = new CastView(byId("kept-cast"), this.cast, this.view.camera);
      this.view.listeners.push(() => { if (!byId("kept-view").hidden) { this.kept.draw(); } });
    }
    return this.kept;
  }

  /** Reads a point: gauge, section, clearance, and the distance from the point before. */
  async read(query) {
    const tilt = this.tilting.query();
    const response = await fetched("/api/point?" + query + (tilt ? "&" + tilt : ""));
    if (!response.ok) { byId("point-out").replaceChildren(made("p", await refusal(response))); return null; }
    const read = await response.json();
    if (this.marking.takes(read)) { this.redrawn(); return read; }
    this.before = this.pointed; this.pointed = read.at_mm;
    const out = [made("p", read.place + ", at " + read.at + " mm")];
    const list = made("ul");
    [...(read.gauge_says || ["gauge: not read, there is no path"]), ...(read.clearance_says || ["clearance: there is no opposing arch to measure to"])].forEach((l) => list.append(made("li", l)));
    byId("point-out").replaceChildren(...out, list);
    byId("section").replaceChildren();
    if (read.section) {
      const svg = document.importNode(new DOMParser().parseFromString(read.section, "image/svg+xml").documentElement, true);
      svg.setAttribute("aria-label", read.section_says);
      byId("section").replaceChildren(svg);
    }
    byId("apart-out").replaceChildren();
    if (this.before) {
      const both = "from=" + this.before + "&to=" + this.pointed + (tilt ? "&" + tilt : "");
      const apart = await fetched("/api/distance?" + both);
      if (apart.ok) { byId("apart-out").replaceChildren(made("p", "From the point before: " + (await apart.json()).says.join("; "))); }
    }
    this.redrawn();
    return read;
  }

  /** Pointing, turning and the keys of the picture. */
  canvas() {
    const canvas = byId("cast"), cross = byId("cross");
    let held = null, at = null;
    const place = (e) => { const box = canvas.getBoundingClientRect(); return [e.clientX - box.left, e.clientY - box.top]; };
    const aim = (x, y) => { const ray = this.view.ray(x, y); return this.read("from=" + ray.from + "&toward=" + ray.toward); };
    canvas.addEventListener("pointerdown", (e) => {
      if (!this.view) { return; }
      canvas.focus({ preventScroll: true });
      canvas.setPointerCapture(e.pointerId);
      held = { last: place(e), moved: 0, drag: this.marking.grabs(place(e)) };
    });
    canvas.addEventListener("pointermove", (e) => {
      if (!held) { return; }
      const [x, y] = place(e), dx = x - held.last[0], dy = y - held.last[1];
      held.moved += Math.abs(dx) + Math.abs(dy); held.last = [x, y];
      if (held.drag) { this.marking.dragged([x, y]); return; }
      if (e.shiftKey || e.buttons === 4 || e.buttons === 2) { this.view.shift(dx, dy); } else { this.view.turn(dx * 0.008, -dy * 0.008); }
    });
    canvas.addEventListener("pointerup", (e) => {
      const was = held; held = null;
      if (was && !was.drag && was.moved < 5) { aim(...place(e)); }
    });
    canvas.addEventListener("contextmenu", (e) => e.preventDefault());
    canvas.addEventListener("wheel", (e) => { if (this.view) { e.preventDefault(); this.view.nearer(Math.exp(-e.deltaY * 0.0012)); } }, { passive: false });
    const shown = () => { cross.hidden = !at; if (at) { cross.style.left = at[0] + "px"; cross.style.top = at[1] + "px"; } };
    canvas.addEventListener("keydown", (e) => {
      if (!this.view || this.tilting.key(e)) { return; }
      const way = { ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] }[e.key];
      if (way && e.ctrlKey) {
        at = at || [canvas.clientWidth / 2, canvas.clientHeight / 2];
        const fit = (v, most) => Math.min(most, Math.max(0, v));
        at = [fit(at[0] + way[0] * 6, canvas.clientWidth), fit(at[1] + way[1] * 6, canvas.clientHeight)];
        shown();
      } else if (way && e.shiftKey) { this.view.turn(-way[0] * 0.12, way[1] * 0.12); } else if (e.key === "Enter") {
        at = at || [canvas.clientWidth / 2, canvas.clientHeight / 2];
        shown(); aim(...at);
      } else if (e.key === "+" || e.key === "=") { this.view.nearer(1.15); } else if (e.key === "-") { this.view.nearer(1 / 1.15); } else { return; }
      e.preventDefault();
    });
    document.querySelectorAll("button[data-view]").forEach((b) => b.addEventListener("click", () => {
      if (!this.view) { return; }
      const f = this.cast.frame, now = this.tilting.now;
      const up = f ? f.occlusal : [0, 0, 1], front = f ? f.anterior : [0, -1, 0], left = f ? f.left : [1, 0, 0];
      const mix = (a, b2, s) => a.map((v, k) => v + b2[k] * s), minus = (a) => a.map((v) => -v);
      const views = { occlusal: [up, front], path: [now ? now.withdrawal : up, front], front: [mix(front, up, 0.5), up], left: [mix(left, up, 0.4), up],
        right: [mix(minus(left), up, 0.4), up], behind: [mix(minus(front), up, 0.7), up] };
      this.view.camera.look(...views[b.dataset.view]);
      this.view.draw();
    }));
  }

  /** A mark into the case; whether it was taken. */
  async mark(edit) { return this.deed("/api/mark", edit); }

  async deed(path, body) {
    const response = await fetched(path, body === undefined ? null : body);
    if (!response.ok) { this.trouble(await refusal(response)); return false; }
    this.trouble("");
    await this.show(await response.json());
    return true;
  }

  async save(over) {
    const response = await fetched("/api/save", { over: over });
    byId("conflict").hidden = response.status !== 409;
    if (response.status === 409) {
      const question = await response.json();
      byId("conflict-says").textContent = question.says;
      byId("conflict-text").textContent = question.on_disk || "There is no such file any more.";
      byId("conflict-over").focus();
      return;
    }
    if (!response.ok) { this.trouble(await refusal(response)); return; }
    this.trouble("");
    await this.show(await response.json());
  }
}

addEventListener("DOMContentLoaded", () => { new Sheet(); });
