// What the viewer unpacks is what the plan and the program say: read here without
// a browser, from the three files that `plan` writes.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import test, { after } from "node:test";
import { fileURLToPath } from "node:url";

const root = path.resolve(path.dirname(fileURLToPath(import.meta.url)), "../..");
const towpath = process.env.TOWPATH ?? path.join(root, "target/debug/towpath");
const scratch = fs.mkdtempSync(path.join(os.tmpdir(), "towpath-unpack-"));
after(() => fs.rmSync(scratch, { recursive: true, force: true }));

/** The files of a job and the page's own unpacking, its document stood in for. */
function planned(name, copies) {
  const out = path.join(scratch, `${name}-${copies}`), folder = path.join(scratch, `job-${name}-${copies}`);
  fs.cpSync(path.join(root, "examples", name), folder, { recursive: true });
  const job = path.join(folder, "job.toml");
  fs.writeFileSync(job, fs.readFileSync(job, "utf8").replace("[build]", `[build]\ncopies = ${copies}`));
  execFileSync(towpath, ["plan", job, "--out", out, "--quiet"]);
  const file = (ending) => fs.readFileSync(path.join(out, fs.readdirSync(out).find((f) => f.endsWith(ending))), "utf8");
  const page = file(".report.html"), text = new Map();
  for (const [, id, data] of page.matchAll(/<script type="[^"]*" id="([^"]+)">([^<]*)<\/script>/g)) text.set(id, data);
  const document = { getElementById: (id) => (text.has(id) ? { textContent: text.get(id) } : null) };
  const source = fs.readFileSync(path.join(root, "src/report/page/unpack.js"), "utf8");
  const unpack = new Function("document", `${source}; return { facts, layerAt, KIND };`)(document);
  return { ...unpack, plan: JSON.parse(file(".plan.json")), program: file(".gcode") };
}

// half a step of the packing in x and in y
const NEAR = 0.0025 * Math.SQRT2 + 1e-4;

const near = (points, i, [x, y], what) =>
  assert.ok(Math.hypot(points[2 * i] - x, points[2 * i + 1] - y) < NEAR, `${what}: ${points[2 * i]}, ${points[2 * i + 1]} against ${x}, ${y}`);

for (const [name, copies] of [["link", 1], ["bracket", 1], ["guide", 2]]) {
  test(`${name}, ${copies} on the bed`, () => {
    const { facts, layerAt, KIND, plan, program } = planned(name, copies);
    assert.equal(facts.layers.length, plan.layers.length);
    const named = [...program.matchAll(/(?:^\(|^; ?)course (L\S+?)\)?$/gm)].map((m) => m[1]);
    const laid = [];
    let changes = -1, beads = 0, head = -1;
    for (const [index, layer] of plan.layers.entries()) {
      const is = layerAt(index);
      assert.equal(is.number, layer.number);
      assert.equal(is.rings.length, layer.outline.length);
      layer.outline.forEach((ring, r) => ring.forEach((p, i) => near(is.rings[r], i, p, "outline")));
      assert.equal(is.beads.length, layer.beads.length);
      layer.beads.forEach((bead, b) => {
        const mine = is.beads[b];
        assert.deepEqual([mine.perimeter, mine.closed], [bead.kind === "perimeter", bead.closed]);
        assert.ok(Math.abs(mine.width - bead.width_mm) < 6e-4 && Math.abs(mine.area - bead.area_mm2) < 6e-6);
        bead.points.forEach((p, i) => near(mine.points, i, p, `layer ${layer.number}, bead ${b}`));
      });
      assert.equal(is.courses.length, layer.courses.length);
      layer.courses.forEach((course, c) => {
        const mine = is.courses[c];
        assert.equal(mine.id, course.id);
        assert.equal(facts.regions[mine.rank][0], course.region);
        assert.ok(Math.abs(mine.length - course.length_mm) < 6e-4 && Math.abs(mine.cut - course.cut_at_mm) < 6e-4);
        const ends = course.segments.map((s) => s.line ?? [...s.arc.from, ...s.arc.to]);
        near(mine.points, 0, ends[0].slice(0, 2), course.id);
        near(mine.points, mine.points.length / 2 - 1, ends.at(-1).slice(2), course.id);
        // chords are shorter than the arcs that they stand for, by little
        assert.ok(Math.abs(mine.sums.at(-1) - course.length_mm) < 0.01 * course.length_mm, course.id);
      });
      let now = 0;
      const times = new Map();
      for (const e of is.events) {
        assert.ok(Math.abs(e.t0 - now) < 1e-6 && e.t1 >= e.t0, "events follow each other");
        now = e.t1;
        if (e.kind === KIND.COURSE) laid.push(e.stroke.id + (e.copy ? `@${e.copy + 1}` : ""));
        if (e.kind === KIND.BEAD) {
          beads++;
          times.set(`${e.stroke.index}/${e.copy}`, (times.get(`${e.stroke.index}/${e.copy}`) ?? 0) + 1);
        }
        if (e.kind === KIND.HEAD) {
          changes++;
          assert.notEqual(e.head, head, "a change is to the other head");
          head = e.head;
        }
        if (e.kind === KIND.BEAD || e.kind === KIND.COURSE) assert.equal(head, e.kind === KIND.COURSE ? 1 : 0, "the head that can");
        // what is laid begins where the nozzle is
        if ((e.kind === KIND.HOP || e.kind === KIND.TRAVEL) && e.from) assert.ok(e.from.every(Number.isFinite));
      }
      assert.equal(times.size, layer.beads.length * copies, "every bead of every copy");
      assert.ok([...times.values()].every((n) => n === 1), "once");
      // the file's times are rounded once, to a ms
      assert.ok(Math.abs(now - (is.end - is.begin)) < 0.002, `layer ${layer.number}: ${now} s of ${is.end - is.begin}`);
      if (index) assert.ok(Math.abs(is.begin - facts.layers[index - 1][5]) < 0.0011, "a layer begins where the last one ended");
    }
    assert.deepEqual(laid, named, "courses in the program's order");
    assert.equal(changes, plan.estimate.head_changes);
    const total = plan.estimate.time_s.total, last = facts.layers.at(-1)[5];
    assert.ok(last <= total && total - last < 120, `${last} s of ${total}: the rest is the end block`);
  });
}
