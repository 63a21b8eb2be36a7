// The page: a change is ridden at once, drawn at once; how sure it is follows when the hands rest.

import { showFigures, showHeld, showReading, showVerdict } from "./figures.js";
import { Hands } from "./hands.js";
import { Keeper, Questions, takeRoads } from "./more.js";
import { MOST_PINS, State, fromAddress } from "./state.js";
import { Strips } from "./strips.js";
import { Fault, ask, columns, long } from "./talk.js";
import { Way } from "./way.js";

const REST_MS = 300; // hands that rest this long are asked for spans
const LEAST_POINTS = 4000; // a day's ride is drawn row by row; a longer one is thinned to the screen
const at = (id) => document.getElementById(id);

let state, strips, way, hands, questions, listed;
let ride = null, road = null, sure = null, sureOf = "", row = 0;
let riding = false, again = false, sureStop = null, restTimer = 0;
const pinned = new Map(); // rides of pins by what was asked
let handsOf = "", roadOf = "";

const fault = (text) => { at("fault").textContent = text; at("fault").hidden = !text; };
const points = () => Math.max(LEAST_POINTS, 2 * Math.round(strips.width * (window.devicePixelRatio || 1)));
const mark = (asked) => JSON.stringify([asked.build, asked.road, asked.changes]);
const pinAsked = (pin) => ({ build: pin.build, road: state.now.road, changes: pin.changes });

// Ride what the state asks; of several changes during a ride only the last is ridden.
async function go() {
  if (riding) { again = true; return; }
  riding = true;
  try {
    do {
      again = false;
      await once(state.asked);
    } while (again);
    fault("");
  } catch (error) {
    fault(error instanceof Fault ? error.message : `${error}`);
    if (!(error instanceof Fault)) throw error;
  } finally {
    riding = false;
    if (again) go();
  }
}

async function once(asked) {
  const known = partsOf(asked);
  if (known !== handsOf) {
    hands.show(await ask("hands", { state: { ...asked, changes: JSON.parse(known)[1] } }), state.now.changes);
    handsOf = known;
  }
  if (asked.road !== roadOf) {
    road = await columns("road", { state: asked });
    roadOf = asked.road;
    const remarks = road.warnings.length ? " What was found in the recording is listed under the figures." : "";
    at("roadwords").textContent = `${road.name}: ${road.length}, ${road.climb} of climb.${remarks}`;
  }
  const found = await columns("ride", { state: asked, points: points() });
  found.names = found.bound_names;
  found.of = mark(asked);
  ride = found;
  draw();
  await ridePins();
}

// The build with its parts: what the hands are made for.
function partsOf(asked) {
  const parts = Object.entries(asked.changes).filter(([key]) => ["motor", "controller", "tyre", "pack.cell"].includes(key));
  return JSON.stringify([asked.build, Object.fromEntries(parts)]);
}

function pins() {
  return state.now.pins.map((pin) => ({ ...pin, ...(pinned.get(mark(pinAsked(pin))) || {}) }));
}

async function ridePins() {
  for (const pin of state.now.pins) {
    const asked = pinAsked(pin), key = mark(asked);
    if (pinned.has(key)) continue;
    try {
      pinned.set(key, { ride: await columns("ride", { state: asked, points: points() }) });
    } catch {
      pinned.set(key, {}); // a bike that cannot be ridden here has no line
    }
    draw();
  }
}

function draw() {
  const lags = sureOf !== ride.of, shown = pins();
  document.title = at("title").textContent = ride.title;
  strips.show(ride, shown, road);
  way.show(road, ride);
  showVerdict(!lags && sure ? sure.figures.verdict : ride.figures.verdict);
  showHeld(ride);
  showFigures(ride, sure, shown, lags, unpin);
  at("sure").textContent = lags ? "The verdict is of the bike as it stands; " + (sure ? "range and spans are of the bike before. They follow, and its chances, when the hands rest …" : "range, spans and its chances follow …") : sure.sure_words;
  at("place").max = ride.rows - 1;
  place(Math.min(row, ride.rows - 1));
  document.documentElement.dataset.drawn = ride.of;
  performance.mark("drawn");
}

function place(next) {
  if (!ride) return;
  row = Math.max(0, Math.min(next ?? 0, ride.rows - 1));
  strips.place(row);
  way.place(row);
  at("place").value = row;
  at("place").setAttribute("aria-valuetext", showReading(ride, row));
}

// Range, spans and chances, when the hands rest; given up as soon as one moves.
function rest() {
  clearTimeout(restTimer);
  sureStop?.abort();
  sureStop = null;
  restTimer = setTimeout(async () => {
    const asked = state.asked, stop = sureStop = new AbortController();
    try {
      const found = await long({ kind: "sure", state: asked }, stop.signal);
      if (mark(state.asked) !== mark(asked)) return;
      sure = found;
      sureOf = mark(asked);
      const kept = pinned.get(sureOf);
      if (kept) kept.range = found.figures.range_km;
      if (ride?.of === sureOf) draw();
    } catch (error) {
      if (error.name !== "AbortError") at("sure").textContent = error.message;
    }
  }, REST_MS);
}

