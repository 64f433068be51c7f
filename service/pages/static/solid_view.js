// Draws solids with WebGL2, and tells where a ray from the eye meets them.

import { CORNER_BYTES, cross, dot, drawn, minus, plus, unit } from "./solid_file.js";

const HOME = [-0.45, 0.42]; // turn and rise: the butt, at the left, comes forward
const HALF_VIEW = Math.tan((15 * Math.PI) / 180); // of the lower of width and height

const VERTEX = `#version 300 es
in vec3 place; in vec4 normal, colour;
uniform mat4 toScreen; uniform vec3 shift;
out vec3 at, way; out float seen; out vec4 told;
void main() { at = place; way = normal.xyz; seen = normal.w; told = colour; gl_Position = toScreen * vec4(place + shift, 1.0); }`;
const FRAGMENT = `#version 300 es
precision highp float;
in vec3 at, way; in float seen; in vec4 told;
uniform vec3 tone, other, untold, light, eyeward; uniform float hatched, opaque, shaded, coloured;
out vec4 colour;
void main() {
  vec3 n = normalize(way);
  float stripe = dot(at, vec3(24.0, 16.0, 16.0));
  float soft = max(fwidth(stripe), 1e-4);
  float hatch = smoothstep(0.16 - soft, 0.16 + soft, abs(fract(stripe) - 0.5)) * clamp(0.9 / soft, 0.0, 1.0);
  vec3 base = mix(mix(tone, other, max(hatch, 1.0 - hatched)), tone, smoothstep(0.45, 0.55, seen));
  base = mix(base, mix(untold, told.rgb, smoothstep(0.45, 0.55, told.a)), coloured);
  float lit = 0.52 + 0.42 * max(dot(n, light), 0.0) + 0.16 * max(dot(n, eyeward), 0.0);
  colour = vec4(base * mix(1.0, lit, shaded), opaque);
}`;

export class View {
  constructor(canvas) {
    this.canvas = canvas;
    this.bodies = [];
    this.up = [0, 0, 1];
    this.home();
    this.start();
  }

