// A layer on the sheet, drawn up to a moment.

/** The inks of the page, as its style sheet has them. */
function inks() {
  const style = getComputedStyle(document.documentElement), of = (name) => style.getPropertyValue("--" + name).trim();
  return {
    paper: of("paper"), part: of("part"), line: of("line"), tow: of("tow"), bead: of("bead"), plain: of("plain"),
    thin: of("thin"), rule: of("rule"), mark: of("mark"),
  };
}

// below this a bead's two edges run into each other, px
const EDGES_SHOW = 4;

function trace(ctx, view, points, from, to) {
  ctx.moveTo(view.x(points[from]), view.y(points[from + 1]));
  for (let i = from + 2; i <= to; i += 2) ctx.lineTo(view.x(points[i]), view.y(points[i + 1]));
}

/** The part of a stroke that is laid at a share of its length; the points of it. */
function begun(points, sums, length) {
  let last = 0;
  while (last + 1 < sums.length && sums[last + 1] <= length) last++;
  if (last + 1 >= sums.length) return points;
  const piece = sums[last + 1] - sums[last], f = piece > 0 ? (length - sums[last]) / piece : 0, i = 2 * last;
  const out = new Float64Array(i + 4);
  out.set(points.subarray(0, i + 2));
  out[i + 2] = points[i] + f * (points[i + 2] - points[i]);
  out[i + 3] = points[i + 1] + f * (points[i + 3] - points[i + 1]);
  return out;
}

/** How much of an event's stroke lies there at a time, mm; all of it: Infinity. */
function laidAt(event, time) {
  if (time >= event.t1) return Infinity;
  const share = ([a, b]) => (b > a ? Math.min(1, Math.max(0, (time - a) / (b - a))) : time >= b ? 1 : 0);
  if (event.kind === KIND.COURSE) {
    const c = event.stroke;
    return c.cut * share(event.fed) + (c.length - c.cut) * share(event.tail);
  }
  return event.stroke.length * share([event.t0, event.t1]);
}

/** What lies there at a time: strokes with the points that are laid, by copy. */
function laid(layer, time) {
  const out = [];
  for (const event of layer.events) {
    if (event.t0 > time) break;
    if (!event.stroke) continue;
    const length = laidAt(event, time);
    const stroke = event.stroke;
    if (length === Infinity) out.push({ stroke, points: event.points, tow: stroke.laid || event.points, whole: true, copy: event.copy, event });
    else if (length > 0) {
      const sums = event.points === stroke.points ? stroke.sums : along(event.points), points = begun(event.points, sums, length);
      const tow = stroke.laid ? begun(stroke.laid, stroke.laidSums, length * stroke.laidSums[stroke.laidSums.length - 1] / stroke.length) : points;
      out.push({ stroke, points, tow, whole: false, copy: event.copy, event });
    }
  }
  return out;
}

function fillRings(ctx, view, rings) {
  ctx.beginPath();
  for (const ring of rings) {
    if (!ring.length) continue;
    trace(ctx, view, ring, 0, ring.length - 2);
    ctx.closePath();
  }
}

// strokes in one path: more make one path slow, fewer cost calls
const BATCH = 48;

function strokeAll(ctx, view, list) {
  for (let from = 0; from < list.length; from += BATCH) {
    ctx.beginPath();
    for (let i = from; i < Math.min(list.length, from + BATCH); i++) {
      const { points, stroke, whole, open } = list[i];
      trace(ctx, view, points, 0, points.length - 2);
      if (whole && stroke.closed && !open) ctx.closePath();
    }
    ctx.stroke();
  }
}

function byWidth(list) {
  const groups = new Map();
  for (const item of list) {
    const key = Math.round(item.stroke.width * 50);
    if (!groups.has(key)) groups.set(key, []);
    groups.get(key).push(item);
  }
  return groups;
}

/** Only what can be seen: at a large zoom most of a layer is off the sheet. */
function visible(view, list) {
  const [x0, y1] = view.part(0, 0), [x1, y0] = view.part(view.width, view.height);
  return list.filter(({ stroke }) => {
    const box = boxOf(stroke), w = stroke.width;
    return box[0] - w < x1 && box[2] + w > x0 && box[1] - w < y1 && box[3] + w > y0;
  });
}

