// What lies under the pointer, and what there is to say about it.

// how far beside a line the pointer may be, px
const REACH = 5;

/** The stroke nearest to a place of the part, among those laid at a time; courses first. */
function strokeAt(layer, view, x, y, time, show) {
  let best = null, nearest = Infinity;
  for (const stroke of [...layer.courses, ...layer.beads]) {
    if (stroke.bead ? !show.beads : !show.courses) continue;
    if (stroke.bead && best && !best.bead) break;
    if (!(stroke.t0 <= time)) continue;
    const reach = Math.max(stroke.width / 2, REACH / view.scale), box = boxOf(stroke);
    if (x < box[0] - reach || x > box[2] + reach || y < box[1] - reach || y > box[3] + reach) continue;
    const away = distance(stroke.laid || stroke.points, x, y);
    if (away <= reach && away < nearest) {
      nearest = away;
      best = stroke;
    }
  }
  return best;
}

function distance(points, x, y) {
  let least = Infinity;
  for (let i = 0; i + 3 < points.length; i += 2) {
    const dx = points[i + 2] - points[i], dy = points[i + 3] - points[i + 1], l = dx * dx + dy * dy;
    const f = l ? Math.min(1, Math.max(0, ((x - points[i]) * dx + (y - points[i + 1]) * dy) / l)) : 0;
    least = Math.min(least, Math.hypot(points[i] + f * dx - x, points[i + 1] + f * dy - y));
  }
  return least;
}

/** Lines of text about a stroke. */
function about(layer, stroke) {
  const start = `starts at ${clockOf(layer.begin + (stroke.t0 || 0))} h:mm:ss`;
  if (stroke.bead) {
    const v = Math.min(facts.speed.bead, stroke.area > 0 ? facts.speed.flow / stroke.area : Infinity);
    return [
      `${stroke.perimeter ? "perimeter" : "fill"} bead ${stroke.index + 1}${stroke.closed ? ", closed" : ""}`,
      `length ${stroke.length.toFixed(2)} mm, width ${stroke.width.toFixed(3)} mm, section ${stroke.area.toFixed(4)} mm²`,
      `speed ${v.toFixed(1)} mm/s at most, ${mean(stroke.length, stroke)} mm/s in the mean`,
      start,
    ];
  }
  const region = facts.regions[stroke.rank] || ["", ""];
  const bend = stroke.where
    ? `tightest bend ${stroke.radius.toFixed(2)} mm at x ${stroke.where[0].toFixed(2)}, y ${stroke.where[1].toFixed(2)} (limit ${limitOf(stroke)} mm)`
    : "straight";
  return [
    `course ${stroke.id}, region ${region[0]}, ${region[1]}${stroke.closed ? ", closed" : ""}`,
    `length ${stroke.length.toFixed(2)} mm, cut at ${stroke.cut.toFixed(2)} mm: ${placed(pointAlong(stroke, stroke.cut))}`,
    bend,
    ...(stroke.laid ? [`tow trails: up to ${stroke.off.toFixed(3)} mm off the line wanted, ${placed(stroke.offAt)}`] : []),
    `speed ${facts.speed.course.toFixed(1)} mm/s at most, ${mean(stroke.length, stroke)} mm/s in the mean`,
    start,
  ];
}

const placed = ([x, y]) => `x ${x.toFixed(2)}, y ${y.toFixed(2)}`;

function mean(length, stroke) {
  const e = stroke.event;
  if (!e) return "–";
  const seconds = e.kind === KIND.COURSE ? e.fed[1] - e.fed[0] + e.tail[1] - e.tail[0] : e.t1 - e.t0;
  return seconds > 0 ? (length / seconds).toFixed(1) : "–";
}

/** What the machine does at a time. */
function doing(layer, time) {
  if (!layer.events.length) return "nothing is laid";
  if (time >= layer.duration) return "layer complete";
  const e = eventAt(layer, time), copy = facts.copies.length > 1 ? `, part ${e.copy + 1}` : "";
  switch (e.kind) {
    case KIND.HOP: return "hop to the next bead" + copy;
    case KIND.TRAVEL: return "travel, lifted" + copy;
    case KIND.BEAD: return `${e.stroke.perimeter ? "perimeter" : "fill"} bead ${e.stroke.index + 1}${copy}`;
    case KIND.COURSE:
      if (time < e.thread[1]) return `course ${e.stroke.id}: tow is fed to the nozzle${copy}`;
      if (time < e.fed[1]) return `course ${e.stroke.id}: laying with feed${copy}`;
      if (time < e.cutting[1]) return `course ${e.stroke.id}: cut${copy}`;
      return `course ${e.stroke.id}: laying the tail${copy}`;
    case KIND.HEAD: return e.head ? "change to the fibre head" : "change to the matrix head";
    case KIND.HEAT: return "waiting for heat";
    case KIND.PURGE: return "purging";
    default: return "moving up or down";
  }
}
