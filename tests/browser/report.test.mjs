// The report in a real browser: it loads, slides, zooms, tells, measures, jumps,
// asks no network for anything and keeps WCAG 2.2 AA as far as axe-core sees.
//
// Times are printed, never judged. Screenshots go to target/browser/.

import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import test, { after, before } from "node:test";
import { fileURLToPath, pathToFileURL } from "node:url";
import { createRequire } from "node:module";
import { chromium } from "playwright-core";

const root = path.resolve(path.dirname(fileURLToPath(import.meta.url)), "../..");
const towpath = process.env.TOWPATH ?? path.join(root, "target/debug/towpath");
const shots = path.join(root, "target/browser");
const axe = createRequire(import.meta.url).resolve("axe-core/axe.min.js");
const FLAGS = [
  "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
  "--disable-background-networking", "--disable-component-update", "--disable-sync",
];
// chromium draws WebGL without a graphics card only where it is told to
const WEBGL = "--enable-unsafe-swiftshader";

const scratch = fs.mkdtempSync(path.join(os.tmpdir(), "towpath-browser-"));
const EXAMPLES = [["link", "treadle-link"], ["bracket", "stop-bracket"], ["guide", "yarn-guide"]];
const reports = {};

let context, page, faults;

/** A browser with a profile of its own. Everything that goes wrong is kept. */
async function open(options = {}) {
  const data = fs.mkdtempSync(path.join(scratch, "profile-"));
  const made = await chromium.launchPersistentContext(data, {
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", headless: true, args: [...FLAGS, WEBGL],
    viewport: { width: 1400, height: 950 }, acceptDownloads: true, reducedMotion: "reduce", ...options,
  });
  const found = [];
  const first = made.pages()[0] ?? (await made.newPage());
  first.on("console", (m) => { if (m.type() === "error") found.push(`console: ${m.text()}`); });
  first.on("pageerror", (e) => found.push(`page: ${e.message}`));
  made.on("request", (r) => { if (!/^(file|blob|data|about):/.test(r.url())) found.push(`request: ${r.url()}`); });
  return [made, first, found];
}

async function load(name, hash = "") {
  await page.goto("about:blank");
  await page.goto(pathToFileURL(reports[name]) + hash);
  await drawn();
}

/** Two frames: what was asked for is on the screen. */
const drawn = () => page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));

/** A slider as a hand would move it. */
async function slide(id, value) {
  await page.locator("#" + id).evaluate((e, v) => { e.value = v; e.dispatchEvent(new Event("input", { bubbles: true })); }, value);
  await drawn();
}

const shot = (name, what = page) => what.screenshot({ path: path.join(shots, name + ".png") });
const text = (id) => page.locator("#" + id).textContent();

/** Pixels of the drawing that are not paper, and a sum that tells two drawings apart. */
const pixels = () => page.evaluate(() => {
  const c = document.getElementById("drawing"), d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data;
  let ink = 0, sum = 0, colour = 0;
  for (let i = 0; i < d.length; i += 4) {
    const differs = Math.abs(d[i] - d[0]) + Math.abs(d[i + 1] - d[1]) + Math.abs(d[i + 2] - d[2]) > 40;
    if (differs) ink++;
    if (Math.max(d[i], d[i + 1], d[i + 2]) - Math.min(d[i], d[i + 1], d[i + 2]) > 60) colour++;
    sum = (sum * 31 + d[i] + 7 * d[i + 1] + 13 * d[i + 2]) % 1000000007;
  }
  return { ink, sum, colour };
});