function boxOf(stroke) {
  if (!stroke.box) {
    const box = [Infinity, Infinity, -Infinity, -Infinity];
    // tow that trails lies beside the nozzle's way
    for (const p of stroke.laid ? [stroke.points, stroke.laid] : [stroke.points]) {
      for (let i = 0; i < p.length; i += 2) {
        box[0] = Math.min(box[0], p[i]);
        box[1] = Math.min(box[1], p[i + 1]);
        box[2] = Math.max(box[2], p[i]);
        box[3] = Math.max(box[3], p[i + 1]);
      }
    }
    stroke.box = box;
  }
  return stroke.box;
}

/** Runs of pieces of one shade, each drawn as one path. */
function strokeShaded(ctx, view, layer, list, quantity, plain) {
  const runs = new Map();
  for (const { stroke, points } of list) {
    const pieces = points.length / 2 - 1;
    let from = 0, shadeOf = null;
    const flush = (to) => {
      if (to <= from) return;
      if (!runs.has(shadeOf)) runs.set(shadeOf, []);
      runs.get(shadeOf).push([points, 2 * from, 2 * to]);
    };
    if (quantity.on === "both") {
      shadeOf = stepped(quantity.share(layer, stroke, 0));
      flush(pieces);
      continue;
    }
    for (let i = 0; i < pieces; i++) {
      const share = quantity.share(layer, stroke, Math.min(i, stroke.radii.length - 1));
      const now = share === null ? -1 : stepped(share);
      if (now !== shadeOf) {
        flush(i);
        from = i;
        shadeOf = now;
      }
    }
    flush(pieces);
  }
  for (const [k, parts] of [...runs].sort((a, b) => a[0] - b[0])) {
    ctx.strokeStyle = k === -1 ? plain : stepShade(quantity.scale, k);
    ctx.beginPath();
    for (const [points, from, to] of parts) trace(ctx, view, points, from, to);
    ctx.stroke();
  }
}

function drawBeads(ctx, view, layer, list, ink, quantity) {
  ctx.lineCap = "butt";
  const shaded = quantity && quantity.on === "both";
  for (const [key, group] of byWidth(list)) {
    const width = key / 50 * view.scale;
    if (shaded) {
      ctx.lineWidth = Math.max(1, width - 1);
      strokeShaded(ctx, view, layer, group, quantity, ink.bead);
    } else if (width < EDGES_SHOW) {
      ctx.lineWidth = Math.min(1, Math.max(0.35, width * 0.3));
      ctx.strokeStyle = ink.bead;
      strokeAll(ctx, view, group);
    } else {
      ctx.lineWidth = width;
      ctx.strokeStyle = ink.bead;
      strokeAll(ctx, view, group);
      ctx.lineWidth = width - 1.6;
      ctx.strokeStyle = ink.part;
      strokeAll(ctx, view, group);
    }
  }
}

function drawCourses(ctx, view, layer, list, ink, quantity) {
  ctx.lineCap = "butt";
  const width = facts.tow.width * view.scale, gap = Math.min(1.2, 0.3 * width);
  if (quantity && quantity.on === "cells") {
    // the cells show: centre lines only
    ctx.lineWidth = 0.6;
    ctx.strokeStyle = ink.line;
    return strokeAll(ctx, view, list);
  }
  const bands = list.map((l) => (l.tow === l.points ? l : { ...l, points: l.tow, open: true }));
  ctx.lineWidth = width;
  ctx.strokeStyle = ink.part;
  strokeAll(ctx, view, bands);
  ctx.lineWidth = Math.max(0.6, width - gap);
  // quantities belong to the way of the nozzle, which has the radii
  if (quantity) strokeShaded(ctx, view, layer, list, quantity, ink.plain);
  else {
    ctx.strokeStyle = ink.tow;
    strokeAll(ctx, view, bands);
  }
}

