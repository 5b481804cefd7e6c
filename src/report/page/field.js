// Quantities that belong to a place, not to a course: sums over square cells.

/** Side of a cell, mm: two to three widths of tow, and not too many of them. */
function cellSide([x0, y0, x1, y1]) {
  return Math.max(2, 2.5 * facts.tow.width, Math.max(x1 - x0, y1 - y0) / 150);
}

/** Fibre and matrix of a layer by cells. */
function fieldOf(layer) {
  if (layer.field) return layer.field;
  const bounds = facts.bounds, side = cellSide(bounds);
  const columns = Math.ceil((bounds[2] - bounds[0]) / side) + 1, rows = Math.ceil((bounds[3] - bounds[1]) / side) + 1;
  const cover = coverOf(layer, bounds, side, columns, rows);
  const fibre = new Float64Array(columns * rows), solid = new Float64Array(columns * rows);
  const put = (sums, x, y, volume) => {
    const i = Math.floor((x - bounds[0]) / side), k = Math.floor((y - bounds[1]) / side);
    if (i >= 0 && k >= 0 && i < columns && k < rows) sums[k * columns + i] += volume;
  };
  // lanes beside the middle, so that a strip over an edge counts on both sides;
  // with few of them their own pitch would show as stripes
  const lanes = Array.from({ length: 16 }, (_, k) => (k + 0.5) / 16 - 0.5);
  const lay = (stroke, sums, section) => {
    const p = stroke.points;
    for (let i = 0; i + 3 < p.length; i += 2) {
      const dx = p[i + 2] - p[i], dy = p[i + 3] - p[i + 1], length = Math.hypot(dx, dy);
      if (!length) continue;
      const n = Math.max(1, Math.ceil(length / (side / 6))), volume = section * length / n / lanes.length;
      const ax = -dy / length * stroke.width, ay = dx / length * stroke.width;
      for (let k = 0; k < n; k++) {
        const f = (k + 0.5) / n, x = p[i] + f * dx, y = p[i + 1] + f * dy;
        for (const lane of lanes) put(sums, x + lane * ax, y + lane * ay, volume);
      }
    }
  };
  for (const bead of layer.beads) lay(bead, solid, bead.area);
  for (const course of layer.courses) {
    lay(course, fibre, facts.tow.fibre);
    lay(course, solid, facts.tow.width * layer.height);
  }
  let most = 0.05;
  const fractions = new Float64Array(columns * rows), balances = new Float64Array(columns * rows);
  for (let i = 0; i < fractions.length; i++) {
    // a cell that hardly reaches into the part tells nothing
    if (cover[i] < 0.3) {
      fractions[i] = balances[i] = NaN;
      continue;
    }
    const room = cover[i] * side * side * layer.height;
    fractions[i] = fibre[i] / room;
    balances[i] = solid[i] / room - 1;
    most = Math.max(most, fractions[i]);
  }
  most = Math.ceil(most * 20) / 20;
  layer.field = { side, columns, rows, x: bounds[0], y: bounds[1], fibre: fractions, fill: balances, most };
  return layer.field;
}

/** Share of each cell that lies in the outline. */
function coverOf(layer, bounds, side, columns, rows) {
  const fine = 8, canvas = document.createElement("canvas");
  canvas.width = columns * fine;
  canvas.height = rows * fine;
  const ctx = canvas.getContext("2d", { willReadFrequently: true });
  const s = fine / side;
  ctx.beginPath();
  for (const ring of layer.rings) {
    for (let i = 0; i < ring.length; i += 2) {
      const x = (ring[i] - bounds[0]) * s, y = (ring[i + 1] - bounds[1]) * s;
      i ? ctx.lineTo(x, y) : ctx.moveTo(x, y);
    }
    ctx.closePath();
  }
  ctx.fill("evenodd");
  const pixels = ctx.getImageData(0, 0, canvas.width, canvas.height).data;
  const cover = new Float64Array(columns * rows);
  for (let y = 0; y < canvas.height; y++) {
    for (let x = 0; x < canvas.width; x++) {
      cover[Math.floor(y / fine) * columns + Math.floor(x / fine)] += pixels[4 * (y * canvas.width + x) + 3];
    }
  }
  for (let i = 0; i < cover.length; i++) cover[i] /= 255 * fine * fine;
  return cover;
}
