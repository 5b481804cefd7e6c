// All layers in space, seen along parallel lines, cut at a height (WebGL2).

const VERTEX = `#version 300 es
in vec3 place;
in float tone;
uniform mat4 look;
out float shade;
void main() {
  gl_Position = look * vec4(place, 1.0);
  shade = tone;
}`;

const FRAGMENT = `#version 300 es
precision mediump float;
in float shade;
uniform vec3 low;
uniform vec3 high;
out vec4 colour;
void main() { colour = vec4(mix(low, high, shade), 1.0); }`;

// triangles that a machine without a graphics card still turns smoothly
const MOST_VERTICES = 1500000;

class Stack {
  constructor(canvas) {
    this.canvas = canvas;
    this.home();
    this.cut = facts.layers.length - 1;
    this.through = false;
    this.walls = { data: [], ends: [] };
    this.bands = { data: [], ends: [] };
    this.rims = { data: [], ends: [] };
    this.caps = { data: [], ends: [] };
    this.beads = { data: [], ends: [], of: -1 };
    this.built = 0;
    this.step = 1;
    const gl = canvas.getContext("webgl2", { antialias: true, stencil: true });
    this.gl = gl;
    if (!gl) return;
    const program = gl.createProgram();
    for (const [kind, source] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, source);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.bindAttribLocation(program, 0, "place");
    gl.bindAttribLocation(program, 1, "tone");
    gl.linkProgram(program);
    gl.useProgram(program);
    this.at = { look: gl.getUniformLocation(program, "look"), low: gl.getUniformLocation(program, "low"), high: gl.getUniformLocation(program, "high") };
    for (const set of [this.walls, this.bands, this.rims, this.caps, this.beads]) set.buffer = gl.createBuffer();
  }

  /** As it is seen first: from the front left, above. */
  home() {
    Object.assign(this, { turn: -0.5, tilt: 0.95, zoom: 1, shift: [0, 0] });
  }

  /** Builds the layers that are not there yet, for some milliseconds; true when all are. */
  build(patience) {
    const until = performance.now() + patience, n = facts.layers.length;
    while (this.built < n && performance.now() < until) {
      const index = this.built;
      const left = this.walls.data.length + this.bands.data.length < MOST_VERTICES * 4;
      const sketch = left ? sketchAt(index) : null;
      if (left && !sketch) return false;
      if (sketch) this.add(sketch, facts.layers[index]);
      else this.step = Math.max(this.step, 2);
      for (const set of [this.walls, this.bands, this.rims, this.caps]) set.ends[index] = set.data.length / 4;
      this.built++;
      this.stale = true;
    }
    return this.built >= n;
  }

  add(sketch, row) {
    const z0 = sketch.bottom, z1 = z0 + sketch.height;
    const changed = row[3][0] !== this.outlineBefore;
    this.outlineBefore = row[3][0];
    const caps = this.caps.data, centre = [(facts.bounds[0] + facts.bounds[2]) / 2, (facts.bounds[1] + facts.bounds[3]) / 2];
    for (const ring of sketch.rings) {
      const n = ring.length;
      for (let i = 0; i < n; i += 2) {
        const x0 = ring[i], y0 = ring[i + 1], x1 = ring[(i + 2) % n], y1 = ring[(i + 3) % n];
        const l = Math.hypot(x1 - x0, y1 - y0) || 1, tone = 0.35 + 0.3 * ((y1 - y0) / l * 0.8 - (x1 - x0) / l * 0.6);
        this.walls.data.push(x0, y0, z0, tone, x1, y1, z0, tone, x1, y1, z1, tone, x0, y0, z0, tone, x1, y1, z1, tone, x0, y0, z1, tone);
        this.rims.data.push(x0, y0, z1, 1, x1, y1, z1, 1);
        if (changed) this.rims.data.push(x0, y0, z0, 1, x1, y1, z0, 1);
        caps.push(centre[0], centre[1], z1, 0, x0, y0, z1, 0, x1, y1, z1, 0);
      }
    }
    const half = facts.tow.width * 0.45, out = this.bands.data, z = z1 + 0.02;
    const tone = (this.built + 1) / facts.layers.length;
    for (const course of sketch.courses) {
      const p = course.laid || course.points;
      for (let i = 0; i + 3 < p.length; i += 2) {
        const dx = p[i + 2] - p[i], dy = p[i + 3] - p[i + 1], l = Math.hypot(dx, dy) || 1, ax = -dy / l * half, ay = dx / l * half;
        out.push(p[i] + ax, p[i + 1] + ay, z, tone, p[i] - ax, p[i + 1] - ay, z, tone, p[i + 2] - ax, p[i + 3] - ay, z, tone,
          p[i] + ax, p[i + 1] + ay, z, tone, p[i + 2] - ax, p[i + 3] - ay, z, tone, p[i + 2] + ax, p[i + 3] + ay, z, tone);
      }
    }
  }