/** The nozzle's way as the program commands it, beside the tow that trails it. */
function drawWays(ctx, view, list, ink) {
  ctx.lineCap = "butt";
  for (const [width, style] of [[3.4, ink.part], [1.6, ink.mark]]) {
    ctx.lineWidth = width;
    ctx.strokeStyle = style;
    strokeAll(ctx, view, list);
  }
}

function pointAlong(stroke, length) {
  const { points, sums } = stroke;
  let i = 0;
  while (i + 2 < sums.length && sums[i + 1] < length) i++;
  const piece = sums[i + 1] - sums[i], f = piece > 0 ? Math.min(1, (length - sums[i]) / piece) : 0;
  const dx = points[2 * i + 2] - points[2 * i], dy = points[2 * i + 3] - points[2 * i + 1], l = Math.hypot(dx, dy) || 1;
  return [points[2 * i] + f * dx, points[2 * i + 1] + f * dy, dx / l, dy / l];
}

/** Where courses begin and where they are cut. */
function drawMarks(ctx, view, list, ink) {
  const width = facts.tow.width * view.scale;
  if (width < 3) return;
  ctx.fillStyle = ink.part;
  ctx.strokeStyle = ink.part;
  ctx.lineWidth = Math.max(1.2, 0.08 * width);
  ctx.lineCap = "butt";
  for (const { stroke, whole, points, event } of list) {
    ctx.beginPath();
    ctx.arc(view.x(points[0]), view.y(points[1]), Math.max(1.2, 0.28 * width), 0, 7);
    ctx.fill();
    if (whole || event.cutting[1] <= event.laidUntil) {
      const [x, y, dx, dy] = pointAlong(stroke, stroke.cut), h = width / 2;
      ctx.beginPath();
      ctx.moveTo(view.x(x) + dy * h, view.y(y) + dx * h);
      ctx.lineTo(view.x(x) - dy * h, view.y(y) - dx * h);
      ctx.stroke();
    }
  }
}

/** Centre lines of round holes, long-dashed dotted (ISO 128-2, type 04). */
function drawCentres(ctx, view, rings, ink) {
  ctx.strokeStyle = ink.thin;
  ctx.lineWidth = 0.8;
  ctx.setLineDash([16, 3, 2, 3]);
  for (const ring of rings) {
    const circle = circleOf(ring);
    if (!circle) continue;
    const [x, y, r] = circle, reach = r * view.scale + 9, px = view.x(x), py = view.y(y);
    ctx.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      ctx.moveTo(px, py);
      ctx.lineTo(px + dx * reach, py + dy * reach);
    }
    ctx.stroke();
  }
  ctx.setLineDash([]);
}

function circleOf(ring) {
  if (ring.length < 24) return null;
  let x0 = Infinity, y0 = Infinity, x1 = -Infinity, y1 = -Infinity;
  for (let i = 0; i < ring.length; i += 2) {
    x0 = Math.min(x0, ring[i]);
    x1 = Math.max(x1, ring[i]);
    y0 = Math.min(y0, ring[i + 1]);
    y1 = Math.max(y1, ring[i + 1]);
  }
  const x = (x0 + x1) / 2, y = (y0 + y1) / 2, r = (x1 - x0 + y1 - y0) / 4;
  for (let i = 0; i < ring.length; i += 2) {
    if (Math.abs(Math.hypot(ring[i] - x, ring[i + 1] - y) - r) > 0.02 * r) return null;
  }
  return [x, y, r];
}

/** Where the machine goes without laying, long-dashed double-dotted (type 05). */
function drawTravels(ctx, view, layer, time, ink) {
  ctx.strokeStyle = ink.line;
  ctx.lineWidth = 0.9;
  for (const lifted of [false, true]) {
    ctx.setLineDash(lifted ? [12, 3, 2, 3, 2, 3] : []);
    ctx.beginPath();
    for (const e of layer.events) {
      if (e.t0 > time) break;
      if ((e.kind !== KIND.HOP && e.kind !== KIND.TRAVEL) || !e.from || (e.kind === KIND.TRAVEL) !== lifted) continue;
      const f = time >= e.t1 || e.t1 <= e.t0 ? 1 : (time - e.t0) / (e.t1 - e.t0);
      ctx.moveTo(view.x(e.from[0]), view.y(e.from[1]));
      ctx.lineTo(view.x(e.from[0] + f * (e.to[0] - e.from[0])), view.y(e.from[1] + f * (e.to[1] - e.from[1])));
    }
    ctx.stroke();
  }
  ctx.setLineDash([]);
}