async function axeFinds(name) {
  await page.evaluate(fs.readFileSync(axe, "utf8"));
  const result = await page.evaluate(() => axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
  const found = result.violations.map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 120)).join(" | ")}`);
  assert.deepEqual(found, [], `axe-core on ${name}`);
}

before(async () => {
  fs.mkdirSync(shots, { recursive: true });
  for (const [name, stem] of EXAMPLES) {
    const out = path.join(scratch, name);
    execFileSync(towpath, ["plan", path.join(root, "examples", name, "job.toml"), "--out", out, "--quiet"]);
    reports[name] = path.join(out, `${stem}.report.html`);
  }
  [context, page, faults] = await open();
});

after(async () => {
  await context?.close();
  fs.rmSync(scratch, { recursive: true, force: true });
});

test("every example loads, shows itself and asks nobody", async () => {
  for (const [name] of EXAMPLES) {
    await load(name);
    const { ink } = await pixels();
    assert.ok(ink > 5000, `${name}: ${ink} pixels of ink`);
    assert.match(await page.locator("#drawing").getAttribute("aria-label"), /layer \d+ of \d+.*courses/);
    await shot(`${name}-opens`);
    await shot(`${name}-page`, { screenshot: (o) => page.screenshot({ ...o, fullPage: true }) });
  }
  assert.deepEqual(faults, []);
});

test("the slider and the keys change the layer", async () => {
  await load("link");
  await slide("layer", 1);
  const one = await pixels();
  assert.match(await text("layer-says"), /^1 of 20, z 0\.00 to 0\.20 mm/);
  await page.focus("#sheet");
  for (let i = 0; i < 4; i++) await page.keyboard.press("ArrowUp");
  await drawn();
  assert.match(await text("layer-says"), /^5 of 20/);
  const five = await pixels();
  assert.notEqual(one.sum, five.sum, "another layer is another drawing");
  assert.ok(five.ink > one.ink, "tow is darker than beads");
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("End");
  await drawn();
  assert.match(await text("layer-says"), /^20 of 20/);
  for (const [name, last] of [["link", 20], ["bracket", 40], ["guide", 20]]) {
    await load(name);
    for (const n of [1, 2, Math.round(last / 2), last]) {
      await slide("layer", n);
      await shot(`${name}-layer-${n}`, page.locator("#sheet"));
    }
  }
});

test("time goes through the layer in the order of laying", async () => {
  await load("link");
  await slide("layer", 5);
  await page.check("#show-travels");
  const inks = [], words = [];
  for (const t of [0, 200, 400, 600, 800, 1000]) {
    await slide("time", t);
    inks.push((await pixels()).ink);
    words.push(await text("time-says"));
    await shot(`link-5-time-${t}`, page.locator("#sheet"));
  }
  assert.ok(inks[0] < inks[2] && inks[2] < inks[5], `more lies there later: ${inks}`);
  assert.match(words[5], /layer complete/);
  // each event in turn, as the program does it
  await slide("time", 0);
  await page.focus("#sheet");
  const seen = new Set();
  for (let i = 0; i < 900 && seen.size < 6; i++) {
    await page.keyboard.press("ArrowRight");
    const w = await text("time-says");
    for (const what of ["head", "bead", "course", "travel", "hop", "heat"]) if (w.includes(what)) seen.add(what);
    if (w.includes("complete")) break;
  }
  for (const what of ["head", "bead", "course", "travel"]) assert.ok(seen.has(what), `${what} among ${[...seen]}`);
  // it plays by itself
  await slide("time", 0);
  await page.selectOption("#pace", "100");
  await page.click("#play");
  await page.waitForTimeout(400);
  await page.click("#play");
  assert.ok(Number(await page.inputValue("#time")) > 0, "time has passed");
});

test("the wheel zooms at the pointer, dragging moves, fit comes back", async () => {
  await load("link");
  const box = await page.locator("#sheet").boundingBox(), at = [box.x + 300, box.y + 320];
  const fitted = await pixels();
  const here = async () => {
    await page.mouse.move(at[0] + 1, at[1]);
    await page.mouse.move(...at);
    return (await page.locator("#tip").isVisible()) ? (await text("tip")).match(/here x (\S+), y (\S+) mm/).slice(1).map(Number) : null;
  };
  const was = await here();
  assert.ok(was, "something lies under the pointer");
  for (let i = 0; i < 5; i++) await page.mouse.wheel(0, -240);
  await drawn();
  const is = await here();
  assert.ok(is && Math.hypot(is[0] - was[0], is[1] - was[1]) < 0.03, `what is under the pointer stays there: ${was} ${is}`);
  const zoomed = await pixels();
  assert.notEqual(zoomed.sum, fitted.sum);
  await shot("link-zoomed", page.locator("#sheet"));
  await page.mouse.down();
  await page.mouse.move(at[0] + 90, at[1] + 40, { steps: 4 });
  await page.mouse.up();
  await drawn();
  assert.notEqual((await pixels()).sum, zoomed.sum, "dragging moves the sheet");
  await page.click("#fit");
  await page.mouse.move(2, 2);
  await drawn();
  assert.equal((await pixels()).sum, fitted.sum, "fit is where it began");
});

test("what the viewer tells of a course is what the plan says", async () => {
  await load("link");
  const plan = JSON.parse(fs.readFileSync(reports.link.replace(".report.html", ".plan.json"), "utf8"));
  await slide("layer", 6);
  await page.focus("#sheet");
  let before = -1;
  for (const course of plan.layers[5].courses) {
    await page.keyboard.press("c");
    const told = await text("readout");
    assert.ok(told.startsWith(`course ${course.id}, region ${course.region}, ${course.rule}`), told);
    const figure = (pattern) => Number(told.match(pattern)[1]);
    const near = (is, want) => assert.ok(Math.abs(is - want) < 0.0061, `${is} against ${want}: ${told}`);
    near(figure(/length ([\d.]+) mm/), course.length_mm);
    near(figure(/cut at ([\d.]+) mm/), course.cut_at_mm);
    if (course.min_bend_radius_mm === null) assert.match(told, /straight/);
    else near(figure(/tightest bend ([\d.]+) mm/), course.min_bend_radius_mm);
    const [h, m, s] = told.match(/starts at (\d+):(\d+):(\d+)/).slice(1).map(Number), start = h * 3600 + m * 60 + s;
    assert.ok(start >= before, "courses are laid in the plan's order");
    before = start;
  }
  await shot("link-6-picked", page.locator("#sheet"));
  const mean = Number((await text("readout")).match(/([\d.]+) mm\/s in the mean/)[1]);
  assert.ok(mean > 0 && mean <= plan.printer.limits.speed_mm_s.fibre + 0.1, `${mean} mm/s`);
});

test("each quantity has colours, a legend and its unit; ink alone has none", async () => {
  for (const [name] of EXAMPLES) {
    await load(name);
    assert.ok((await pixels()).colour === 0, `${name}: colour without a quantity`);
    for (const [quantity, unit] of [["bend", /limit/], ["order", /h:mm:ss/], ["fibre", /%/], ["fill", /%/], ["angle", /°/]]) {
      for (const look of ["light", "dark"]) {
        await page.selectOption("#look", look);
        await page.selectOption("#quantity", quantity);
        await drawn();
        assert.match(await text("legend"), unit);
        assert.ok((await pixels()).colour > 300, `${name}: ${quantity} shows on ${look} paper`);
        await shot(`${name}-${quantity}-${look}`);
      }
    }
    await page.selectOption("#quantity", "");
    await page.selectOption("#look", "light");
  }
});

test("measuring gives the distance in mm", async () => {
  await load("link");
  const box = await page.locator("#sheet").boundingBox();
  await page.click("#measure");
  await page.mouse.click(box.x + 200, box.y + 200);
  await page.mouse.click(box.x + 500, box.y + 600);
  await drawn();
  const told = await text("readout");
  const [d, dx, dy] = told.match(/([\d.]+) mm: (-?[\d.]+) mm along x, (-?[\d.]+) mm along y/).slice(1).map(Number);
  assert.ok(Math.abs(Math.hypot(dx, dy) - d) < 0.002, told);
  assert.ok(Math.abs(dx / dy + 300 / 400) < 1e-3, "3 to 4 on the screen is 3 to 4 in the part");
  await shot("link-measured", page.locator("#sheet"));
  await page.keyboard.press("Escape");
});

test("lines of the page jump to their place", async () => {
  await load("link");
  const link = page.locator("#left-out tbody a").first();
  const [number, at] = (await link.getAttribute("href")).match(/layer=(\d+)&at=(.*)/).slice(1);
  await link.click();
  await drawn();
  assert.match(await text("layer-says"), new RegExp(`^${number} of`));
  const [x, y] = at.split(",").map(Number);
  assert.match(await text("readout"), new RegExp(`layer ${number}, x ${x}, y ${y} mm`));
  // the place is in the middle of the sheet
  const box = await page.locator("#sheet").boundingBox();
  await page.click("#measure");
  await page.mouse.click(box.x + box.width / 2, box.y + box.height / 2);
  const [mx, my] = (await text("readout")).match(/from x (-?[\d.]+), y (-?[\d.]+)/).slice(1).map(Number);
  assert.ok(Math.hypot(mx - x, my - y) < 0.1, `${mx}, ${my} against ${at}`);
  await shot("link-jumped");
  // a place can be sent to somebody else as an address
  await load("bracket", "#layer=30&at=35,25");
  assert.match(await text("layer-says"), /^30 of 40/);
  await shot("bracket-address");
});

test("regions tell cover, closed courses and bends as the plan does", async () => {
  for (const [name] of EXAMPLES) {
    await load(name);
    const rows = await page.$$eval("#fibre tbody tr", (rows) => rows.map((r) => [...r.cells].map((c) => c.textContent.trim())));
    const plan = JSON.parse(fs.readFileSync(reports[name].replace(".report.html", ".plan.json"), "utf8"));
    assert.ok(rows.length > 0, name);
    for (const [region, rule, layers, courses, closed, cover, bend] of rows) {
      const of = plan.layers.flatMap((l) => l.courses).filter((c) => c.region === region);
      const served = plan.layers.flatMap((l) => l.regions).filter((r) => r.region === region);
      const sum = (key) => served.reduce((all, r) => all + r[key], 0);
      assert.equal(Number(courses), of.length, region);
      assert.equal(Number(layers), new Set(plan.layers.filter((l) => l.courses.some((c) => c.region === region))).size, region);
      const rings = of.filter((c) => c.closed).length, asked = ["hoop", "contour", "strap"].includes(rule);
      assert.equal(closed, asked || rings > 0 ? String(rings) : "", region);
      assert.ok(Math.abs(Number(cover) - 100 * sum("covered_mm2") / sum("layable_mm2")) < 0.06, `${region}: ${cover}`);
      const bends = of.map((c) => c.min_bend_radius_mm).filter((r) => r !== null);
      if (bends.length) assert.ok(Math.abs(Number(bend) - Math.min(...bends)) < 0.06, `${region}: ${bend}`);
      else assert.equal(bend, "", `${region}: straight`);
    }
  }
});

test("tables sort and are saved as CSV", async () => {
  await load("bracket");
  const column = (k) => page.$$eval("#layers tbody tr", (rows, n) => rows.map((r) => r.cells[n].textContent.trim()), k);
  const head = page.locator("#layers thead button").nth(4);
  await head.click();
  const up = (await column(4)).map(Number);
  assert.deepEqual(up, [...up].sort((a, b) => a - b));
  await head.click();
  assert.equal(await page.locator("#layers thead th").nth(4).getAttribute("aria-sort"), "descending");
  const down = (await column(4)).map(Number);
  assert.deepEqual(down, [...up].reverse());
  await page.locator("#layers thead button").nth(0).click();
  const waiting = page.waitForEvent("download");
  await page.locator("#layers button.csv").click();
  const file = path.join(scratch, "layers.csv"), download = await waiting;
  assert.equal(download.suggestedFilename(), "stop-bracket.layers.csv");
  await download.saveAs(file);
  const rows = fs.readFileSync(file, "utf8").trimEnd().split("\r\n");
  const plan = JSON.parse(fs.readFileSync(reports.bracket.replace(".report.html", ".plan.json"), "utf8"));
  assert.equal(rows.length, plan.layers.length + 1);
  assert.ok(rows[0].startsWith("layer,\"bottom, mm\""), rows[0]);
  const cells = rows[3].split(",");
  assert.equal(Number(cells[0]), 3);
  assert.ok(Math.abs(Number(cells[7]) - plan.layers[2].areas_mm2.outline) < 0.006, rows[3]);
  assert.equal(Number(cells[3]), plan.layers[2].courses.length);
  // one that is cut short says so in the file
  await page.locator("#layers table").evaluate((t) => { t.dataset.more = "7 more rows, elsewhere"; });
  const again = page.waitForEvent("download");
  await page.locator("#layers button.csv").click();
  await (await again).saveAs(file);
  const last = fs.readFileSync(file, "utf8").trimEnd().split("\r\n").at(-1);
  assert.equal(last, '"7 more rows, elsewhere"' + ",".repeat(cells.length - 1));
});

test("tow without a direction asked for stands out from the sheet", async () => {
  await load("bracket");
  for (const look of ["light", "dark"]) {
    const inks = await page.evaluate((look) => {
      document.documentElement.dataset.look = look;
      const style = getComputedStyle(document.documentElement);
      return ["plain", "part"].map((name) => style.getPropertyValue("--" + name).trim());
    }, look);
    const [a, b] = inks.map((ink) => {
      const part = (k) => { const v = parseInt(ink.slice(k, k + 2), 16) / 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
      return 0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5);
    }).sort((a, b) => b - a);
    assert.ok((a + 0.05) / (b + 0.05) >= 3, `${look}: ${inks}`);
  }
});

test("crosses where tow is left out go with their box", async () => {
  await load("link");
  await slide("layer", 8);
  const crossed = await pixels();
  await page.uncheck("#show-marks");
  await drawn();
  const bare = await pixels();
  assert.notEqual(bare.sum, crossed.sum, "they are gone");
  await page.check("#show-marks");
  await drawn();
  assert.equal((await pixels()).sum, crossed.sum, "and there again");
  assert.deepEqual(faults, []);
});

test("the sheet is never shown cleared", async () => {
  await load("link");
  // what is there in the frame in which the sheet gets another size: this observer is told after the page's own
  const at = await page.evaluate(() => new Promise((done) => {
    const sheet = document.getElementById("sheet"), canvas = document.getElementById("drawing");
    let told = 0;
    new ResizeObserver(() => {
      if (told++) done([...canvas.getContext("2d").getImageData(3, 3, 1, 1).data]);
      else requestAnimationFrame(() => { sheet.style.height = sheet.clientHeight - 60 + "px"; });
    }).observe(sheet);
  }));
  assert.ok(at[3] === 255 && at[0] > 200 && at[1] > 200 && at[2] > 200, `paper, not ${at}`);
});

test("the stack turns and is cut at a height", async () => {
  for (const [name, last] of [["link", 20], ["bracket", 40], ["guide", 20]]) {
    await load(name);
    await page.click("#stack-on");
    assert.ok(await page.locator("#stack").isVisible(), "WebGL2 is there");
    await page.waitForTimeout(600);
    if (name === "link") {
      await page.uncheck("#show-courses");
      const bare = (await page.locator("#sheet").screenshot()).length;
      await page.uncheck("#show-beads");
      await page.waitForTimeout(200);
      assert.ok((await page.locator("#sheet").screenshot()).length < bare, "beads show on the cut, and go");
      await page.check("#show-beads");
      await page.check("#show-courses");
    }
    const ink = async () => {
      const png = await page.locator("#sheet").screenshot();
      return png.length;
    };
    await slide("cut", Math.round(last / 2));
    await page.waitForTimeout(200);
    const half = await ink();
    await shot(`${name}-stack-half`, page.locator("#sheet"));
    await slide("cut", last);
    await page.check("#through");
    await page.waitForTimeout(200);
    await shot(`${name}-stack-through`, page.locator("#sheet"));
    assert.notEqual(half, await ink());
    await page.focus("#sheet");
    for (let i = 0; i < 5; i++) await page.keyboard.press("ArrowLeft");
    await page.keyboard.press("3");
    assert.ok(await page.locator("#drawing").isVisible());
  }
});

test("people who do not see or point can use it", async () => {
  for (const look of ["light", "dark"]) {
    await load("link", "#layer=8");
    await page.selectOption("#look", look);
    await page.selectOption("#quantity", "bend");
    await axeFinds(`link, ${look}`);
  }
  await load("bracket");
  await axeFinds("bracket");
  // all of it by keys: pick, measure, zoom, leave
  await page.focus("#sheet");
  await page.keyboard.press("Shift+C");
  assert.match(await text("readout"), /^course L/);
  await page.keyboard.press("m");
  await page.keyboard.press("m");
  await page.keyboard.press("Shift+ArrowRight");
  await page.keyboard.press("m");
  assert.match(await text("readout"), /mm along x/);
  await page.keyboard.press("+");
  await page.keyboard.press("Escape");
  await page.keyboard.press("Tab");
  assert.notEqual(await page.evaluate(() => document.activeElement.id), "sheet", "no trap for the keyboard");
});

test("a small screen scrolls in one direction only", async () => {
  await page.setViewportSize({ width: 360, height: 700 });
  await load("link");
  const wide = await page.evaluate(() => document.documentElement.scrollWidth);
  assert.ok(wide <= 360, `${wide} px`);
  // the figures of the summary are seen without scrolling it
  const ends = await page.$$eval("#summary td", (cells) => cells.map((c) => c.getBoundingClientRect().right));
  assert.ok(ends.length > 20 && Math.max(...ends) <= 360, `${Math.max(...ends)} px`);
  await shot("link-small");
  await page.setViewportSize({ width: 1400, height: 950 });
});

test("on A4 paper", async () => {
  for (const [name] of EXAMPLES) {
    await load(name);
    const pdf = await page.pdf({ path: path.join(shots, `${name}.pdf`), preferCSSPageSize: true });
    const pages = pdf.toString("latin1").match(/\/Type\s*\/Page[^s]/g)?.length ?? 0;
    assert.ok(pages >= 2 && pages < 12, `${name}: ${pages} pages`);
  }
});

/** The link with a tow that comes to lie 1.5 mm behind the nozzle. */
function trailing() {
  const folder = path.join(scratch, "trailing");
  fs.cpSync(path.join(root, "examples/link"), folder, { recursive: true });
  const tow = execFileSync(towpath, ["material", "show", "carbon-1k-pa12"], { encoding: "utf8" });
  fs.writeFileSync(path.join(folder, "tow.toml"), tow.replace(/^width_mm/m, "trail_mm = 1.5\nwidth_mm"));
  const job = path.join(folder, "job.toml");
  fs.writeFileSync(job, fs.readFileSync(job, "utf8").replace('"carbon-1k-pa12"', '"tow.toml"'));
  return job;
}

test("a tow that trails is shown where it lies, and the nozzle's way beside it", async () => {
  await load("link");
  assert.ok(await page.locator("#show-ways").isDisabled(), "nothing to show where the tow lies under the nozzle");
  const out = path.join(scratch, "trailing-out");
  execFileSync(towpath, ["plan", trailing(), "--out", out, "--quiet", "--no-verify"]);
  reports.trailing = path.join(out, "treadle-link.report.html");
  const plan = JSON.parse(fs.readFileSync(reports.trailing.replace(".report.html", ".plan.json"), "utf8"));
  const course = plan.layers[4].courses.find((c) => c.laid);
  assert.ok(course, "the plan tells where tow lies");
  await load("trailing", "#layer=5&at=9,17");
  const laid = await pixels();
  await page.check("#show-ways");
  await drawn();
  assert.notEqual((await pixels()).sum, laid.sum, "the way shows beside the tow");
  await shot("trailing-ways");
  await page.focus("#sheet");
  await page.keyboard.press("c");
  assert.match(await text("readout"), /tow trails: up to \d\.\d{3} mm off the line wanted, x [\d.-]+, y [\d.-]+/);
  assert.match(await text("readout"), /cut at [\d.]+ mm: x [\d.-]+, y [\d.-]+/);
  await axeFinds("trailing");
});

test("the report of a watched job follows it, and what is seen stays", async () => {
  const folder = path.join(scratch, "watched"), out = path.join(scratch, "watched-out");
  fs.cpSync(path.join(root, "examples/link"), folder, { recursive: true });
  const job = path.join(folder, "job.toml"), report = path.join(out, "treadle-link.report.html");
  const until = async (what, holds) => {
    for (let i = 0; i < 400; i++) {
      if (await holds()) return;
      await new Promise((done) => setTimeout(done, 100));
    }
    assert.fail(`waited in vain: ${what}`);
  };
  const watching = spawn(towpath, ["plan", job, "--out", out, "--quiet", "--no-verify", "--watch"], { stdio: "ignore" });
  try {
    await until("the first report", () => fs.existsSync(report));
    await page.goto("about:blank");
    await page.goto(pathToFileURL(report).href);
    await drawn();
    await slide("layer", 9);
    await page.selectOption("#quantity", "bend");
    await page.uncheck("#show-beads");
    await page.locator("#closer").click();
    await page.focus("#sheet");
    await page.keyboard.press("c");
    await page.evaluate(() => window.scrollTo(0, 60));
    const seen = await pixels(), mass = () => page.locator("#summary tr", { hasText: "mass of one part" }).locator("td").first().textContent();
    const was = await mass();
    fs.writeFileSync(job, fs.readFileSync(job, "utf8").replace("thickness_mm = 4.0", "thickness_mm = 3.8"));
    await until("the new figures", async () => {
      try {
        return (await mass()) !== was;
      } catch {
        return false; // in the middle of being read again
      }
    });
    await until("what was said of it", async () => /planned again|course L9/.test(await text("readout").catch(() => "")));
    assert.match(await text("layer-says"), /^9 of 19/);
    assert.equal(await page.inputValue("#quantity"), "bend");
    assert.equal(await page.isChecked("#show-beads"), false);
    assert.equal(await page.evaluate(() => window.scrollY), 60);
    await drawn();
    const now = await pixels();
    assert.ok(Math.abs(now.ink / seen.ink - 1) < 0.1, `the same place at the same zoom: ${now.ink} of ${seen.ink}`);
    await axeFinds("watched");
    await shot("watched");
    // who does not want it stops it, also a reading that has just begun. One task of the
    // page, so that no reading of its own falls between the mark and the tick
    await page.hover("#follow");
    await page.waitForTimeout(500);
    await page.evaluate(() => {
      window.mine = true;
      location.reload();
      document.getElementById("follow").click();
    });
    assert.equal(await page.isChecked("#follow"), false);
    await page.waitForTimeout(3500);
    assert.equal(await page.evaluate(() => window.mine), true, "not read again");
  } finally {
    watching.kill("SIGINT");
  }
  // the one to send is planned without watching, and stays as it is
  assert.ok(!fs.readFileSync(reports.link, "utf8").includes("location.reload"), "no report but a watched one reads itself again");
});

test("nothing went wrong meanwhile", () => assert.deepEqual(faults, []));

test("with scripts off tables and pictures are there", async () => {
  const [other, plain, found] = await open({ javaScriptEnabled: false });
  await plain.goto(pathToFileURL(reports.link).href);
  assert.equal(await plain.locator("#viewer").isVisible(), false);
  assert.ok(await plain.locator("noscript p").isVisible());
  assert.equal(await plain.locator("#layers tbody tr").count(), 20);
  assert.ok((await plain.locator("#pictures svg").count()) >= 3);
  const rows = await plain.locator("#left-out tbody tr").count(), shown = await plain.locator("#left-out tbody tr:visible").count();
  assert.ok(shown === Math.min(rows, 40), `${shown} of ${rows} rows`);
  await plain.screenshot({ path: path.join(shots, "link-no-scripts.png"), fullPage: true });
  await other.close();
  assert.deepEqual(found, []);
});

test("a big part opens and scrubs", async (t) => {
  const big = path.join(root, "target/tmp/big report/big.report.html");
  if (!fs.existsSync(big)) return t.skip("cargo test --test big_report writes it");
  reports.big = big;
  const began = performance.now();
  await page.goto(pathToFileURL(big).href, { waitUntil: "commit" });
  await page.waitForFunction(() => performance.getEntriesByName("first picture").length > 0);
  const first = await page.evaluate(() => performance.getEntriesByName("first picture")[0].startTime);
  await page.waitForLoadState("load", { timeout: 120000 });
  const whole = performance.now() - began;
  assert.match(await text("layer-says"), /of 1000/);
  // a bounded number of frames, each at another moment or layer
  const frames = await page.evaluate(async () => {
    const time = document.getElementById("time"), layer = document.getElementById("layer");
    const run = async (element, values) => {
      const began = performance.now();
      for (const v of values) {
        element.value = v;
        element.dispatchEvent(new Event("input", { bubbles: true }));
        await new Promise((done) => requestAnimationFrame(done));
      }
      return (performance.now() - began) / values.length;
    };
    const n = 40, spread = (k, most) => 1 + ((k * 0.618) % 1) * (most - 1);
    const scrub = await run(time, Array.from({ length: n }, (_, k) => 1000 * (k + 1) / n));
    const jump = await run(time, Array.from({ length: n }, (_, k) => spread(k, 1000)));
    const layers = await run(layer, Array.from({ length: n }, (_, k) => Math.round(spread(k, 1000))));
    return { scrub, jump, layers };
  });
  console.log(`big part: ${(fs.statSync(big).size / 1e6).toFixed(1)} MB, first picture ${first.toFixed(0)} ms, all read ${whole.toFixed(0)} ms`);
  console.log(`big part: a frame takes ${frames.scrub.toFixed(1)} ms scrubbing on, ${frames.jump.toFixed(1)} ms jumping in time, ${frames.layers.toFixed(1)} ms from layer to layer`);
  await slide("layer", 500);
  assert.ok((await pixels()).ink > 5000);
  await shot("big");
  assert.deepEqual(faults, []);
});
