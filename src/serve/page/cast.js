// The cast on the screen: a lighter mesh, one colour a vertex, lines and places on it. It computes no figure; a new tilt
// changes nothing but the colours.

const SOLID = [`#version 300 es
uniform mat4 see; uniform vec3 lamp;
in vec3 place; in vec3 facing; in vec3 paint;
out vec3 shade;
void main() {
  gl_Position = see * vec4(place, 1.0);
  shade = paint * (0.42 + 0.58 * abs(dot(normalize(facing), lamp)));
}`, `#version 300 es
precision mediump float;
in vec3 shade; out vec4 colour;
void main() { colour = vec4(shade, 1.0); }`];

// A line is a strip of constant width on the screen, a little nearer than the surface that it lies on.
const LINE = [`#version 300 es
uniform mat4 see; uniform vec2 size; uniform float wide;
in vec3 from; in vec3 to; in vec2 corner; in vec3 paint;
out vec3 shade;
void main() {
  vec4 a = see * vec4(from, 1.0), b = see * vec4(to, 1.0);
  vec2 way = (b.xy - a.xy) * size;
  float far = length(way);
  vec2 side = far > 1e-6 ? vec2(-way.y, way.x) / far : vec2(0.0, 1.0);
  vec4 at = corner.x < 0.5 ? a : b;
  at.xy += side * corner.y * wide / size;
  at.z -= 0.006;
  gl_Position = at;
  shade = paint;
}`, SOLID[1]];

const SPOT = [`#version 300 es
uniform mat4 see; uniform float wide;
in vec3 place; in vec3 paint;
out vec3 shade;
void main() { gl_Position = see * vec4(place, 1.0); gl_Position.z -= 0.01; gl_PointSize = wide; shade = paint; }`,
`#version 300 es
precision mediump float;
in vec3 shade; out vec4 colour;
void main() {
  float r = length(gl_PointCoord - 0.5) * 2.0;
  if (r > 1.0) { discard; }
  colour = vec4(r > 0.72 ? vec3(1.0) : shade, 1.0);
}`];

const add = (a, b, s) => [a[0] + b[0] * s, a[1] + b[1] * s, a[2] + b[2] * s];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const unit = (a) => { const n = Math.hypot(...a) || 1; return [a[0] / n, a[1] / n, a[2] / n]; };
const turned = (v, axis, by) => {
  const c = Math.cos(by), s = Math.sin(by), d = dot(axis, v) * (1 - c), x = cross(axis, v);
  return [0, 1, 2].map((k) => v[k] * c + x[k] * s + axis[k] * d);
};

/** A head of JSON and the bytes behind it. */
export function opened(buffer) {
  const long = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, long)));
  return { head: head, at: 4 + long };
}

/** What `/api/cast` and `/api/opposing` send. */
export function readCast(buffer) {
  const { head, at } = opened(buffer);
  const places = new Float32Array(buffer, at, 3 * head.vertices);
  const corners = new Uint32Array(buffer, at + 12 * head.vertices, 3 * head.triangles);
  const facing = new Float32Array(places.length);
  const p = (v, k) => places[3 * v + k];
  for (let f = 0; f < corners.length; f += 3) {
    const [a, b, c] = [corners[f], corners[f + 1], corners[f + 2]];
    const u = [0, 1, 2].map((k) => p(b, k) - p(a, k)), w = [0, 1, 2].map((k) => p(c, k) - p(a, k));
    const n = cross(u, w);
    for (const v of [a, b, c]) { for (let k = 0; k < 3; k++) { facing[3 * v + k] += n[k]; } }
  }
  let reach = 1;
  for (let v = 0; v < places.length; v += 3) { reach = Math.max(reach, Math.hypot(places[v], places[v + 1], places[v + 2])); }
  return Object.assign(head, { places: places, corners: corners, facing: facing, reach: reach });
}