  // Sets up all that a lost context takes with it.
  start() {
    const gl = this.canvas.getContext("webgl2", { antialias: true });
    if (!gl) throw new Error("WebGL2 is missing");
    this.gl = gl;
    const program = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.bindAttribLocation(program, 0, "place");
    gl.bindAttribLocation(program, 1, "normal");
    gl.bindAttribLocation(program, 2, "colour");
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program));
    gl.useProgram(program);
    const names = ["toScreen", "shift", "tone", "other", "hatched", "light", "eyeward", "opaque", "shaded", "coloured", "untold"];
    this.at = Object.fromEntries(names.map((name) => [name, gl.getUniformLocation(program, name)]));
    gl.enable(gl.DEPTH_TEST);
    gl.enable(gl.CULL_FACE);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    this.bodies.forEach((body) => this.upload(body));
  }

  add(body) {
    this.upload(body);
    this.bodies.push(body);
  }

  drop(bodies) {
    for (const body of bodies) {
      this.gl.deleteVertexArray(body.array);
      this.gl.deleteBuffer(body.buffer);
    }
    this.bodies = this.bodies.filter((body) => !bodies.includes(body));
  }

  upload(body) {
    const { gl } = this;
    body.array = gl.createVertexArray();
    body.buffer = gl.createBuffer();
    gl.bindVertexArray(body.array);
    gl.bindBuffer(gl.ARRAY_BUFFER, body.buffer);
    gl.bufferData(gl.ARRAY_BUFFER, drawn(body), gl.STATIC_DRAW);
    gl.enableVertexAttribArray(0);
    gl.vertexAttribPointer(0, 3, gl.FLOAT, false, CORNER_BYTES, 0);
    gl.enableVertexAttribArray(1);
    gl.vertexAttribPointer(1, 4, gl.BYTE, true, CORNER_BYTES, 12);
    gl.enableVertexAttribArray(2);
    gl.vertexAttribPointer(2, 4, gl.UNSIGNED_BYTE, true, CORNER_BYTES, 16);
  }

  home() {
    [this.turn, this.rise] = HOME;
    this.zoom = 1;
  }

  // Right, up and back, in the log frame, of the eye at some turn and rise.
  axes(turn = this.turn, rise = this.rise) {
    const along = unit(plus([1, 0, 0], this.up, -this.up[0]));
    const left = cross(this.up, along);
    const flat = plus(left.map((x) => -x * Math.cos(turn)), along, Math.sin(turn));
    const back = unit(plus(flat.map((x) => x * Math.cos(rise)), this.up, Math.sin(rise)));
    const right = unit(cross(this.up, back));
    return [right, cross(back, right), back];
  }

  // points: what the home view holds, all round `middle`. The eye stays as far off when the log is turned.
  look(points, middle) {
    const { width, height } = this.canvas;
    this.middle = middle;
    const least = Math.min(width, height) || 1;
    this.wide = [(HALF_VIEW * width) / least, (HALF_VIEW * height) / least];
    const [right, top, back] = this.axes(...HOME);
    const off = points.map((point) => {
      const p = minus(point, middle);
      return dot(p, back) + 1.08 * Math.max(Math.abs(dot(p, right)) / this.wide[0], Math.abs(dot(p, top)) / this.wide[1]);
    });
    this.far = Math.max(...off) / this.zoom;
    this.frame = this.axes();
    this.eye = plus(this.middle, this.frame[2], this.far);
  }

  toScreen() {
    const [near, far] = [Math.max(this.far * 0.02, 0.01), this.far + 40];
    const [right, top, back] = this.frame;
    const rows = [
      right.map((x) => x / this.wide[0]), top.map((x) => x / this.wide[1]),
      back.map((x) => (-x * (far + near)) / (far - near)), back.map((x) => -x),
    ];
    const given = [0, 0, (-2 * far * near) / (far - near), 0];
    const last = rows.map((row, k) => given[k] - dot(row, this.eye));
    // The third row is that of a depth z' = (-(f + n) z - 2 f n) / (f - n), z against the view.
    return new Float32Array([0, 1, 2].flatMap((c) => rows.map((row) => row[c])).concat(last));
  }

  // Where a point of the log frame is on the canvas, in CSS pixels.
  project(point) {
    const p = minus(point, this.eye);
    const deep = -dot(p, this.frame[2]);
    const [x, y] = [0, 1].map((k) => dot(p, this.frame[k]) / deep / this.wide[k]);
    return { x: ((1 + x) / 2) * this.canvas.clientWidth, y: ((1 - y) / 2) * this.canvas.clientHeight, deep };
  }

  // What is met first under a place on the canvas: { body, point } in the log frame, shifts taken off.
  cast(x, y) {
    const across = [(2 * x) / this.canvas.clientWidth - 1, 1 - (2 * y) / this.canvas.clientHeight];
    const way = unit(plus(plus(this.frame[2].map((v) => -v), this.frame[0], across[0] * this.wide[0]),
      this.frame[1], across[1] * this.wide[1]));
    let met = null;
    for (const body of this.bodies.filter((one) => one.shown && one.solid)) {
      const from = minus(this.eye, body.shift);
      const far = meet(body, from, way, met ? met.far : Infinity);
      if (far) met = { body, far, point: plus(from, way, far) };
    }
    return met;
  }

  draw(colours) {
    const { gl, at } = this;
    gl.viewport(0, 0, this.canvas.width, this.canvas.height);
    gl.clearColor(...colours.background, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.uniformMatrix4fv(at.toScreen, false, this.toScreen());
    gl.uniform3fv(at.eyeward, this.frame[2]);
    gl.uniform3fv(at.light, unit(plus(plus(this.frame[2], this.frame[1], 1.1), this.frame[0], -0.7)));
    const paint = (body, opaque) => {
      gl.uniform3fv(at.tone, body.tone);
      gl.uniform3fv(at.other, body.other ?? body.tone);
      gl.uniform1f(at.hatched, body.kind === "log" ? 1 : 0);
      gl.uniform3fv(at.shift, body.shift);
      gl.uniform1f(at.coloured, body.showsColours ? 1 : 0);
      gl.uniform3fv(at.untold, colours.colourless);
      gl.uniform1f(at.opaque, opaque);
      gl.uniform1f(at.shaded, body.solid ? 1 : 0.55);
      gl.bindVertexArray(body.array);
      gl.drawArrays(gl.TRIANGLES, 0, body.corners.length);
    };
    const shown = this.bodies.filter((body) => body.shown);
    shown.filter((body) => body.solid).forEach((body) => paint(body, 1));
    const inside = shown.filter((body) => !body.solid);
    inside.forEach((body) => paint(body, 1));
    // What lies in the wood shines through it: drawn again, faintly, where the wood is nearer.
    gl.enable(gl.BLEND);
    gl.depthFunc(gl.GREATER);
    gl.depthMask(false);
    inside.forEach((body) => paint(body, 0.6));
    gl.depthMask(true);
    gl.depthFunc(gl.LESS);
    gl.disable(gl.BLEND);
  }
}

// How far along a ray it meets a body, nearer than `most`; else 0.
function meet({ places, corners }, from, way, most) {
  let nearest = 0;
  for (let k = 0; k < corners.length; k += 3) {
    const [a, b, c] = [corners[k] * 3, corners[k + 1] * 3, corners[k + 2] * 3];
    const [ux, uy, uz] = [places[b] - places[a], places[b + 1] - places[a + 1], places[b + 2] - places[a + 2]];
    const [vx, vy, vz] = [places[c] - places[a], places[c + 1] - places[a + 1], places[c + 2] - places[a + 2]];
    const [px, py, pz] = [way[1] * vz - way[2] * vy, way[2] * vx - way[0] * vz, way[0] * vy - way[1] * vx];
    const size = ux * px + uy * py + uz * pz;
    if (size < 1e-12) continue; // seen from behind, or on edge
    const [tx, ty, tz] = [from[0] - places[a], from[1] - places[a + 1], from[2] - places[a + 2]];
    const u = tx * px + ty * py + tz * pz;
    if (u < 0 || u > size) continue;
    const [qx, qy, qz] = [ty * uz - tz * uy, tz * ux - tx * uz, tx * uy - ty * ux];
    const v = way[0] * qx + way[1] * qy + way[2] * qz;
    if (v < 0 || u + v > size) continue;
    const far = (vx * qx + vy * qy + vz * qz) / size;
    if (far > 0 && far < (nearest || most)) nearest = far;
  }
  return nearest;
}
