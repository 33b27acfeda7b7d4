// Tilting: two sliders, the arrow keys, the map. One question is under way at a time, and the last one asked is answered.

import { opened } from "/cast.js";
import { byId, cells, made, items, fetched, refusal } from "/sheet.js";

const STEP = 0.5, MOST = 60;

export class Tilting {
  constructor(sheet) {
    this.sheet = sheet;
    this.now = null;       // what was answered last
    this.kept = null;
    this.tilt = null;      // null: the path of the case
    this.wanted = false; this.busy = false;
    for (const key of ["anterior", "left"]) {
      byId(key).addEventListener("input", () => { byId(key + "-deg").value = byId(key).value; this.fromInputs(); });
      byId(key + "-deg").addEventListener("input", () => { byId(key).value = byId(key + "-deg").value; this.fromInputs(); });
    }
    byId("found").addEventListener("click", () => this.ask(null));
    byId("keep").addEventListener("click", () => { this.kept = this.now; this.showKept(); });
    byId("putaway").addEventListener("click", () => { this.kept = null; this.showKept(); });
    byId("take").addEventListener("click", () => {
      const t = this.shown();
      if (t) { sheet.mark({ mark: "path", anterior_deg: t.anterior, left_deg: t.left }).then((fine) => { if (fine) { this.tilt = null; } }); }
    });
    byId("search").addEventListener("click", () => sheet.mark({ mark: "path_searched" }).then((fine) => { if (fine) { this.tilt = null; } }));
    const map = byId("map");
    map.addEventListener("keydown", (e) => this.key(e));
    map.addEventListener("click", (e) => this.onMap(e));
  }

  /** An arrow key without others; whether it was one. */
  key(e) {
    const way = { ArrowUp: [STEP, 0], ArrowDown: [-STEP, 0], ArrowLeft: [0, 1], ArrowRight: [0, -1] }[e.key];
    if (!way || e.shiftKey || e.ctrlKey || e.altKey || e.metaKey) { return false; }
    e.preventDefault();
    // As on the map and in the view from above: in a mandible the patient's left lies on the left.
    const hand = this.sheet.cast && this.sheet.cast.upper ? -1 : 1;
    const t = this.shown() || { anterior: 0, left: 0 };
    this.ask({ anterior: t.anterior + way[0], left: t.left + way[1] * STEP * hand });
    return true;
  }

  onMap(e) {
    const svg = byId("map").querySelector("svg"), ground = this.ground;
    if (!svg || !ground) { return; }
    const box = svg.getBoundingClientRect(), scale = ground.size_px[0] / box.width;
    const x = ((e.clientX - box.left) * scale - ground.middle_px[0]) / ground.px_per_deg;
    const y = (ground.middle_px[1] - (e.clientY - box.top) * scale) / ground.px_per_deg;
    const step = (v) => Math.round(v / STEP) * STEP;
    if (Math.hypot(x, y) <= ground.reach_deg + 1) { this.ask({ anterior: step(y), left: step(x * ground.hand) }); }
  }

  fromInputs() {
    const read = (key) => Number.parseFloat(byId(key + "-deg").value);
    const t = { anterior: read("anterior"), left: read("left") };
    if (Number.isFinite(t.anterior) && Number.isFinite(t.left)) { this.ask(t, true); }
  }

  /** The tilt that is shown. */
  shown() {
    const t = this.tilt || (this.now && this.now.tilt_deg);
    return t ? { anterior: t.anterior, left: t.left } : null;
  }

  query() {
    if (!this.tilt) { return ""; }
    return "anterior=" + this.tilt.anterior + "&left=" + this.tilt.left;
  }

  ask(tilt, typed) {
    const held = (v) => Math.round(Math.min(MOST, Math.max(-MOST, v)) * 100) / 100;
    this.tilt = tilt && { anterior: held(tilt.anterior), left: held(tilt.left) };
    if (this.tilt && !typed) { this.inputs(this.tilt); }
    if (!this.wanted) { this.since = performance.now(); }
    this.wanted = true;
    if (!this.busy) { this.run(); }
  }

  inputs(t) {
    for (const key of ["anterior", "left"]) { byId(key).value = t[key]; byId(key + "-deg").value = Number(t[key].toFixed(2)); }
  }