function changed() {
  at("undo").disabled = !state.canUndo;
  at("redo").disabled = !state.canRedo;
  at("reset").disabled = !Object.keys(state.now.changes).length;
  at("pin").disabled = state.now.pins.length >= MOST_PINS;
  at("build").value = state.now.build;
  choose("road", state.now.road);
  if (partsOf(state.asked) === handsOf) hands.follow(state.now.changes);
  if (!ride || ride.of !== mark(state.asked)) {
    questions.changed();
    go();
    rest();
  } else if (ride) {
    draw();
    ridePins();
  }
}

function pinLabel() {
  const changes = Object.entries(state.now.changes).map(([key, value]) => `${key.split(".").slice(-1)[0].replace(/_[a-z]+$/, "").replaceAll("_", " ")} ${value ?? "default"}`);
  const name = state.now.build.replace(/^.*\//, "").replace(/\.toml$/, "");
  return changes.length ? `${name}, ${changes.slice(0, 2).join(", ")}${changes.length > 2 ? " …" : ""}` : name;
}

function pin() {
  if (!ride || state.now.pins.length >= MOST_PINS) return;
  const asked = state.asked;
  if (ride.of === mark(asked)) pinned.set(ride.of, { ride, range: sureOf === ride.of ? sure.figures.range_km : undefined });
  state.become({ ...state.now, pins: [...state.now.pins, { label: pinLabel(), build: asked.build, changes: asked.changes }] });
}

function unpin(index) {
  state.become({ ...state.now, pins: state.now.pins.filter((_, each) => each !== index) });
}

function choose(id, value) {
  const select = at(id);
  if (![...select.options].some((option) => option.value === value)) {
    select.append(new Option(value.replace(/^dropped\/[0-9a-f]+\//, "dropped: "), value));
  }
  select.value = value;
}

function keys(event) {
  const typing = event.target.matches?.("input:not([type=range]), textarea");
  if (!(event.ctrlKey || event.metaKey) || typing || at("ask").open) return;
  const key = event.key.toLowerCase();
  if (key === "z") state.go(event.shiftKey ? 1 : -1);
  else if (key === "y") state.go(1);
  else return;
  event.preventDefault();
}

function stem(name) { return name.replace(/^.*\//, "").replace(/\.\w+$/, ""); }

async function begin() {
  listed = await (await fetch("start")).json();
  state = new State(fromAddress() || { ...listed.first, changes: {}, pins: [] }, changed);
  at("build").append(...listed.builds.map((name) => new Option(name, name)));
  at("road").append(...listed.roads.map((name) => new Option(name, name)));
  choose("build", state.now.build);
  strips = new Strips(at("strips"), place);
  way = new Way(at("way"), place);
  hands = new Hands((key, value) => turn(key, value));
  hands.changes = () => state.now.changes;
  questions = new Questions(() => state.asked);
  const keeper = new Keeper(() => state.asked, (written) => { if (written.endsWith(".toml")) choose("build", written); at("build").value = state.now.build; });
  takeRoads(listed.most_road_bytes, (name) => { state.become({ ...state.now, road: name }); questions.ask("road"); }, fault);
  at("build").addEventListener("change", () => state.become({ ...state.now, build: at("build").value, changes: {} }));
  at("road").addEventListener("change", () => state.become({ ...state.now, road: at("road").value }));
  at("place").addEventListener("input", () => place(Number(at("place").value)));
  at("undo").addEventListener("click", () => state.go(-1));
  at("redo").addEventListener("click", () => state.go(1));
  at("reset").addEventListener("click", () => state.become({ ...state.now, changes: {} }));
  at("pin").addEventListener("click", pin);
  at("save").addEventListener("click", () => keeper.open("variant", "Save this bike as a variant", `${stem(state.now.build)}-variant.toml`));
  at("page").addEventListener("click", () => keeper.open("page", "Write a page of this ride to keep", `${stem(state.now.build)}-${stem(state.now.road)}.html`));
  at("dossier").addEventListener("click", () => keeper.open("dossier", "Write one page on the whole bike", `${stem(state.now.build)}-whole.html`));
  document.addEventListener("keydown", keys);
  window.addEventListener("hashchange", () => { const found = fromAddress(); if (found) state.become(found); });
  window.addEventListener("pagehide", () => state.write());
  state.write();
  changed();
}

// A part begins its section anew: keys that were turned inside it would be of the part before.
function turn(key, value) {
  if (!["motor", "controller", "tyre", "pack.cell"].includes(key)) { state.set(key, value); return; }
  const changes = Object.fromEntries(Object.entries(state.now.changes).filter(([each]) => each !== key && !each.startsWith(`${key}.`)));
  if (value !== undefined) changes[key] = value;
  state.become({ ...state.now, changes });
}

begin();
