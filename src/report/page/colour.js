// Colour shows one quantity that the reader picks. Scales run between blue and
// orange or yellow, which people with any common colour blindness tell apart,
// and their lightness runs one way (diverging ones: away from grey).

function dark() {
  const look = document.documentElement.dataset.look;
  return look ? look === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
}

const RAMPS = {
  light: {
    rising: [[18, 42, 92], [63, 88, 130], [117, 121, 118], [170, 142, 62], [206, 160, 18]],
    parting: [[178, 70, 8], [214, 140, 82], [176, 176, 170], [92, 138, 190], [16, 82, 156]],
  },
  dark: {
    rising: [[62, 100, 178], [98, 130, 172], [148, 154, 146], [204, 186, 106], [255, 226, 110]],
    parting: [[255, 160, 74], [206, 142, 96], [120, 122, 124], [104, 152, 208], [120, 196, 255]],
  },
};

/** A colour of a scale, `t` from 0 to 1. */
function shade(scale, t) {
  const stops = RAMPS[dark() ? "dark" : "light"][scale];
  const at = Math.min(0.9999, Math.max(0, t)) * (stops.length - 1), i = Math.floor(at), f = at - i;
  const mix = (k) => Math.round(stops[i][k] + (stops[i + 1][k] - stops[i][k]) * f);
  return `rgb(${mix(0)},${mix(1)},${mix(2)})`;
}

/** As many shades as are worth a path of their own. */
const SHADES = 24;
const stepped = (t) => Math.min(SHADES - 1, Math.floor(Math.min(1, Math.max(0, t)) * SHADES));
const stepShade = (scale, k) => shade(scale, (k + 0.5) / SHADES);

const number = (v, digits) => v.toFixed(digits);

function clockOf(seconds) {
  const s = Math.max(0, Math.round(seconds)), two = (v) => String(v).padStart(2, "0");
  return `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}`;
}

// A quantity: where it is shown, its scale, the ends of the scale in its unit,
// and for pieces of a stroke its share from 0 to 1, or null where it has none.
const QUANTITIES = {
  bend: {
    title: "bend radius / its limit", scale: "parting", on: "course",
    ends: () => ["1.0 × limit", "4 × and more"],
    // even steps of curvature would hide the gentle bends: logarithmic
    share: (layer, course, piece) => Math.log(Math.max(1, course.radii[piece] / limitOf(course))) / Math.log(4),
  },
  order: {
    title: "order in time", scale: "rising", on: "both",
    ends: (layer) => [clockOf(layer.begin) + " h:mm:ss", clockOf(layer.begin + layer.duration)],
    share: (layer, stroke) => (layer.duration ? (stroke.t0 || 0) / layer.duration : 0),
  },
  angle: {
    title: "angle off intent", scale: "rising", on: "course",
    ends: () => ["0°", OFF_MOST + "° and more"],
    share: (layer, course, piece) => {
      const off = angleOff(layer, course, piece);
      return off === null ? null : off / OFF_MOST;
    },
    note: "grey: no one direction is asked for",
  },
  fibre: { title: "fibre by volume, as printed", scale: "rising", on: "cells", ends: (layer, field) => ["0 %", number(field.most * 100, 0) + " %"] },
  fill: {
    title: "fill balance: laid against room", scale: "parting", on: "cells",
    ends: () => [`-${BALANCE_MOST} %, open`, "0", `+${BALANCE_MOST} %, too full`],
  },
};

const OFF_MOST = 30;
const BALANCE_MOST = 20;

const limitOf = (course) => (facts.regions[course.rank] || [])[2] || facts.tow.radius;

/** Degrees between a piece of a course and the direction that its region asks for. */
function angleOff(layer, course, piece) {
  const asked = layer.angles[course.rank];
  if (asked === undefined) return null;
  const p = course.points, i = 2 * piece;
  const is = Math.atan2(p[i + 3] - p[i + 1], p[i + 2] - p[i]) * 180 / Math.PI;
  const off = Math.abs(is - asked) % 180;
  return Math.min(off, 180 - off);
}
