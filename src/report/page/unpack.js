// Layers from their packed form (see pack.rs). Lengths in mm, times in s.

const facts = JSON.parse(document.getElementById("facts").textContent);

/** Reads numbers from the bytes of a block. */
class Reader {
  constructor(base64) {
    const text = atob(base64);
    this.bytes = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) this.bytes[i] = text.charCodeAt(i);
    this.at = 0;
    this.x = 0;
    this.y = 0;
  }

  // no shifts: a number may need more than 31 bits
  whole() {
    let value = 0, scale = 1, byte;
    do {
      byte = this.bytes[this.at++];
      value += (byte & 127) * scale;
      scale *= 128;
    } while (byte > 127);
    return value;
  }

  signed() {
    const v = this.whole();
    return v % 2 ? -(v + 1) / 2 : v / 2;
  }

  /** Steps to the next place. */
  place() {
    this.x += this.signed();
    this.y += this.signed();
  }

  get end() {
    return this.at >= this.bytes.length;
  }
}

/** A block by its number; null while the page is still being read. */
function block(number) {
  const element = document.getElementById("block-" + number);
  return element ? new Reader(element.textContent) : null;
}

const mm = facts.step;

function readRings(reader) {
  const rings = [];
  for (let n = reader.whole(); n > 0; n--) {
    const points = new Float64Array(2 * reader.whole());
    for (let i = 0; i < points.length; i += 2) {
      reader.place();
      points[i] = reader.x * mm;
      points[i + 1] = reader.y * mm;
    }
    rings.push(points);
  }
  return rings;
}

/** Lengths from the first point to each point. */
function along(points) {
  const sums = new Float64Array(points.length / 2);
  for (let i = 1; i < sums.length; i++) {
    sums[i] = sums[i - 1] + Math.hypot(points[2 * i] - points[2 * i - 2], points[2 * i + 1] - points[2 * i - 1]);
  }
  return sums;
}

function readBeads(reader) {
  const beads = [];
  if (reader.end) return beads;
  let width = 0, area = 0;
  for (let n = reader.whole(), index = 0; n > 0; n--, index++) {
    const flags = reader.whole();
    if (!(flags & 4)) {
      width = reader.whole() / 1e3;
      area = reader.whole() / 1e5;
    }
    const closed = !!(flags & 2), count = reader.whole();
    const points = new Float64Array(2 * (count + (closed ? 1 : 0)));
    for (let i = 0; i < 2 * count; i += 2) {
      reader.place();
      points[i] = reader.x * mm;
      points[i + 1] = reader.y * mm;
    }
    if (closed) {
      points[2 * count] = points[0];
      points[2 * count + 1] = points[1];
    }
    const sums = along(points);
    beads.push({ bead: true, index, perimeter: !!(flags & 1), closed, width, area, points, sums, length: sums[sums.length - 1] || 0 });
  }
  return beads;
}

// chords stay this close to an arc
const SAGITTA = 0.01;

function readCourses(reader, number) {
  const courses = [];
  for (let n = reader.whole(), index = 0; n > 0; n--, index++) {
    const flags = reader.whole(), closed = !!(flags & 1), rank = reader.whole();
    const length = reader.whole() / 1e3, cut = reader.whole() / 1e3, radius = reader.whole() / 1e3;
    const pieces = reader.whole(), flat = [], radii = [];
    reader.place();
    flat.push(reader.x * mm, reader.y * mm);
    let tightest = Infinity, where = null;
    for (let k = 0; k < pieces; k++) {
      const kind = reader.whole(), x0 = reader.x * mm, y0 = reader.y * mm;
      let cx = 0, cy = 0;
      if (kind) {
        cx = (reader.x + reader.signed()) * mm;
        cy = (reader.y + reader.signed()) * mm;
      }
      reader.place();
      const x1 = reader.x * mm, y1 = reader.y * mm;
      if (!kind) {
        flat.push(x1, y1);
        radii.push(Infinity);
        continue;
      }
      const r = Math.hypot(x0 - cx, y0 - cy), from = Math.atan2(y0 - cy, x0 - cx);
      let turn = Math.atan2(y1 - cy, x1 - cx) - from;
      if (kind === 1 && turn < 0) turn += 2 * Math.PI;
      if (kind === 2 && turn > 0) turn -= 2 * Math.PI;
      const step = r > SAGITTA ? 2 * Math.acos(1 - SAGITTA / r) : 1;
      const chords = Math.max(1, Math.min(2000, Math.ceil(Math.abs(turn) / step)));
      for (let c = 1; c < chords; c++) {
        const a = from + turn * c / chords;
        flat.push(cx + r * Math.cos(a), cy + r * Math.sin(a));
        radii.push(r);
      }
      flat.push(x1, y1);
      radii.push(r);
      if (r < tightest) {
        tightest = r;
        const a = from + turn / 2;
        where = [cx + r * Math.cos(a), cy + r * Math.sin(a)];
      }
    }
    const points = Float64Array.from(flat);
    // where the tow lies: behind the nozzle's way where it trails
    let laid = null, off = 0, offAt = null;
    if (flags & 2) {
      off = reader.whole() / 1e3;
      offAt = [(reader.x + reader.signed()) * mm, (reader.y + reader.signed()) * mm];
      laid = new Float64Array(2 * reader.whole());
      for (let i = 0; i < laid.length; i += 2) {
        reader.place();
        laid[i] = reader.x * mm;
        laid[i + 1] = reader.y * mm;
      }
    }
    courses.push({
      bead: false, index, id: "L" + number + "." + (index + 1), rank, closed, length, cut,
      radius: radius || Infinity, where, width: facts.tow.width, points, radii, sums: along(points),
      laid, laidSums: laid && along(laid), off, offAt,
    });
  }
  return courses;
}