  /** Edges of the beads of the layer on top of the cut: all layers' would hide each other. */
  edge(index) {
    if (this.beads.of === index) return;
    const layer = layerAt(index);
    if (!layer) return;
    const out = [], z = layer.bottom + layer.height + 0.01;
    for (const bead of layer.beads) {
      const p = bead.points, half = 0.46 * bead.width;
      for (let i = 0; i + 3 < p.length; i += 2) {
        const dx = p[i + 2] - p[i], dy = p[i + 3] - p[i + 1], l = Math.hypot(dx, dy) || 1, ax = -dy / l * half, ay = dx / l * half;
        out.push(p[i] + ax, p[i + 1] + ay, z, 1, p[i + 2] + ax, p[i + 3] + ay, z, 1, p[i] - ax, p[i + 1] - ay, z, 1, p[i + 2] - ax, p[i + 3] - ay, z, 1);
      }
    }
    this.beads.data = out;
    this.beads.ends = [out.length / 4];
    this.beads.of = index;
    const gl = this.gl;
    gl.bindBuffer(gl.ARRAY_BUFFER, this.beads.buffer);
    gl.bufferData(gl.ARRAY_BUFFER, new Float32Array(out), gl.STATIC_DRAW);
  }

  upload() {
    const gl = this.gl;
    for (const set of [this.walls, this.bands, this.rims, this.caps]) {
      gl.bindBuffer(gl.ARRAY_BUFFER, set.buffer);
      gl.bufferData(gl.ARRAY_BUFFER, new Float32Array(set.data), gl.STATIC_DRAW);
    }
    this.stale = false;
  }

  /** Parallel projection: turned about z, tilted about the screen's x. */
  matrix() {
    const [x0, y0, x1, y1] = facts.bounds, last = facts.layers[facts.layers.length - 1], top = last[1] + last[2];
    const size = Math.hypot(x1 - x0, y1 - y0, top) || 1, aspect = this.canvas.width / this.canvas.height;
    // the box as it is seen first fills the sheet
    const [w, h] = [x1 - x0, y1 - y0], wide = 0.88 * w + 0.48 * h, tall = (0.48 * w + 0.88 * h) * 0.58 + top * 0.81;
    const sy = this.zoom * Math.min(1.7 / tall, 1.8 * aspect / wide), sx = sy / aspect;
    const [c, n] = [Math.cos(this.turn), Math.sin(this.turn)], [ct, st] = [Math.cos(this.tilt), Math.sin(this.tilt)];
    const cx = (x0 + x1) / 2, cy = (y0 + y1) / 2, cz = top / 2;
    // rows: right, up on the screen, away from it
    const right = [c, -n, 0], up = [n * ct, c * ct, st], away = [n * st, c * st, -ct];
    const row = (r, k, shift) => [...r.map((v) => v * k), -k * (r[0] * cx + r[1] * cy + r[2] * cz) + shift];
    const rows = [row(right, sx, this.shift[0]), row(up, sy, this.shift[1]), row(away, 0.8 / size, 0), [0, 0, 0, 1]];
    const out = new Float32Array(16);
    for (let i = 0; i < 4; i++) for (let k = 0; k < 4; k++) out[4 * k + i] = rows[i][k];
    return out;
  }

