// The bench: what the reader does, and what it does to the drawing.

const $ = (id) => document.getElementById(id);

const state = {
  index: facts.first, time: Infinity, quantity: "", playing: false, show: { courses: true, beads: true, travels: false, ways: false, marks: true },
  picked: null, hovered: null, measuring: false, from: null, to: null, flag: null, stack: false, keyed: false,
};

const sheet = $("sheet"), drawing = $("drawing"), view = new View();
const ctx = drawing.getContext("2d");
let stack = null, asked = false, fitted = false;

/** Draws at the next frame; many changes, one drawing. */
function refresh() {
  if (asked) return;
  asked = true;
  requestAnimationFrame(() => {
    asked = false;
    if (state.stack) drawStack();
    else paint();
  });
}

function resize() {
  const box = sheet.getBoundingClientRect(), ratio = window.devicePixelRatio || 1;
  const width = Math.max(50, sheet.clientWidth), height = Math.max(50, sheet.clientHeight);
  // a canvas that gets a size is cleared, also one that it has already
  if (fitted && width === view.width && height === view.height && ratio === view.ratio) return;
  for (const canvas of [drawing, $("stack")]) {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
  }
  const moved = [width - view.width, height - view.height];
  view.width = width;
  view.height = height;
  view.ratio = ratio;
  if (!fitted && box.width && facts.bounds) {
    view.fit(allBounds());
    fitted = true;
  } else view.pan(moved[0] / 2, moved[1] / 2);
  // at once: the next frame would show the cleared one before
  if (!state.stack) paint();
  refresh();
}

function paint() {
  const layer = layerAt(state.index);
  ctx.setTransform(view.ratio, 0, 0, view.ratio, 0, 0);
  if (!layer) {
    ctx.fillStyle = inks().paper;
    ctx.fillRect(0, 0, view.width, view.height);
    if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", refresh, { once: true });
    return;
  }
  const below = facts.layers[state.index - 1], same = below && below[3][0] === facts.layers[state.index][3][0];
  drawSheet(ctx, view, {
    layer, below: below && !same ? outlineOf(state.index - 1) : null,
    time: state.time, show: state.show, quantityName: state.quantity,
    picked: state.picked, flag: state.flag && state.flag.layer === layer.number ? state.flag.at : null,
    marks: facts.marks.filter((m) => m[0] === layer.number),
    measure: state.from && state.to ? { from: state.from, to: state.to } : null,
    cross: state.keyed && state.measuring,
  });
}

const outlines = new Map();
function outlineOf(index) {
  const number = facts.layers[index][3][0];
  if (!outlines.has(number)) {
    const reader = block(number);
    if (!reader) return null;
    outlines.set(number, { rings: readRings(reader) });
  }
  return outlines.get(number);
}

function drawStack() {
  const whole = stack.build(24);
  stack.cut = state.index;
  stack.draw(state.show);
  if (!whole) refresh();
  else if (stack.step > 1) say("the stack is too large to be drawn whole: its upper layers are missing here");
}

function say(text) {
  $("readout").textContent = text;
}

/** Another layer, complete, unless a time is asked for. */
function goTo(index, time = Infinity) {
  state.index = Math.min(facts.layers.length - 1, Math.max(0, index));
  state.time = time;
  state.picked = state.hovered = null;
  const layer = layerAt(state.index);
  if (!layer) document.addEventListener("DOMContentLoaded", () => goTo(state.index, time), { once: true });
  $("layer").value = state.index + 1;
  $("cut").value = state.index + 1;
  tell();
  listCourses(layer);
  refresh();
}

/** Words and controls that follow from the state. */
function tell() {
  const row = facts.layers[state.index], layer = layerAt(state.index);
  if (!row) return;
  const top = row[1] + row[2], z = `z ${row[1].toFixed(2)} to ${top.toFixed(2)} mm`;
  $("layer-says").textContent = `${row[0]} of ${facts.layers.length}, ${z}`;
  $("layer").setAttribute("aria-valuetext", `layer ${row[0]}, ${z}`);
  $("cut-says").textContent = `${top.toFixed(2)} mm`;
  $("plate").textContent = `${facts.name}\nlayer ${row[0]} of ${facts.layers.length}   ${z}`;
  if (!layer) return;
  const time = Math.min(state.time, layer.duration), duration = layer.duration || 1;
  $("time").value = 1000 * time / duration;
  const what = doing(layer, state.time);
  $("time-says").textContent = `${time.toFixed(1)} of ${layer.duration.toFixed(1)} s: ${what}`;
  $("time").setAttribute("aria-valuetext", `${time.toFixed(0)} of ${layer.duration.toFixed(0)} seconds, ${what}`);
  drawing.setAttribute("aria-label", `drawing of layer ${row[0]} of ${facts.layers.length}, ${z}: ${layer.courses.length} courses, ${layer.beads.length} beads; ${what}`);
  legend(layer);
}

