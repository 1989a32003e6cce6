// Keeps the page fresh and the walk's readings safe. Every view reads and works without it.
"use strict";

const PULSE_MS = 10000;
const KEPT = "bagwatt walk";
const pulse = document.getElementById("pulse");
let mark = document.getElementById("main").dataset.live;
let lostSince = null;

function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

async function beat() {
  if (document.hidden) return;
  try {
    const answer = await fetch("/api/pulse", { cache: "no-store", signal: AbortSignal.timeout(8000) });
    if (answer.status === 401) {
      say(pulse, "You are logged out: log in again to see what is new.");
      return;
    }
    if (!answer.ok) throw new Error(String(answer.status));
    const fresh = (await answer.json()).mark;
    lostSince = null;
    say(pulse, "");
    if (mark !== fresh) await renew();
    await sendKept();
  } catch {
    lostSince = lostSince || new Date();
    const at = lostSince.toTimeString().slice(0, 5);
    say(pulse, `No connection to the monitor since ${at}: what you see is from before.`);
  }
}

// Takes the new content in place of the old, unless somebody is in the middle of a form.
async function renew() {
  const main = document.querySelector("main[data-live]");
  if (!main) return;
  const busy = document.activeElement;
  if (busy && main.contains(busy) && busy.matches("input, select, textarea, [open] *")) return;
  const answer = await fetch(location.href, { cache: "no-store", signal: AbortSignal.timeout(8000) });
  if (!answer.ok || answer.redirected) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main");
  if (!fresh) return;
  const href = busy && main.contains(busy) ? busy.getAttribute("href") : null;
  const open = [...main.querySelectorAll("details")].map((one) => one.open);
  main.replaceChildren(...fresh.childNodes);
  mark = fresh.dataset.live;
  lookAgainSoon();
  main.querySelectorAll("details").forEach((one, place) => { one.open = Boolean(open[place]); });
  if (href) main.querySelector(`a[href="${CSS.escape(href)}"]`)?.focus({ preventScroll: true });
}

// What was just asked is taken by the watch within a second or two.
function lookAgainSoon() {
  if (document.querySelector("main .asked:not([hidden])")) setTimeout(beat, 2000);
}

// ---- the walk: each reading is kept on the phone until the monitor has it ----

function kept() {
  try {
    const found = JSON.parse(localStorage.getItem(KEPT) || "[]");
    return Array.isArray(found) ? found : [];
  } catch {
    return [];
  }
}

function keep(list) {
  localStorage.setItem(KEPT, JSON.stringify(list));
}

function newKey() {
  const parts = crypto.getRandomValues(new Uint32Array(4));
  return Array.from(parts, (part) => part.toString(36)).join("-");
}

let sending = false;
async function sendKept() {
  const list = kept().slice(0, 100);
  if (sending || list.length === 0) return showKept();
  sending = true;
  try {
    const me = await fetch("/api/me", { cache: "no-store", signal: AbortSignal.timeout(8000) });
    if (!me.ok) return;
    const { token } = await me.json();
    const readings = list.map((one) => ({
      key: one.key, bag: one.bag, typed: one.typed, units: one.units,
      age_s: Math.max(0, (Date.now() - one.at) / 1000),
    }));
    const answer = await fetch("/api/walk", {
      method: "POST", signal: AbortSignal.timeout(15000),
      headers: { "content-type": "application/json", "x-form-token": token },
      body: JSON.stringify({ readings }),
    });
    if (!answer.ok) return;
    const done = new Map((await answer.json()).readings.map((one) => [one.key, one]));
    keep(kept().filter((one) => !done.has(one.key)));
    for (const one of done.values()) {
      forgetRefusal(one.bag);
      if (one.state === "refused") refused(one);
    }
  } catch {
    // It stays kept and is sent at the next beat.
  } finally {
    sending = false;
    showKept();
  }
}

function showKept() {
  const line = document.getElementById("walk-kept");
  if (!line) return;
  const count = kept().length;
  line.hidden = count === 0;
  say(line, count ? `${count} reading${count === 1 ? "" : "s"} kept on this phone until the monitor answers.` : "");
}

