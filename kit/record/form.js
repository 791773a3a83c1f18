// The grading form in a browser. Every tap is sent at once; what could not be sent waits in this
// browser's storage and is sent as soon as the kit answers again, even after the page was closed.
"use strict";

const AGAIN_MS = 2000;
const SEEN_MS = 250; // how long a finished patch is shown before the next one comes

const form = document.getElementById("form");
const { series, by, firing } = form.dataset;
const part = (name) => document.getElementById(name);
const stepButtons = [...form.querySelectorAll("button[data-grade]")];
const scaleOf = (button) => button.closest("fieldset").dataset.scale;

const storage = (kind) => {
  const held = () => window[kind];
  return {
    read(name, otherwise) {
      try { return JSON.parse(held().getItem(name)) ?? otherwise; } catch { return otherwise; }
    },
    write(name, value) {
      try { held().setItem(name, JSON.stringify(value)); } catch { /* private mode: nothing is kept */ }
    },
  };
};
const device = storage("localStorage");
const visit = storage("sessionStorage");
const waitingName = `kit-waiting-${series}`;

const random = () => Math.random().toString(36).slice(2);
const page = visit.read("kit-page", random());
visit.write("kit-page", page);

let waiting = device.read(waitingName, []);
let sending = false;
let shown = null;

function keepWaiting() {
  device.write(waitingName, waiting.filter((one) => one.does !== "look"));
}

function say(text, wrong = false) {
  part("message").textContent = text;
  part("message").classList.toggle("wrong", wrong);
}

function lock(locked) {
  for (const button of form.querySelectorAll("button")) button.disabled = locked;
  if (!locked && shown) {
    part("undo").disabled = !shown.canUndo;
    part("back").disabled = shown.place === 1;
    part("next").disabled = shown.place === shown.of;
  }
}

function ask(does, more = {}) {
  const patch = shown ? { patch: shown.patch } : {};
  waiting.push({ page, by, firing, number: random(), does, ...patch, ...more });
  keepWaiting();
  send();
}

async function send() {
  if (sending || waiting.length === 0) return;
  sending = true;
  const one = waiting[0];
  const body = JSON.stringify(one);
  let answer, said;
  try {
    answer = await fetch("answer", { method: "POST", body, keepalive: true });
    said = await answer.json();
  } catch {
    sending = false;
    lock(true);
    const what = one.does === "look" ? "The kit does not answer." : "Not saved yet: the kit does not answer.";
    say(`${what} Leave this page open and look whether the kit still runs; this page tries again by itself.`, true);
    setTimeout(send, AGAIN_MS);
    return;
  }
  waiting.shift();
  keepWaiting();
  sending = false;
  if (waiting.length > 0) {
    if (said.problem) say(`Not saved. ${said.problem}`, true);
    send();
  } else if (said.problem) {
    if (one.does !== "look") ask("look");
    say(`Not saved. ${said.problem}`, true);
  } else if (one.by === by && String(one.firing) === firing) {
    const moved = shown && said.patch !== shown.patch && ["grade", "lost"].includes(one.does);
    setTimeout(() => show(said, one.does), moved ? SEEN_MS : 0);
  } else {
    ask("look");
  }
}

function show(state, does) {
  const before = shown;
  shown = state;
  lock(false);
  part("bar").max = state.of;
  part("bar").value = state.done;
  part("progress").textContent = state.progress;
  part("picture").innerHTML = state.picture;
  part("heading").textContent = state.heading;
  part("recipe").textContent = state.recipe;
  part("note").value = state.note;
  part("lost").value = state.lost;
  for (const button of stepButtons) {
    const chosen = state.grades[scaleOf(button)] === Number(button.dataset.grade);
    button.setAttribute("aria-pressed", chosen);
  }
  form.classList.toggle("another-tile", before !== null && before.tile !== state.tile);
  form.classList.toggle("lost", state.lost !== "");
  const kept = part("message").classList.contains("wrong") && does === "look" && before !== null;
  if (state.finished && !kept) say(`Every patch is done. ${state.saved}`);
  else if (!kept) say(does === "look" ? "" : state.saved);
  if (before && before.patch !== state.patch && document.activeElement === document.body) {
    stepButtons[0].focus({ preventScroll: true });
  }
}

function grade(button) {
  const scale = scaleOf(button);
  const value = Number(button.dataset.grade);
  for (const other of stepButtons) {
    if (scaleOf(other) === scale) other.setAttribute("aria-pressed", other === button);
  }
  const wasDone = Object.values(shown.grades).every((held) => held !== null);
  shown.grades[scale] = value;
  const isDone = Object.values(shown.grades).every((held) => held !== null);
  if (isDone && !wasDone) lock(true); // a further tap would belong to the patch that comes next
  ask("grade", { scale, value });
}

for (const button of stepButtons) button.addEventListener("click", () => grade(button));
for (const name of ["undo", "back", "next"]) {
  part(name).addEventListener("click", () => { lock(true); ask(name); });
}
for (const name of ["note", "lost"]) {
  part(name).addEventListener("change", () => ask(name, { value: part(name).value }));
  part(name).addEventListener("keydown", (event) => { if (event.key === "Enter") part(name).blur(); });
}

document.addEventListener("keydown", (event) => {
  const typing = event.target.matches("input, textarea, select");
  if (typing || event.ctrlKey || event.metaKey || event.altKey || !shown) return;
  const move = { u: "undo", ArrowLeft: "back", ArrowRight: "next" }[event.key];
  if (move) {
    part(move).click();
  } else if (/^[0-9]$/.test(event.key)) {
    const open = Object.keys(shown.grades).find((scale) => shown.grades[scale] === null);
    stepButtons.find((b) => scaleOf(b) === open && b.dataset.grade === event.key)?.click();
  }
});

lock(true);
ask("look");