  colour(low, high) {
    this.gl.uniform3fv(this.at.low, rgbOf(low));
    this.gl.uniform3fv(this.at.high, rgbOf(high));
  }

  part(set, kind, from, to) {
    const gl = this.gl, a = from > 0 ? set.ends[from - 1] : 0, b = set.ends[to];
    if (!(b > a)) return;
    gl.bindBuffer(gl.ARRAY_BUFFER, set.buffer);
    gl.enableVertexAttribArray(0);
    gl.enableVertexAttribArray(1);
    gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 16, 0);
    gl.vertexAttribPointer(1, 1, gl.FLOAT, false, 16, 12);
    gl.drawArrays(kind, a, b - a);
  }

  /** `show`: courses, beads. */
  draw(show) {
    const gl = this.gl;
    if (!gl || !this.built) return;
    if (this.stale) this.upload();
    const ink = inks(), cut = Math.min(this.cut, this.built - 1);
    gl.viewport(0, 0, this.canvas.width, this.canvas.height);
    gl.clearColor(...rgbOf(ink.paper), 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT | gl.STENCIL_BUFFER_BIT);
    gl.uniformMatrix4fv(this.at.look, false, this.matrix());
    gl.enable(gl.DEPTH_TEST);
    gl.depthFunc(gl.LEQUAL);
    if (this.through) {
      this.colour(ink.rule, ink.tow);
      if (show.courses) this.part(this.bands, gl.TRIANGLES, 0, cut);
    } else {
      gl.enable(gl.POLYGON_OFFSET_FILL);
      gl.polygonOffset(1, 2);
      this.colour(ink.part, ink.rule);
      this.part(this.walls, gl.TRIANGLES, 0, cut);
      this.cap(cut);
      gl.disable(gl.POLYGON_OFFSET_FILL);
      if (show.beads) {
        this.edge(cut);
        this.colour(ink.bead, ink.bead);
        this.part(this.beads, gl.LINES, 0, 0);
      }
      this.colour(ink.tow, ink.tow);
      if (show.courses) this.part(this.bands, gl.TRIANGLES, cut, cut);
    }
    // edges: the cut, the foot, and where the outline changes
    this.colour(ink.line, ink.line);
    this.part(this.rims, gl.LINES, cut, cut);
    this.part(this.rims, gl.LINES, 0, 0);
    if (!this.through) {
      for (let i = 1; i < cut; i++) {
        if (facts.layers[i][3][0] !== facts.layers[i - 1][3][0] || facts.layers[i][3][0] !== facts.layers[i + 1][3][0]) this.part(this.rims, gl.LINES, i, i);
      }
    }
  }

  /** The cut's surface: what an odd number of triangles covers, whatever the outline. */
  cap(cut) {
    const gl = this.gl, ink = inks();
    gl.enable(gl.STENCIL_TEST);
    gl.colorMask(false, false, false, false);
    gl.depthMask(false);
    gl.disable(gl.DEPTH_TEST);
    gl.stencilFunc(gl.ALWAYS, 0, 1);
    gl.stencilOp(gl.KEEP, gl.KEEP, gl.INVERT);
    gl.stencilMask(1);
    this.part(this.caps, gl.TRIANGLES, cut, cut);
    gl.colorMask(true, true, true, true);
    gl.depthMask(true);
    gl.enable(gl.DEPTH_TEST);
    gl.stencilFunc(gl.EQUAL, 1, 1);
    gl.stencilOp(gl.KEEP, gl.KEEP, gl.ZERO);
    this.colour(ink.part, ink.part);
    this.part(this.caps, gl.TRIANGLES, cut, cut);
    gl.disable(gl.STENCIL_TEST);
  }
}

function rgbOf(text) {
  const hex = text.replace("#", ""), full = hex.length === 3 ? [...hex].map((c) => c + c).join("") : hex;
  return [0, 2, 4].map((i) => parseInt(full.slice(i, i + 2), 16) / 255);
}