function legend(layer) {
  const box = $("legend"), q = QUANTITIES[state.quantity];
  box.hidden = !q;
  if (!q) return;
  box.textContent = "";
  const title = document.createElement("div"), bar = document.createElement("canvas"), ends = document.createElement("div");
  title.textContent = q.title;
  bar.width = 220;
  bar.height = 14;
  const c = bar.getContext("2d"), name = state.quantity;
  for (let x = 0; x < 220; x++) {
    const t = (x + 0.5) / 220;
    c.fillStyle = q.on === "cells" ? shade(q.scale, name === "fill" ? 1 - t : t) : stepShade(q.scale, stepped(t));
    c.fillRect(x, 0, 1, 14);
  }
  ends.className = "ends";
  for (const text of q.ends(layer, q.on === "cells" ? fieldOf(layer) : null)) {
    const end = document.createElement("span");
    end.textContent = text;
    ends.append(end);
  }
  box.append(title, bar, ends);
  const notes = [q.note, q.on === "cells" ? `squares of ${cellSide(facts.bounds).toFixed(1)} mm, whole layer` : null, name === "bend" ? `limit of the tow ${facts.tow.radius} mm` : null];
  for (const text of notes) {
    if (!text) continue;
    const line = document.createElement("div");
    line.textContent = text;
    box.append(line);
  }
}

function listCourses(layer) {
  const list = $("course");
  list.textContent = "";
  list.append(new Option("none picked", ""));
  for (const c of layer ? layer.courses : []) {
    list.append(new Option(`${c.id} ${(facts.regions[c.rank] || [""])[0]}`, c.index));
  }
}

function pick(stroke) {
  state.picked = stroke;
  const layer = layerAt(state.index);
  $("course").value = stroke && !stroke.bead ? stroke.index : "";
  say(stroke ? about(layer, stroke).join("; ") + "." : "");
  refresh();
}

/** The next or the last course, wherever it lies. */
function pickNext(step) {
  const layer = layerAt(state.index);
  if (!layer || !layer.courses.length) return say("this layer has no course.");
  const n = layer.courses.length, at = state.picked && !state.picked.bead ? state.picked.index + step : step > 0 ? 0 : n - 1;
  const course = layer.courses[(at + n) % n];
  if (!(course.t0 <= state.time)) setTime(Infinity);
  pick(course);
}

function setTime(time) {
  const layer = layerAt(state.index);
  if (!layer) return;
  state.time = time >= layer.duration ? Infinity : Math.max(0, time);
  tell();
  refresh();
}

/** To the next or the last event: bead, course, travel, change. */
function stepTime(step) {
  const layer = layerAt(state.index);
  if (!layer) return;
  const now = Math.min(state.time, layer.duration), times = layer.events.map((e) => e.t1);
  const next = step > 0 ? times.find((t) => t > now + 1e-6) : times.filter((t) => t < now - 1e-6).pop();
  setTime(next === undefined ? (step > 0 ? Infinity : 0) : next);
}

let last = 0;
function play(on) {
  state.playing = on;
  $("play").setAttribute("aria-pressed", on);
  $("play").textContent = on ? "Pause" : "Play";
  if (!on) return;
  if (state.time === Infinity) setTime(0);
  last = performance.now();
  const tick = (now) => {
    if (!state.playing) return;
    setTime(state.time + (now - last) / 1000 * Number($("pace").value));
    last = now;
    if (state.time !== Infinity) return requestAnimationFrame(tick);
    // the work goes on in the next layer
    if (state.index + 1 < facts.layers.length) {
      goTo(state.index + 1, 0);
      requestAnimationFrame(tick);
    } else play(false);
  };
  requestAnimationFrame(tick);
}

function measureMode(on) {
  state.measuring = on;
  state.from = state.to = null;
  $("measure").setAttribute("aria-pressed", on);
  say(on ? "measure: pick two points; with keys, M sets one at the cross in the middle." : "");
  refresh();
}

function measurePoint(at) {
  if (!state.from || state.fixed) {
    state.from = at;
    state.to = null;
    state.fixed = false;
    say(`measured from x ${at[0].toFixed(3)}, y ${at[1].toFixed(3)} mm.`);
  } else {
    state.to = at;
    state.fixed = true;
    const [dx, dy] = [at[0] - state.from[0], at[1] - state.from[1]];
    say(`${measured(state.from, at)}: ${dx.toFixed(3)} mm along x, ${dy.toFixed(3)} mm along y.`);
  }
  refresh();
}