/** The event that goes on at a time. */
function eventAt(layer, time) {
  let lo = 0, hi = layer.events.length - 1;
  while (lo < hi) {
    const mid = (lo + hi) >> 1;
    if (layer.events[mid].t1 <= time) lo = mid + 1;
    else hi = mid;
  }
  return layer.events[lo];
}

/** Where the working nozzle is at a time; null where nobody has said. */
function nozzleAt(layer, time) {
  const e = eventAt(layer, time);
  if (!e) return null;
  const [dx, dy] = facts.copies[e.copy] || [0, 0];
  if (e.stroke) {
    const length = Math.min(e.stroke.length, laidAt(e, time));
    const sums = e.points === e.stroke.points ? e.stroke.sums : along(e.points);
    const [x, y] = pointAlong({ points: e.points, sums }, length);
    return [x + dx, y + dy];
  }
  if (e.to) {
    const f = e.t1 > e.t0 ? Math.min(1, Math.max(0, (time - e.t0) / (e.t1 - e.t0))) : 1, a = e.from || e.to;
    return [a[0] + f * (e.to[0] - a[0]), a[1] + f * (e.to[1] - a[1])];
  }
  return null;
}

function drawNozzle(ctx, view, at, ink) {
  const x = view.x(at[0]), y = view.y(at[1]);
  ctx.strokeStyle = ink.mark;
  ctx.lineWidth = 2;
  ctx.beginPath();
  ctx.arc(x, y, 8, 0, 7);
  ctx.moveTo(x - 14, y);
  ctx.lineTo(x + 14, y);
  ctx.moveTo(x, y - 14);
  ctx.lineTo(x, y + 14);
  ctx.stroke();
}

function drawCells(ctx, view, layer, name, quantity) {
  const field = fieldOf(layer), s = field.side * view.scale;
  for (let k = 0; k < field.rows; k++) {
    for (let i = 0; i < field.columns; i++) {
      const v = field[name][k * field.columns + i];
      if (Number.isNaN(v)) continue;
      // too much is the orange end of the scale
      const t = name === "fibre" ? v / field.most : 0.5 - v * 100 / BALANCE_MOST / 2;
      ctx.fillStyle = shade(quantity.scale, t);
      ctx.fillRect(view.x(field.x + i * field.side), view.y(field.y + (k + 1) * field.side), s + 0.5, s + 0.5);
    }
  }
}

