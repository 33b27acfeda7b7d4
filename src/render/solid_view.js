"use strict";
(function () {
  const box = document.getElementById("space-view");
  const source = document.getElementById("space-data");
  if (!box || !source) { return; }
  const section = document.getElementById("space");
  const probe = document.createElement("canvas");
  const able = !!(window.WebGLRenderingContext && (probe.getContext("webgl2") || probe.getContext("webgl")));
  if (!able || typeof Plotly === "undefined") { section.classList.add("flat"); return; }
  const data = JSON.parse(source.textContent);
  const words = data.words;
  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const floats = (text) => new Float32Array(bytes(text).buffer);
  const corners = (text) => new Uint16Array(bytes(text).buffer);
  const shape = (m) => {
    const p = floats(m.places), f = corners(m.faces), n = p.length / 3, t = f.length / 3;
    const s = { x: new Float32Array(n), y: new Float32Array(n), z: new Float32Array(n),
      i: new Uint32Array(t), j: new Uint32Array(t), k: new Uint32Array(t) };
    for (let v = 0; v < n; v++) { s.x[v] = p[3 * v]; s.y[v] = p[3 * v + 1]; s.z[v] = p[3 * v + 2]; }
    for (let q = 0; q < t; q++) { s.i[q] = f[3 * q]; s.j[q] = f[3 * q + 1]; s.k[q] = f[3 * q + 2]; }
    return s;
  };
  const mm = (v) => (Math.round(v * 100) / 100 + 0).toFixed(2).replace(".", words.decimal) + " mm";
  const cast = shape(data.cast);
  const undercut = floats(data.cast.undercut), nearest = floats(data.cast.nearest);
  const tooth = bytes(data.cast.tooth), region = bytes(data.cast.region);
  bytes(data.cast.known).forEach((known, v) => {
    if (!(known & 1)) { undercut[v] = NaN; }
    if (!(known & 2)) { nearest[v] = NaN; }
  });
  const text = new Array(tooth.length);
  for (let v = 0; v < tooth.length; v++) {
    const height = (cast.x[v] - data.origin[0]) * data.up[0] + (cast.y[v] - data.origin[1]) * data.up[1] +
      (cast.z[v] - data.origin[2]) * data.up[2];
    const where = tooth[v] ? words.tooth + " " + data.teeth[tooth[v]] : words.regions[region[v]];
    const depth = Number.isNaN(undercut[v]) ? words.unmeasured : undercut[v] > 0 ? mm(undercut[v]) : words.free;
    text[v] = where + "<br>" + words.undercut + ": " + depth + "<br>" + words.height + ": " + mm(height) +
      (Number.isNaN(nearest[v]) ? "" : "<br>" + words.nearest + ": " + mm(nearest[v]));
  }
  // Below the scale stand two steps without a figure: not measured, then free.
  const steps = (scale, below) => {
    const span = scale.most - scale.least, low = scale.least - below.length * span * 0.04;
    const at = (v) => (v - low) / (scale.most - low);
    const stops = [];
    below.forEach((colour, n) => {
      stops.push([at(low + n * span * 0.04), colour], [at(low + (n + 1) * span * 0.04), colour]);
    });
    data.cividis.forEach((colour, n) => {
      stops.push([at(scale.least + span * n / (data.cividis.length - 1)), colour]);
    });
    stops[0][0] = 0; stops[stops.length - 1][0] = 1;
    return { stops: stops, low: low, step: span * 0.04 };
  };
  // The lamp stands over the onlooker's left shoulder and turns with him.
  const light = { ambient: 0.4, diffuse: 0.62, specular: 0.04, roughness: 0.9, fresnel: 0.02 };
  const surface = (name, more) => Object.assign({ type: "mesh3d", name: name, lighting: light, flatshading: false,
    lightposition: { x: -2, y: 3, z: -3 }, hovertemplate: "%{text}<extra></extra>", text: text }, cast, more);
  const painted = (name, scale, below, values, title) => {
    const s = steps(scale, below);
    const level = Float32Array.from(values, (v) => Number.isNaN(v) ? s.low + s.step / 2
      : below.length > 1 && v <= 0 ? s.low + 1.5 * s.step : Math.min(Math.max(v, scale.least), scale.most));
    const ticks = [0, 1, 2, 3, 4].map((n) => scale.least + (scale.most - scale.least) * n / 4);
    return surface(name, { intensity: level, cmin: s.low, cmax: scale.most, colorscale: s.stops, showscale: true,
      colorbar: { title: { text: title }, thickness: 14, len: 0.7, tickvals: ticks,
        ticktext: ticks.map((v) => v.toFixed(scale.most > 4 ? 1 : 2).replace(".", words.decimal)) } });
  };
  const plain = data.plain, grey = data.grey, ink = data.ink;
  const traces = [
    painted("undercut", data.undercutScale, [grey, plain], undercut, words.undercutBar),
    painted("nearest", data.distanceScale, [grey], nearest, words.nearestBar),
    surface("regions", { vertexcolor: Array.from(region, (r, v) => data.regionColours[r][tooth[v] % 2]) })
  ];
  const ways = ["undercut", "nearest", "regions"];
  const layers = {};
  const add = (key, trace) => { (layers[key] = layers[key] || []).push(traces.length); traces.push(trace); };
  data.solids.forEach((s) => add(s.key, Object.assign({ type: "mesh3d", name: s.key, color: s.colour, opacity: s.opacity,
    flatshading: s.flat, lighting: light, lightposition: { x: -2, y: 3, z: -3 }, hovertemplate: words.layers[s.key] + "<extra></extra>" }, shape(s))));
  data.lines.forEach((l) => {
    const p = floats(l.places), x = [], y = [], z = [];
    let v = 0;
    l.runs.forEach((count) => {
      for (let n = 0; n < count; n++, v += 3) { x.push(p[v]); y.push(p[v + 1]); z.push(p[v + 2]); }
      x.push(null); y.push(null); z.push(null);
    });
    add(l.key, { type: "scatter3d", mode: "lines", name: l.key, x: x, y: y, z: z, hoverinfo: "skip",
      line: { color: l.colour, width: l.width, dash: l.dash } });
  });
  data.spots.forEach((s) => {
    const p = floats(s.places), x = [], y = [], z = [];
    for (let v = 0; v < p.length; v += 3) { x.push(p[v]); y.push(p[v + 1]); z.push(p[v + 2]); }
    add(s.key, { type: "scatter3d", mode: "markers", name: s.key, x: x, y: y, z: z, text: s.says,
      hovertemplate: words.layers[s.key] + "<br>%{text}<extra></extra>",
      marker: { symbol: s.symbol, size: s.size, color: s.colour, line: { color: "#ffffff", width: 1 } } });
  });
  const on = (key) => { const c = section.querySelector("input[name=layer][value='" + key + "']"); return !!(c && c.checked); };
  const way = () => section.querySelector("input[name=paint]:checked").value;
  const shown = () => {
    const all = ways.map((w) => w === way());
    Object.keys(layers).forEach((key) => layers[key].forEach((n) => { all[n] = on(key); }));
    return all;
  };
  shown().forEach((v, n) => { traces[n].visible = v; });
  const camera = (name) => ({ eye: data.views[name].eye, up: data.views[name].up, center: { x: 0, y: 0, z: 0 },
    projection: { type: "orthographic" } });
  const bare = { visible: false, showspikes: false };
  const layout = { margin: { l: 0, r: 0, t: 0, b: 0 }, showlegend: false, paper_bgcolor: "#ffffff", uirevision: "keep",
    font: { family: "Georgia, 'Times New Roman', serif", size: 13, color: ink },
    hoverlabel: { bgcolor: "#ffffff", bordercolor: ink, font: { color: ink }, align: "left" },
    scene: { xaxis: bare, yaxis: bare, zaxis: bare, aspectmode: "data", camera: camera("front"), dragmode: "orbit" } };
  box.textContent = "";
  Plotly.newPlot(box, traces, layout, { displayModeBar: false, displaylogo: false, responsive: true }).then(() => {
    box.setAttribute("data-drawn", "yes");
    section.addEventListener("change", () => { Plotly.restyle(box, { visible: shown() }); });
    section.querySelectorAll("button[data-view]").forEach((b) => b.addEventListener("click", () => {
      Plotly.relayout(box, { "scene.camera": camera(b.dataset.view) });
    }));
  });
})();