/** The colours of depths: plaster where free, grey where not measured, the scale by depth. */
export function coloured(cast, depths, into) {
  const scale = cast.cividis, last = scale.length - 1;
  for (let v = 0; v < depths.length; v++) {
    const mm = depths[v];
    let c;
    if (Number.isNaN(mm)) { c = cast.not_measured; } else if (mm === 0) { c = cast.plain; } else {
      const at = Math.min(mm / cast.most_mm, 1) * last, low = Math.min(Math.floor(at), last - 1), part = at - low;
      const a = scale[low], b = scale[low + 1];
      into[3 * v] = a[0] + (b[0] - a[0]) * part; into[3 * v + 1] = a[1] + (b[1] - a[1]) * part; into[3 * v + 2] = a[2] + (b[2] - a[2]) * part;
      continue;
    }
    into[3 * v] = c[0]; into[3 * v + 1] = c[1]; into[3 * v + 2] = c[2];
  }
  return into;
}

export class CastView {
  constructor(canvas, cast, camera) {
    this.canvas = canvas; this.cast = cast;
    this.gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true });
    this.able = !!this.gl;
    this.camera = camera || this.firstCamera();
    this.listeners = [];
    if (!this.able) { return; }
    const gl = this.gl;
    this.solid = this.program(SOLID); this.line = this.program(LINE); this.spot = this.program(SPOT);
    this.colours = new Uint8Array(cast.places.length).fill(200);
    this.surface = this.uploaded(cast, this.colours, gl.DYNAMIC_DRAW);
    this.lines = null; this.spots = []; this.veil = null;
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  firstCamera() {
    const f = this.cast.frame;
    const up = f ? f.occlusal : [0, 0, 1], front = f ? f.anterior : [0, -1, 0];
    const camera = { back: [0, 0, 1], up: [0, 1, 0], zoom: 1, pan: [0, 0, 0], axis: up };
    camera.look = (eye, above) => { camera.back = unit(eye); camera.up = unit(add(above, camera.back, -dot(above, camera.back))); camera.pan = [0, 0, 0]; };
    camera.look(add(up, front, 0.55), up);
    return camera;
  }

  program([vertex, fragment]) {
    const gl = this.gl, program = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text); gl.compileShader(shader); gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) { throw new Error(gl.getProgramInfoLog(program)); }
    return program;
  }

  attribute(program, name, values, size, type, use) {
    const gl = this.gl, at = gl.getAttribLocation(program, name), buffer = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.bufferData(gl.ARRAY_BUFFER, values, use || gl.STATIC_DRAW);
    if (at >= 0) { gl.enableVertexAttribArray(at); gl.vertexAttribPointer(at, size, type, type !== gl.FLOAT, 0, 0); }
    return buffer;
  }

  /** New depths: the colours alone go to the screen's memory. */
  depths(values) {
    if (!this.able) { return; }
    coloured(this.cast, values, this.colours);
    this.gl.bindBuffer(this.gl.ARRAY_BUFFER, this.surface.paint);
    this.gl.bufferSubData(this.gl.ARRAY_BUFFER, 0, this.colours);
    this.draw();
  }

  /** A mesh in the screen's memory, one colour a vertex. */
  uploaded(mesh, colours, use) {
    const gl = this.gl, array = gl.createVertexArray(), order = gl.createBuffer();
    gl.bindVertexArray(array);
    const place = this.attribute(this.solid, "place", mesh.places, 3, gl.FLOAT), facing = this.attribute(this.solid, "facing", mesh.facing, 3, gl.FLOAT);
    const paint = this.attribute(this.solid, "paint", colours, 3, gl.UNSIGNED_BYTE, use);
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, order);
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, mesh.corners, gl.STATIC_DRAW);
    gl.bindVertexArray(null);
    return { array: array, paint: paint, buffers: [place, facing, paint, order], count: mesh.corners.length };
  }

  /** Gives the screen's memory back. */
  freed(one) {
    if (one) { one.buffers.forEach((b) => this.gl.deleteBuffer(b)); this.gl.deleteVertexArray(one.array); }
  }

  /** Another mesh in front of all, seen through; none for `null`. */
  veiled(mesh) {
    if (!this.able) { return; }
    this.freed(this.veil);
    this.veil = mesh && this.uploaded(mesh, new Uint8Array(mesh.places.length).fill(150));
    this.draw();
  }

  /** Lines on the cast: [{points (mm), closed, colour}] and places: [{at, colour, size}]. */
  drawn(lines, spots) {
    this.spots = spots;
    if (!this.able) { return; }
    const gl = this.gl, from = [], to = [], corner = [], paint = [], index = [], middle = this.cast.middle_mm;
    const own = (p) => [p[0] - middle[0], p[1] - middle[1], p[2] - middle[2]];
    for (const line of lines) {
      const all = line.closed && line.points.length > 2 ? line.points.concat([line.points[0]]) : line.points;
      for (let n = 0; n + 1 < all.length; n++) {
        const a = own(all[n]), b = own(all[n + 1]), first = corner.length / 2;
        for (const c of [[0, -1], [0, 1], [1, -1], [1, 1]]) { from.push(...a); to.push(...b); corner.push(...c); paint.push(...line.colour); }
        index.push(first, first + 1, first + 2, first + 2, first + 1, first + 3);
      }
    }
    this.freed(this.lines);
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    const buffers = [["from", from, 3], ["to", to, 3], ["corner", corner, 2]].map(([n, v, s]) => this.attribute(this.line, n, new Float32Array(v), s, gl.FLOAT));
    buffers.push(this.attribute(this.line, "paint", new Uint8Array(paint), 3, gl.UNSIGNED_BYTE));
    const order = gl.createBuffer();
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, order);
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, new Uint32Array(index), gl.STATIC_DRAW);
    gl.bindVertexArray(null);
    this.lines = { array: array, buffers: buffers.concat([order]), count: index.length };
    this.draw();
  }

  axes() {
    const c = this.camera, right = unit(cross(c.up, c.back));
    return { right: right, up: cross(c.back, right), back: c.back };
  }

  /** Millimetres from the middle to the upper edge of the picture. */
  half() { return this.cast.reach * 0.72 / this.camera.zoom; }

  matrix() {
    const { right, up, back } = this.axes(), pan = this.camera.pan, reach = this.cast.reach * 1.6;
    const tall = this.half(), wide = tall * this.canvas.clientWidth / Math.max(1, this.canvas.clientHeight);
    const row = (v, s) => [v[0] * s, v[1] * s, v[2] * s, -dot(v, pan) * s];
    const x = row(right, 1 / wide), y = row(up, 1 / tall), z = row(back, -1 / reach);
    return new Float32Array([x[0], y[0], z[0], 0, x[1], y[1], z[1], 0, x[2], y[2], z[2], 0, x[3], y[3], z[3], 1]);
  }

  draw() {
    if (!this.able || this.waits) { return; }
    this.waits = true;
    requestAnimationFrame(() => { this.waits = false; this.drawNow(); });
  }

  drawNow() {
    const gl = this.gl, canvas = this.canvas, ratio = Math.min(window.devicePixelRatio || 1, 2);
    const w = Math.max(1, Math.round(canvas.clientWidth * ratio)), h = Math.max(1, Math.round(canvas.clientHeight * ratio));
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    gl.viewport(0, 0, w, h);
    gl.clearColor(1, 1, 1, 1); gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT); gl.enable(gl.DEPTH_TEST);
    const see = this.matrix(), { right, up, back } = this.axes();
    const use = (program) => { gl.useProgram(program); gl.uniformMatrix4fv(gl.getUniformLocation(program, "see"), false, see); };
    use(this.solid);
    gl.uniform3fv(gl.getUniformLocation(this.solid, "lamp"), unit(add(add(back, right, -0.35), up, 0.45)));
    gl.bindVertexArray(this.surface.array);
    gl.drawElements(gl.TRIANGLES, this.surface.count, gl.UNSIGNED_INT, 0);
    if (this.lines && this.lines.count) {
      use(this.line);
      gl.uniform2f(gl.getUniformLocation(this.line, "size"), w, h);
      gl.uniform1f(gl.getUniformLocation(this.line, "wide"), 1.8 * ratio);
      gl.bindVertexArray(this.lines.array);
      gl.drawElements(gl.TRIANGLES, this.lines.count, gl.UNSIGNED_INT, 0);
    }
    gl.bindVertexArray(null);
    this.drawSpots(use, ratio);
    if (this.veil) { use(this.solid); this.drawVeil(); }
    this.listeners.forEach((f) => f());
  }

  /** The nearest of its surfaces alone: its depths first, then its colour over what is behind. */
  drawVeil() {
    const gl = this.gl, all = () => gl.drawElements(gl.TRIANGLES, this.veil.count, gl.UNSIGNED_INT, 0);
    gl.bindVertexArray(this.veil.array);
    gl.colorMask(false, false, false, false); all();
    gl.colorMask(true, true, true, true); gl.depthFunc(gl.EQUAL); gl.enable(gl.BLEND);
    gl.blendColor(0, 0, 0, 0.35); gl.blendFunc(gl.CONSTANT_ALPHA, gl.ONE_MINUS_CONSTANT_ALPHA); all();
    gl.disable(gl.BLEND); gl.depthFunc(gl.LESS);
  }

  drawSpots(use, ratio) {
    if (!this.spots.length) { return; }
    const gl = this.gl, m = this.cast.middle_mm;
    use(this.spot);
    gl.uniform1f(gl.getUniformLocation(this.spot, "wide"), 11 * ratio);
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    const places = new Float32Array(this.spots.flatMap((s) => [s.at[0] - m[0], s.at[1] - m[1], s.at[2] - m[2]]));
    const a = this.attribute(this.spot, "place", places, 3, gl.FLOAT);
    const b = this.attribute(this.spot, "paint", new Uint8Array(this.spots.flatMap((s) => s.colour)), 3, gl.UNSIGNED_BYTE);
    gl.drawArrays(gl.POINTS, 0, this.spots.length);
    gl.bindVertexArray(null);
    gl.deleteVertexArray(array); gl.deleteBuffer(a); gl.deleteBuffer(b);
  }

  /** The ray through a place of the picture, CSS pixels from its left upper corner; mm of the scan's own axes. */
  ray(x, y) {
    const { right, up, back } = this.axes(), c = this.canvas, tall = this.half(), mm = 2 * tall / c.clientHeight;
    let at = add(this.camera.pan, right, (x - c.clientWidth / 2) * mm);
    at = add(add(at, up, (c.clientHeight / 2 - y) * mm), back, this.cast.reach * 2);
    return { from: add(at, this.cast.middle_mm, 1), toward: back.map((v) => -v) };
  }

  /** Where a place of the scan lies in the picture, CSS pixels. */
  seen(p) {
    const { right, up } = this.axes(), c = this.canvas, m = this.cast.middle_mm;
    const v = [p[0] - m[0] - this.camera.pan[0], p[1] - m[1] - this.camera.pan[1], p[2] - m[2] - this.camera.pan[2]];
    const px = c.clientHeight / (2 * this.half());
    return [c.clientWidth / 2 + dot(v, right) * px, c.clientHeight / 2 - dot(v, up) * px];
  }

  /** Turns the view: across about the occlusal axis, up and down about the picture's own. */
  turn(across, upward) {
    const c = this.camera, { right, up } = this.axes();
    const about = dot(up, c.axis) < 0 ? -1 : 1;
    for (const key of ["back", "up"]) { c[key] = turned(turned(c[key], right, -upward), c.axis, -across * about); }
    this.draw();
  }

  nearer(by) { this.camera.zoom = Math.min(20, Math.max(0.4, this.camera.zoom * by)); this.draw(); }

  shift(dx, dy) {
    const { right, up } = this.axes(), mm = 2 * this.half() / this.canvas.clientHeight;
    this.camera.pan = add(add(this.camera.pan, right, -dx * mm), up, dy * mm);
    this.draw();
  }
}