function stackMode(on) {
  if (on && !stack) stack = new Stack($("stack"));
  if (on && !stack.gl) {
    $("stack-on").disabled = true;
    return say("this browser offers no WebGL2, which the stack needs.");
  }
  state.stack = on;
  play(false);
  $("stack-on").setAttribute("aria-pressed", on);
  $("stack").hidden = !on;
  drawing.hidden = on;
  for (const id of ["cut", "through"]) $(id).disabled = !on;
  $("legend").hidden = on || !state.quantity;
  $("tip").hidden = true;
  refresh();
}

function zoomBy(factor, px = view.width / 2, py = view.height / 2) {
  if (state.stack) stack.zoom = Math.min(40, Math.max(0.2, stack.zoom * factor));
  else view.zoom(px, py, factor);
  refresh();
}

/** All copies as they lie beside one another. */
function allBounds() {
  const [x0, y0, x1, y1] = facts.bounds;
  const xs = facts.copies.map((c) => c[0]), ys = facts.copies.map((c) => c[1]);
  return [x0 + Math.min(0, ...xs), y0 + Math.min(0, ...ys), x1 + Math.max(0, ...xs), y1 + Math.max(0, ...ys)];
}

function fit() {
  if (state.stack) stack.home();
  else if (facts.bounds) view.fit(allBounds());
  refresh();
}

/** To a place that a line of the page names, as #layer=8&at=3.1,4.2 */
function followHash() {
  const words = new URLSearchParams(location.hash.slice(1)), number = Number(words.get("layer"));
  const index = facts.layers.findIndex((l) => l[0] === number);
  if (index < 0) return false;
  if (state.stack) stackMode(false);
  goTo(index);
  const at = (words.get("at") || "").split(",").map(Number);
  state.flag = null;
  if (at.length === 2 && at.every(Number.isFinite)) {
    state.flag = { layer: number, at };
    view.centre(at[0], at[1], 30);
    say(`layer ${number}, x ${at[0]}, y ${at[1]} mm: the ringed place.`);
  } else if (facts.bounds) view.fit(allBounds());
  refresh();
  return true;
}

// ---- pointer ----

const pointers = new Map();
let dragged = 0;

const placeOf = (event) => {
  const box = sheet.getBoundingClientRect();
  return [event.clientX - box.left - sheet.clientLeft, event.clientY - box.top - sheet.clientTop];
};

function pointers2() {
  const [a, b] = [...pointers.values()];
  return { x: (a[0] + b[0]) / 2, y: (a[1] + b[1]) / 2, d: Math.hypot(a[0] - b[0], a[1] - b[1]) };
}

function onMove(event) {
  const at = placeOf(event), before = pointers.get(event.pointerId);
  if (!before) return hover(at);
  const two = pointers.size === 2 ? pointers2() : null;
  pointers.set(event.pointerId, at);
  const dx = at[0] - before[0], dy = at[1] - before[1];
  dragged += Math.abs(dx) + Math.abs(dy);
  if (two) {
    const now = pointers2();
    if (two.d > 0) zoomBy(now.d / two.d, now.x, now.y);
    if (!state.stack) view.pan(now.x - two.x, now.y - two.y);
  } else if (state.stack) {
    if (event.shiftKey) stack.shift = [stack.shift[0] + 2 * dx / view.width, stack.shift[1] - 2 * dy / view.height];
    else {
      stack.turn += dx * 0.01;
      stack.tilt = Math.min(Math.PI / 2, Math.max(-Math.PI / 2, stack.tilt - dy * 0.01));
    }
  } else view.pan(dx, dy);
  refresh();
}

function hover([px, py]) {
  const tip = $("tip"), layer = layerAt(state.index);
  tip.hidden = true;
  if (state.stack || !layer) return;
  const [x, y] = view.part(px, py);
  if (state.measuring && state.from && !state.fixed) {
    state.to = [x, y];
    refresh();
  }
  let stroke = null, dx = 0, dy = 0;
  for (const [cx, cy] of facts.copies) {
    stroke = strokeAt(layer, view, x - cx, y - cy, state.time, state.show);
    if (stroke) {
      [dx, dy] = [cx, cy];
      break;
    }
  }
  state.hovered = stroke;
  const lines = stroke ? about(layer, stroke) : [];
  if (!lines.length) return;
  tip.textContent = [...lines, `here x ${(x - dx).toFixed(2)}, y ${(y - dy).toFixed(2)} mm`].join("\n");
  tip.hidden = false;
  const w = tip.offsetWidth, h = tip.offsetHeight;
  tip.style.left = Math.max(0, Math.min(view.width - w - 4, px + 16)) + "px";
  tip.style.top = (py + 20 + h < view.height ? py + 16 : Math.max(0, py - h - 12)) + "px";
}