/** The whole sheet. `scene`: layer, below, time, show, quantityName, picked, measure, marks. */
function drawSheet(ctx, view, scene) {
  const { layer, time, show } = scene, ink = inks();
  const quantity = QUANTITIES[scene.quantityName] || null;
  ctx.lineJoin = "round";
  ctx.fillStyle = ink.paper;
  ctx.fillRect(0, 0, view.width, view.height);
  const there = laid(layer, time), copies = facts.copies.length;
  for (let copy = 0; copy < copies; copy++) {
    const shifted = shiftedView(view, copy);
    fillRings(ctx, shifted, layer.rings);
    ctx.fillStyle = ink.part;
    ctx.fill("evenodd");
    if (quantity && quantity.on === "cells") {
      ctx.save();
      ctx.clip("evenodd");
      drawCells(ctx, shifted, layer, scene.quantityName, quantity);
      ctx.restore();
    }
    const list = visible(shifted, there.filter((l) => l.copy === copy));
    const cells = quantity && quantity.on === "cells";
    if (show.beads && !cells) drawBeads(ctx, shifted, layer, list.filter((l) => l.stroke.bead), ink, quantity);
    if (show.courses) {
      const courses = list.filter((l) => !l.stroke.bead);
      for (const c of courses) c.event.laidUntil = time;
      drawCourses(ctx, shifted, layer, courses, ink, quantity);
      if (show.ways) drawWays(ctx, shifted, courses, ink);
      if (!cells) drawMarks(ctx, shifted, courses, ink);
    }
    if (scene.below) {
      // hidden edges: dashed (type 02)
      fillRings(ctx, shifted, scene.below.rings);
      ctx.setLineDash([7, 3]);
      ctx.lineWidth = 1;
      ctx.strokeStyle = ink.thin;
      ctx.stroke();
      ctx.setLineDash([]);
    }
    fillRings(ctx, shifted, layer.rings);
    ctx.lineWidth = 2;
    ctx.strokeStyle = ink.line;
    ctx.stroke();
    drawCentres(ctx, shifted, layer.rings, ink);
  }
  if (show.travels) drawTravels(ctx, view, layer, time, ink);
  if (show.marks) {
    for (let copy = 0; copy < copies; copy++) drawCrosses(ctx, shiftedView(view, copy), scene.marks, ink);
  }
  if (scene.picked) drawPicked(ctx, view, scene.picked, ink);
  const nozzle = time < layer.duration && nozzleAt(layer, time);
  if (nozzle) drawNozzle(ctx, view, nozzle, ink);
  if (scene.flag) drawFlag(ctx, view, scene.flag, ink);
  if (scene.measure) drawMeasure(ctx, view, scene.measure, ink);
  if (scene.cross) drawMiddle(ctx, view, ink);
  drawScaleBar(ctx, view, ink);
}

function shiftedView(view, copy) {
  const [dx, dy] = facts.copies[copy];
  if (!dx && !dy) return view;
  const out = Object.assign(new View(), view);
  out.x0 += dx * view.scale;
  out.y0 -= dy * view.scale;
  return out;
}

/** Where crosses stand on the screen, none nearer to another than so many px: those hidden come out as one looks closer. */
function apart(marks, view, least) {
  const taken = new Map(), out = [];
  for (const [, x, y] of marks) {
    const px = view.x(x), py = view.y(y), i = Math.floor(px / least), k = Math.floor(py / least);
    let free = true;
    for (let a = i - 1; a <= i + 1 && free; a++) {
      for (let b = k - 1; b <= k + 1 && free; b++) {
        for (const [qx, qy] of taken.get(a + " " + b) || []) free = free && Math.hypot(px - qx, py - qy) >= least;
      }
    }
    if (!free) continue;
    const key = i + " " + k;
    if (taken.has(key)) taken.get(key).push([px, py]);
    else taken.set(key, [[px, py]]);
    out.push([px, py]);
  }
  return out;
}

/** Crosses where tow is left out. */
function drawCrosses(ctx, view, marks, ink) {
  // small where the part is: they say where tow is missing and must not hide what is there
  const size = Math.min(6, Math.max(1.5, 0.6 * view.scale)), places = apart(marks, view, 3 * size);
  for (const [r, width, style] of [[size + 0.17 * size, 0.83 * size, ink.part], [size, Math.max(0.8, size / 3), ink.line]]) {
    ctx.strokeStyle = style;
    ctx.lineWidth = width;
    ctx.beginPath();
    for (const [px, py] of places) {
      ctx.moveTo(px - r, py - r);
      ctx.lineTo(px + r, py + r);
      ctx.moveTo(px - r, py + r);
      ctx.lineTo(px + r, py - r);
    }
    ctx.stroke();
  }
}

/** A pole with a flag: the place that a line of the page led to. */
function drawFlag(ctx, view, [x, y], ink) {
  const px = view.x(x), py = view.y(y);
  ctx.strokeStyle = ink.mark;
  ctx.lineWidth = 2.5;
  ctx.beginPath();
  ctx.arc(px, py, 14, 0, 7);
  ctx.moveTo(px + 10, py - 10);
  ctx.lineTo(px + 30, py - 30);
  ctx.stroke();
}

