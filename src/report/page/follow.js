// Loads the page again, so that it follows a job that is planned after every change:
// a file cannot be told that it was written anew, and the page may ask nobody. What
// the reader sees stays as it is: layer, moment, place, colours, scroll.

const KEPT = "towpath " + location.pathname;

// a page that takes long to read is read less often; nobody is interrupted
const READ_MS = performance.now(), EVERY_MS = Math.max(2000, 10 * READ_MS), IDLE_MS = 1500;
let touched = performance.now();

function keep() {
  const focused = document.activeElement && document.activeElement.id;
  const { index, quantity, show, stack: stacked } = state;
  const time = Number.isFinite(state.time) ? state.time : null;
  const seen = { scale: view.scale, x0: view.x0, y0: view.y0, width: view.width, height: view.height };
  const turned = stack && { turn: stack.turn, tilt: stack.tilt, zoom: stack.zoom, shift: stack.shift };
  try {
    sessionStorage.setItem(KEPT, JSON.stringify({
      index, time, quantity, show, stacked, seen, turned, focused, plan: facts.plan, look: $("look").value, pace: $("pace").value,
      picked: state.picked && state.picked.id, scroll: [window.scrollX, window.scrollY],
    }));
  } catch {
    // without a store the page begins where it opens
  }
}

function kept() {
  try {
    const text = sessionStorage.getItem(KEPT);
    sessionStorage.removeItem(KEPT);
    return text ? JSON.parse(text) : null;
  } catch {
    return null;
  }
}

function takeUp(was) {
  $("look").value = was.look;
  $("look").dispatchEvent(new Event("change"));
  $("pace").value = was.pace;
  $("quantity").value = state.quantity = was.quantity;
  for (const what of Object.keys(state.show)) if (what in was.show) $("show-" + what).checked = state.show[what] = !!was.show[what];
  goTo(was.index, was.time === null ? Infinity : was.time);
  Object.assign(view, { scale: was.seen.scale, x0: was.seen.x0 + (view.width - was.seen.width) / 2, y0: was.seen.y0 + (view.height - was.seen.height) / 2 });
  if (was.stacked) {
    stackMode(true);
    if (stack && was.turned) Object.assign(stack, was.turned);
  }
  const layer = layerAt(state.index), picked = was.picked && layer && layer.courses.find((c) => c.id === was.picked);
  if (picked) pick(picked);
  if (was.focused && $(was.focused)) $(was.focused).focus({ preventScroll: true });
  document.documentElement.style.scrollBehavior = "auto";
  window.scrollTo(...was.scroll);
  document.documentElement.style.scrollBehavior = "";
  if (was.plan !== facts.plan) say("planned again: this is the new plan.");
}

function follow() {
  const was = kept();
  if (was && facts.layers.length) takeUp(was);
  for (const name of ["pointerdown", "pointermove", "keydown", "wheel", "scroll", "input"]) {
    window.addEventListener(name, () => { touched = performance.now(); }, { passive: true });
  }
  const again = () => {
    const busy = document.hidden || state.playing || state.measuring || performance.now() - touched < IDLE_MS;
    if (!$("follow").checked || busy) return;
    keep();
    location.reload();
  };
  setInterval(again, EVERY_MS);
  // a reading that has begun would bring the tick back
  $("follow").addEventListener("change", () => { if (!$("follow").checked) window.stop(); });
  // back from the editor
  document.addEventListener("visibilitychange", again);
}

if (document.readyState === "complete") follow();
else window.addEventListener("load", follow, { once: true });