function refused(one) {
  const list = document.getElementById("walk-refused");
  if (!list) return;
  const line = document.createElement("li");
  line.dataset.bag = one.bag;
  line.textContent = `${one.bag} was not taken: ${one.why}. `;
  const again = document.createElement("a");
  again.href = `/walk?bag=${encodeURIComponent(one.bag)}`;
  again.textContent = `Read ${one.bag} again`;
  line.append(again);
  list.append(line);
  list.hidden = false;
  const stop = walkStops().find((li) => li.dataset.bag === one.bag);
  if (!stop) return;
  delete stop.dataset.done;
  stop.querySelector("span").textContent = "";
  countRead();
  if (document.getElementById("walk-form")?.hidden) offer(stop);
}

function forgetRefusal(bag) {
  const lines = [...document.querySelectorAll("#walk-refused li")];
  for (const line of lines) if (line.dataset.bag === bag) line.remove();
  const list = document.getElementById("walk-refused");
  if (list) list.hidden = list.children.length === 0;
}

function walkStops() {
  return [...document.querySelectorAll("#walk-stops li")];
}

function countRead() {
  const stops = walkStops();
  const read = stops.filter((li) => "done" in li.dataset).length;
  say(document.getElementById("walk-count"), `${read} of ${stops.length} bag${stops.length === 1 ? "" : "s"} read.`);
}

// Asks for the reading of this bag.
function offer(stop) {
  const form = document.getElementById("walk-form");
  form.hidden = false;
  form.elements.bag.value = stop.dataset.bag;
  document.querySelector("#walk-bag .tape").textContent = stop.dataset.bag;
  const place = [["rack", "rack"], ["shelf", "shelf"], ["slot", "slot"]]
    .filter(([name]) => stop.dataset[name]).map(([name, word]) => `${word} ${stop.dataset[name]}`);
  document.getElementById("walk-place").textContent = place.join(", ");
}

function setUpWalk() {
  const form = document.getElementById("walk-form");
  if (!form) return;
  const value = form.elements.value;
  const stops = walkStops();
  for (const one of kept()) {
    const stop = stops.find((li) => li.dataset.bag === one.bag);
    if (stop) done(stop, one.typed);
  }
  if (stops.find((li) => li.dataset.bag === form.elements.bag.value && "done" in li.dataset) && !location.search.includes("bag=")) goOn();
  setUpKeys(value);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const typed = value.value.trim();
    const why = document.getElementById("walk-why");
    if (!/^\d{1,3}([.,]\d{1,2})?\s*°?\s*[CcFf]?$/.test(typed)) {
      say(why, `Type a temperature like ${form.dataset.units === "F" ? "74.3" : "23.5"}`);
      value.setAttribute("aria-invalid", "true");
      value.focus();
      return;
    }
    say(why, "");
    value.removeAttribute("aria-invalid");
    const bag = form.elements.bag.value;
    keep([...kept(), { key: newKey(), bag, typed, units: form.dataset.units, at: Date.now() }]);
    const stop = stops.find((li) => li.dataset.bag === bag);
    if (stop) done(stop, typed);
    goOn();
    sendKept();
  });

  function done(stop, typed) {
    stop.dataset.done = "";
    stop.querySelector("span").textContent = typed;
    countRead();
  }

  function goOn() {
    const here = stops.findIndex((li) => li.dataset.bag === form.elements.bag.value);
    const next = [...stops.slice(here + 1), ...stops.slice(0, here + 1)].find((li) => !("done" in li.dataset));
    value.value = "";
    if (!next) {
      form.hidden = true;
      say(document.getElementById("walk-count"), "Every bag was read. Thank you.");
      return;
    }
    offer(next);
  }
}

function setUpKeys(value) {
  const keys = document.getElementById("walk-keys");
  for (const sign of ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0", "⌫"]) {
    const key = document.createElement("button");
    key.type = "button";
    key.textContent = sign;
    if (sign === "⌫") key.setAttribute("aria-label", "Delete the last sign");
    key.addEventListener("click", () => {
      value.value = sign === "⌫" ? value.value.slice(0, -1) : (value.value + sign).slice(0, 8);
    });
    keys.append(key);
  }
  keys.hidden = false;
  value.setAttribute("inputmode", "none"); // the keys below are larger than the phone's own
}

setUpWalk();
showKept();
beat();
lookAgainSoon();
setInterval(beat, PULSE_MS);
document.addEventListener("visibilitychange", beat);
window.addEventListener("online", beat);