function drawPicked(ctx, view, stroke, ink) {
  const width = Math.max(2, stroke.width * view.scale);
  for (const [w, style] of [[width + 5, ink.mark], [width + 1, ink.part], [Math.max(1, width - 1.2), stroke.bead ? ink.bead : ink.tow]]) {
    ctx.lineWidth = w;
    ctx.strokeStyle = style;
    ctx.beginPath();
    const points = stroke.laid || stroke.points;
    trace(ctx, view, points, 0, points.length - 2);
    if (stroke.closed && !stroke.laid) ctx.closePath();
    ctx.stroke();
  }
  if (stroke.where) {
    // the tightest bend
    const x = view.x(stroke.where[0]), y = view.y(stroke.where[1]);
    ctx.lineWidth = 2;
    ctx.strokeStyle = ink.mark;
    ctx.fillStyle = ink.part;
    ctx.beginPath();
    ctx.rect(x - 5, y - 5, 10, 10);
    ctx.fill();
    ctx.stroke();
  }
}

function drawMeasure(ctx, view, { from, to }, ink) {
  const [x0, y0, x1, y1] = [view.x(from[0]), view.y(from[1]), view.x(to[0]), view.y(to[1])];
  const l = Math.hypot(x1 - x0, y1 - y0) || 1, dx = (x1 - x0) / l, dy = (y1 - y0) / l;
  ctx.strokeStyle = ctx.fillStyle = ink.mark;
  ctx.lineWidth = 1.5;
  ctx.beginPath();
  ctx.moveTo(x0, y0);
  ctx.lineTo(x1, y1);
  for (const [x, y] of [[x0, y0], [x1, y1]]) {
    ctx.moveTo(x + dy * 9, y - dx * 9);
    ctx.lineTo(x - dy * 9, y + dx * 9);
  }
  ctx.stroke();
  // arrow heads, closed and filled (ISO 129-1)
  if (l > 24) {
    for (const [x, y, s] of [[x0, y0, 1], [x1, y1, -1]]) {
      ctx.beginPath();
      ctx.moveTo(x, y);
      ctx.lineTo(x + s * dx * 11 + dy * 2.5, y + s * dy * 11 - dx * 2.5);
      ctx.lineTo(x + s * dx * 11 - dy * 2.5, y + s * dy * 11 + dx * 2.5);
      ctx.fill();
    }
  }
  const text = measured(from, to);
  ctx.font = "600 14px ui-monospace, 'DejaVu Sans Mono', monospace";
  const w = ctx.measureText(text).width, mx = (x0 + x1) / 2, my = (y0 + y1) / 2;
  ctx.fillStyle = ink.paper;
  ctx.fillRect(mx - w / 2 - 5, my - 11, w + 10, 22);
  ctx.fillStyle = ink.line;
  ctx.fillText(text, mx - w / 2, my + 5);
}

const measured = (from, to) => Math.hypot(to[0] - from[0], to[1] - from[1]).toFixed(3) + " mm";

function drawMiddle(ctx, view, ink) {
  const x = view.width / 2, y = view.height / 2;
  ctx.strokeStyle = ink.mark;
  ctx.lineWidth = 1.5;
  ctx.beginPath();
  ctx.moveTo(x - 10, y);
  ctx.lineTo(x + 10, y);
  ctx.moveTo(x, y - 10);
  ctx.lineTo(x, y + 10);
  ctx.stroke();
}

function drawScaleBar(ctx, view, ink) {
  const lengths = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];
  const length = lengths.find((l) => l * view.scale >= (view.width < 500 ? 25 : 70)) || 2000, w = length * view.scale, x = 14;
  // where the plate takes the foot of the sheet the bar stands at its head
  const y = view.width < 500 ? 14 : view.height - 16;
  ctx.strokeStyle = ctx.fillStyle = ink.line;
  ctx.lineWidth = 1;
  ctx.strokeRect(x, y, w, 5);
  ctx.fillRect(x, y, w / 2, 5);
  ctx.font = "12px ui-monospace, 'DejaVu Sans Mono', monospace";
  ctx.fillText(`${length} mm`, x + w + 6, y + 6);
}