const KIND = { END: 0, HOP: 1, TRAVEL: 2, BEAD: 3, COURSE: 4, HEAD: 5, HEAT: 6, PURGE: 7, COPY: 8, PAUSE: 9, HOP_BEAD: 10, TRAVEL_BEAD: 11 };
const NUMBERED = 16, WALKED = 32;

/** A bead's points in the order laid. */
function walked(bead, code) {
  const p = bead.points, n = p.length;
  if (bead.closed) {
    const start = 2 * (code / 2), out = new Float64Array(n);
    if (start === 0 || start >= n - 2) return p;
    out.set(p.subarray(start, n - 2), 0);
    out.set(p.subarray(0, start + 2), n - 2 - start);
    return out;
  }
  if (code !== 1) return p;
  const out = new Float64Array(n);
  for (let i = 0; i < n; i += 2) {
    out[i] = p[n - 2 - i];
    out[i + 1] = p[n - 1 - i];
  }
  return out;
}

function readEvents(reader, beads, courses) {
  const events = [];
  let now = 0, copy = 0, bead = -1, head = -1, known = false;
  const spend = () => { const from = now; now += reader.whole() / 1e3; return [from, now]; };
  for (;;) {
    const kind = reader.whole();
    if (kind === KIND.END) break;
    if (kind === KIND.COPY) {
      copy = reader.whole();
      continue;
    }
    const event = { kind, copy, head }, base = kind % NUMBERED;
    if (base === KIND.BEAD || base === KIND.HOP_BEAD || base === KIND.TRAVEL_BEAD) {
      bead += kind & NUMBERED ? reader.signed() + 1 : 1;
      const stroke = beads[bead], points = walked(stroke, kind & WALKED ? reader.whole() : 0);
      if (base !== KIND.BEAD) {
        const from = known ? [reader.x * mm, reader.y * mm] : null, [dx, dy] = facts.copies[copy] || [0, 0];
        const [t0, t1] = spend();
        events.push({ kind: base === KIND.HOP_BEAD ? KIND.HOP : KIND.TRAVEL, copy, head, from, to: [points[0] + dx, points[1] + dy], t0, t1 });
      }
      known = true;
      event.kind = KIND.BEAD;
      event.stroke = stroke;
      event.points = points;
      [event.t0, event.t1] = spend();
      reader.x = Math.round(points[points.length - 2] / mm);
      reader.y = Math.round(points[points.length - 1] / mm);
      shiftTo(reader, copy);
    } else if (kind === KIND.HOP || kind === KIND.TRAVEL || kind === KIND.PURGE) {
      event.from = known ? [reader.x * mm, reader.y * mm] : null;
      reader.place();
      event.to = [reader.x * mm, reader.y * mm];
      known = true;
      [event.t0, event.t1] = spend();
    } else if (kind === KIND.COURSE) {
      const stroke = courses[reader.whole()];
      event.stroke = stroke;
      event.points = stroke.points;
      event.thread = spend();
      event.fed = spend();
      event.cutting = spend();
      event.tail = spend();
      event.t0 = event.thread[0];
      event.t1 = event.tail[1];
      const p = stroke.points;
      reader.x = Math.round(p[p.length - 2] / mm);
      reader.y = Math.round(p[p.length - 1] / mm);
      shiftTo(reader, copy);
    } else {
      if (kind === KIND.HEAD) {
        head = event.head = reader.whole();
        // the other nozzle stands elsewhere
        known = false;
      }
      [event.t0, event.t1] = spend();
    }
    events.push(event);
  }
  return events;
}

// strokes are told in the plane of the first copy, travels go to where they are
function shiftTo(reader, copy) {
  const [dx, dy] = facts.copies[copy] || [0, 0];
  reader.x += Math.round(dx / mm);
  reader.y += Math.round(dy / mm);
}

const layersKnown = new Map();
const LAYERS_KEPT = 40;

/** A layer by its index from 0; null while its data are not there yet. */
function layerAt(index) {
  if (layersKnown.has(index)) {
    const layer = layersKnown.get(index);
    layersKnown.delete(index);
    layersKnown.set(index, layer);
    return layer;
  }
  const row = facts.layers[index];
  if (!row) return null;
  const [number, bottom, height, blocks, begin, end, angles] = row;
  const readers = blocks.map(block);
  if (readers.some((r) => !r)) return null;
  const rings = readRings(readers[0]), beads = readBeads(readers[1]), courses = readCourses(readers[2], number);
  const layer = { index, number, bottom, height, begin, end, angles, rings, beads, courses, events: readEvents(readers[3], beads, courses) };
  layer.duration = layer.events.length ? layer.events[layer.events.length - 1].t1 : 0;
  // when each stroke of the first copy is laid
  for (const e of layer.events) {
    if (e.stroke && e.copy === 0) {
      e.stroke.t0 = e.t0;
      e.stroke.t1 = e.t1;
      e.stroke.event = e;
    }
  }
  layersKnown.set(index, layer);
  if (layersKnown.size > LAYERS_KEPT) layersKnown.delete(layersKnown.keys().next().value);
  return layer;
}

/** Outline and courses of a layer alone, for the stack. */
function sketchAt(index) {
  const row = facts.layers[index];
  const outline = row && block(row[3][0]), courses = row && block(row[3][2]);
  if (!outline || !courses) return null;
  return { number: row[0], bottom: row[1], height: row[2], rings: readRings(outline), courses: readCourses(courses, row[0]) };
}