  async run() {
    this.busy = true;
    while (this.wanted) {
      this.wanted = false;
      const since = this.since, tilt = this.tilt;
      try {
        const response = await fetched("/api/tilt.bin?" + this.query());
        if (!response.ok) { byId("tilt-trouble").textContent = await refusal(response); continue; }
        const buffer = await response.arrayBuffer();
        const { head, at } = opened(buffer);
        // Behind the depths stands, for each, whether it was measured.
        const known = new Uint8Array(buffer, at + 4 * head.drawn_vertices, head.drawn_vertices);
        head.depths = new Float32Array(buffer, at, head.drawn_vertices).map((mm, v) => known[v] ? mm : NaN);
        this.now = head; this.now.found = !tilt;
        byId("tilt-trouble").textContent = "";
        this.show();
        const answered = performance.now() - since;
        await this.sheet.drawn();
        const times = byId("cast").dataset;
        times.answered = answered.toFixed(0); times.drawn = (performance.now() - since).toFixed(0); times.tilts = Number(times.tilts || 0) + 1;
      } catch (e) { byId("tilt-trouble").textContent = "The program does not answer: " + e.message; }
    }
    this.busy = false;
  }

  show() {
    const now = this.now;
    if (now.found && now.tilt_deg) { this.inputs(now.tilt_deg); }
    byId("tilt-words").textContent = (now.found ? "The path of the case. " : "A tilt that is tried; the case keeps its path. ") + now.says;
    cells(byId("table"), now.table);
    items(byId("tilt-findings"), now.findings.filter((f) => f.attend));
    this.markOnMap();
    this.compare();
    if (this.sheet.view) { this.sheet.view.depths(now.depths); this.sheet.redrawn(); }
  }

  showKept() {
    const view = this.sheet.keptView(this.kept);
    byId("kept-view").hidden = !this.kept;
    byId("views").classList.toggle("two", !!this.kept);
    byId("compared").hidden = !this.kept;
    if (this.kept) {
      byId("kept-says").textContent = "Kept beside: " + (this.kept.words || this.kept.says);
      if (view) { view.depths(this.kept.depths); }
    }
    this.compare();
  }

  compare() {
    if (!this.kept || !this.now) { return; }
    const name = (t) => (t.words || "this direction") + (t.found ? " (path of the case)" : "");
    const before = new Map(this.kept.surfaces.map((s) => [s.place, s]));
    const rows = this.now.surfaces.map((s) => {
      const b = before.get(s.place) || { deepest: "-", gauges: "-" };
      return [s.place, b.deepest, b.gauges, s.deepest, s.gauges];
    });
    cells(byId("compared-table"), { caption: "Deepest undercut above the margin, and the gauges reached", rows: rows,
      head: ["surface", "kept: " + name(this.kept), "gauges", "now: " + name(this.now), "gauges"] });
  }

  async map() {
    const box = byId("map"), response = await fetched("/api/tilt_map");
    const value = response.ok ? await response.json() : null;
    byId("map-box").hidden = !value;
    this.ground = value && value.ground;
    if (!value) { box.replaceChildren(); return; }
    const drawing = new DOMParser().parseFromString(value.svg, "image/svg+xml").documentElement;
    const svg = document.importNode(drawing, true);
    this.here = [document.createElementNS(svg.namespaceURI, "circle"), document.createElementNS(svg.namespaceURI, "circle")];
    this.here.forEach((c, n) => {
      c.setAttribute("r", "9"); c.setAttribute("fill", "none");
      c.setAttribute("stroke", n ? "#1e1e22" : "#fff"); c.setAttribute("stroke-width", n ? "2" : "5");
      svg.appendChild(c);
    });
    box.replaceChildren(svg);
    this.markOnMap();
  }

  markOnMap() {
    const t = this.shown(), g = this.ground;
    if (!t || !g || !this.here) { return; }
    const far = Math.hypot(t.anterior, t.left), pull = far > g.reach_deg ? g.reach_deg / far : 1;
    this.here.forEach((c) => {
      c.setAttribute("cx", g.middle_px[0] + t.left * g.hand * g.px_per_deg * pull);
      c.setAttribute("cy", g.middle_px[1] - t.anterior * g.px_per_deg * pull);
    });
  }
}
