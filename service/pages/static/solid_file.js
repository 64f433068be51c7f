// Reads the file that service/solid_buffer.py writes, and makes what is drawn of it.

const MAGIC = 0x31425350; // "PSB1"
const CREASE = 0.6; // faces that turn more than this cosine from one another meet in an edge
const SAWN = 0.9995;

export function readSolid(buffer) {
  const view = new DataView(buffer);
  if (buffer.byteLength < 8 || view.getUint32(0, true) !== MAGIC) throw new Error("this is no solid");
  const bytes = view.getUint32(4, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 8, bytes)));
  const at = 8 + bytes;
  const seenAt = at + head.vertices * 6;
  const facesAt = seenAt + head.vertices + ((-head.vertices * 7) & 3);
  const steps = new Uint16Array(buffer, at, head.vertices * 3);
  const seen = new Uint8Array(buffer, seenAt, head.vertices);
  const corners = new Uint16Array(buffer, facesAt, head.faces * 3);
  const told = head.coloured ? new Uint8Array(buffer, facesAt + head.faces * 6, head.vertices * 4) : null;
  const places = Float32Array.from(steps, (step, k) => head.offset_m[k % 3] + head.scale_m[k % 3] * step);
  let vertex = 0;
  let face = 0;
  const parts = head.parts.map((part) => {
    const own = places.subarray(vertex * 3, (vertex + part.vertices) * 3);
    const made = {
      ...part,
      places: own,
      corners: corners.subarray(face * 3, (face + part.faces) * 3),
      seen: seen.subarray(vertex, vertex + part.vertices),
      told: told?.subarray(vertex * 4, (vertex + part.vertices) * 4),
      box: boxOf(own),
    };
    vertex += part.vertices;
    face += part.faces;
    return made;
  }).filter((part) => part.faces);
  return { ...head, parts };
}

export function boxOf(places) {
  const box = [[Infinity, Infinity, Infinity], [-Infinity, -Infinity, -Infinity]];
  for (let k = 0; k < places.length; k += 1) {
    box[0][k % 3] = Math.min(box[0][k % 3], places[k]);
    box[1][k % 3] = Math.max(box[1][k % 3], places[k]);
  }
  return box;
}

export const CORNER_BYTES = 20;

// Three corners a face, each: place (3 float), normal (3 signed bytes), a signed byte: whether it was seen or, with
// `up`, whether it is sawn, square to that; and red, green, blue and whether a scan told them (4 bytes).
export function drawn({ places, corners, seen, told, up }) {
  const count = corners.length / 3;
  const normals = new Float32Array(count * 3); // as long as the face is large
  const around = Array.from({ length: places.length / 3 }, () => []);
  for (let f = 0; f < count; f += 1) {
    const [a, b, c] = [0, 1, 2].map((k) => corners[3 * f + k] * 3);
    const u = [0, 1, 2].map((k) => places[b + k] - places[a + k]);
    const v = [0, 1, 2].map((k) => places[c + k] - places[a + k]);
    for (let k = 0; k < 3; k += 1) {
      normals[3 * f + k] = u[(k + 1) % 3] * v[(k + 2) % 3] - u[(k + 2) % 3] * v[(k + 1) % 3];
      around[corners[3 * f + k]].push(f);
    }
  }
  const lengths = Float32Array.from({ length: count }, (_, f) => Math.hypot(...normals.subarray(3 * f, 3 * f + 3)));
  const isSawn = (f) => up && Math.abs(dot(up, normals.subarray(3 * f, 3 * f + 3))) > SAWN * lengths[f];
  const sawn = Uint8Array.from(lengths, (_, f) => +isSawn(f));
  const made = new ArrayBuffer(corners.length * CORNER_BYTES);
  const floats = new Float32Array(made);
  const signed = new Int8Array(made);
  const bytes = new Uint8Array(made);
  for (let n = 0; n < corners.length; n += 1) {
    const f = Math.floor(n / 3);
    const sum = [0, 0, 0];
    for (const g of around[corners[n]]) {
      let along = 0;
      for (let k = 0; k < 3; k += 1) along += normals[3 * f + k] * normals[3 * g + k];
      if (g !== f && (sawn[f] !== sawn[g] || along < CREASE * lengths[f] * lengths[g])) continue;
      for (let k = 0; k < 3; k += 1) sum[k] += normals[3 * g + k];
    }
    const length = Math.hypot(...sum) || 1;
    for (let k = 0; k < 3; k += 1) {
      floats[5 * n + k] = places[corners[n] * 3 + k];
      signed[CORNER_BYTES * n + 12 + k] = Math.round((127 * sum[k]) / length);
    }
    signed[CORNER_BYTES * n + 15] = (up ? sawn[f] : !seen || seen[corners[n]]) ? 127 : 0;
    if (told) bytes.set(told.subarray(corners[n] * 4, corners[n] * 4 + 4), CORNER_BYTES * n + 16);
  }
  return made;
}

// A tube along a line, closed at both ends: hearts and rods.
export function tube(line, radius, sides = 12) {
  const places = [];
  const corners = [];
  line.forEach((point, k) => {
    const way = unit(minus(line[Math.min(k + 1, line.length - 1)], line[Math.max(k - 1, 0)]));
    const first = unit(cross(way, Math.abs(way[0]) < 0.9 ? [1, 0, 0] : [0, 1, 0]));
    const second = cross(way, first);
    for (let s = 0; s < sides; s += 1) {
      const [c, d] = [Math.cos, Math.sin].map((of) => radius * of((2 * Math.PI * s) / sides));
      places.push(...point.map((x, i) => x + c * first[i] + d * second[i]));
      const [here, next] = [k * sides + s, k * sides + ((s + 1) % sides)];
      if (k) corners.push(here - sides, next - sides, next, here - sides, next, here);
    }
  });
  const last = places.length / 3 - sides;
  for (let s = 2; s < sides; s += 1) corners.push(0, s, s - 1, last, last + s - 1, last + s);
  return { places: Float32Array.from(places), corners: Uint16Array.from(corners) };
}

export const minus = (a, b) => a.map((x, k) => x - b[k]);
export const plus = (a, b, times = 1) => a.map((x, k) => x + times * b[k]);
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a, b) => [0, 1, 2].map((k) => a[(k + 1) % 3] * b[(k + 2) % 3] - a[(k + 2) % 3] * b[(k + 1) % 3]);
export const unit = (a) => { const length = Math.hypot(...a) || 1; return a.map((x) => x / length); };