function listen() {
  sheet.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    pointers.set(event.pointerId, placeOf(event));
    dragged = 0;
    state.keyed = false;
    sheet.setPointerCapture(event.pointerId);
  });
  sheet.addEventListener("pointermove", onMove);
  const up = (event) => {
    const at = pointers.get(event.pointerId);
    pointers.delete(event.pointerId);
    if (!at || dragged > 5 || event.type !== "pointerup" || state.stack) return;
    if (state.measuring) return measurePoint(view.part(...at));
    hover(at);
    pick(state.hovered);
  };
  for (const name of ["pointerup", "pointercancel"]) sheet.addEventListener(name, up);
  sheet.addEventListener("pointerleave", () => { $("tip").hidden = true; });
  sheet.addEventListener("wheel", (event) => {
    event.preventDefault();
    // lines and pages as pixels
    const step = event.deltaY * (event.deltaMode === 1 ? 16 : event.deltaMode === 2 ? 400 : 1);
    zoomBy(Math.exp(-step * 0.0015), ...placeOf(event));
  }, { passive: false });
  sheet.addEventListener("keydown", onKey);
  $("layer").addEventListener("input", () => goTo($("layer").value - 1));
  $("time").addEventListener("input", () => {
    const layer = layerAt(state.index);
    if (layer) setTime($("time").value >= 1000 ? Infinity : layer.duration * $("time").value / 1000);
  });
  $("play").addEventListener("click", () => play(!state.playing));
  for (const what of ["courses", "beads", "travels", "ways", "marks"]) {
    $("show-" + what).addEventListener("change", (event) => {
      state.show[what] = event.target.checked;
      refresh();
    });
  }
  $("quantity").addEventListener("change", () => {
    state.quantity = $("quantity").value;
    tell();
    refresh();
  });
  $("course").addEventListener("change", () => {
    const layer = layerAt(state.index), value = $("course").value;
    pick(value === "" || !layer ? null : layer.courses[Number(value)]);
  });
  $("closer").addEventListener("click", () => zoomBy(1.4));
  $("further").addEventListener("click", () => zoomBy(1 / 1.4));
  $("fit").addEventListener("click", fit);
  $("measure").addEventListener("click", () => measureMode(!state.measuring));
  $("stack-on").addEventListener("click", () => stackMode(!state.stack));
  $("cut").addEventListener("input", () => goTo($("cut").value - 1));
  $("through").addEventListener("change", (event) => {
    stack.through = event.target.checked;
    refresh();
  });
  $("look").addEventListener("change", () => {
    const look = $("look").value;
    if (look) document.documentElement.dataset.look = look;
    else delete document.documentElement.dataset.look;
    tell();
    refresh();
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    tell();
    refresh();
  });
  window.addEventListener("hashchange", () => {
    if (followHash()) $("viewer").scrollIntoView();
  });
  new ResizeObserver(resize).observe(sheet);
}

function onKey(event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const arrow = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
  state.keyed = true;
  if (arrow && state.stack) {
    stack.turn += 0.1 * arrow[0];
    stack.tilt = Math.min(Math.PI / 2, Math.max(-Math.PI / 2, stack.tilt + 0.1 * arrow[1]));
    refresh();
  } else if (arrow && event.shiftKey) {
    view.pan(-40 * arrow[0], 40 * arrow[1]);
    refresh();
  } else if (arrow) arrow[1] ? goTo(state.index + arrow[1]) : stepTime(arrow[0]);
  else if (event.key === "PageUp" || event.key === "PageDown") goTo(state.index + (event.key === "PageUp" ? 10 : -10));
  else if (event.key === "Home" || event.key === "End") goTo(event.key === "Home" ? 0 : facts.layers.length - 1);
  else if (event.key === "+" || event.key === "=") zoomBy(1.25);
  else if (event.key === "-") zoomBy(1 / 1.25);
  else if (event.key === "0") fit();
  else if (event.key === " ") play(!state.playing);
  else if (event.key === "c" || event.key === "C") pickNext(event.shiftKey ? -1 : 1);
  else if (event.key === "m" || event.key === "M") state.measuring ? measurePoint(view.part(view.width / 2, view.height / 2)) : measureMode(true);
  else if (event.key === "3") stackMode(!state.stack);
  else if (event.key === "Escape") {
    if (state.measuring) measureMode(false);
    pick(null);
  } else return;
  event.preventDefault();
}

function begin() {
  document.documentElement.classList.add("live");
  if (facts.layers.length) {
    $("viewer").hidden = false;
    listen();
    resize();
    if (!location.hash || !followHash()) goTo(state.index);
    if (!state.stack) paint();
    performance.mark("first picture");
  }
  const dress = () => {
    dressTables();
    if (location.hash) followHash();
  };
  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", dress, { once: true });
  else dress();
}

begin();
