// The hands: parts at hand, sliders, and every other key through a search box.

const SHOWN = 30;
const at = (id) => document.getElementById(id);
const short = (value) => typeof value === "number" ? String(+value.toPrecision(7)) : Array.isArray(value) ? value.join(", ") : value === null ? "" : String(value);

export class Hands {
  // `turn(key, value)`: a hand has moved; undefined takes the key back to the file's value.
  constructor(turn) {
    this.turn = turn;
    this.known = { hands: [], parts: [], keys: [] };
    this.extra = [];
    const box = at("search");
    box.addEventListener("input", () => this.find());
    box.addEventListener("focus", () => this.find());
    box.addEventListener("blur", () => setTimeout(() => this.close(), 150));
    box.addEventListener("keydown", (event) => this.pressed(event));
  }

  // What there is to hold for a build as its file and its parts have it.
  show(known, changes) {
    this.known = known;
    this.keys = new Map(known.keys.map((key) => [key.key, key]));
    at("parts").replaceChildren(...known.parts.filter((part) => part.names.length).map((part) => this.part(part)));
    at("sliders").replaceChildren(...known.hands.map((hand) => this.slider(hand)));
    this.follow(changes);
  }

  // Let every hand stand where the state has it, without moving the one that is held.
  follow(changes) {
    const sliders = new Set([...this.known.hands, ...this.known.parts].map((hand) => hand.key));
    const others = [...new Set([...this.extra, ...Object.keys(changes)])].filter((key) => !sliders.has(key) && this.keys?.has(key));
    const shown = [...at("others").children].map((row) => row.dataset.key);
    if (shown.join() !== others.join()) at("others").replaceChildren(...others.map((key) => this.row(this.keys.get(key))));
    for (const row of document.querySelectorAll("#hands [data-key]")) {
      const key = row.dataset.key, own = this.keys.get(key)?.value ?? this.partOf(key);
      const value = key in changes ? changes[key] ?? this.keys.get(key)?.default ?? null : own;
      row.classList.toggle("changed", key in changes);
      row.classList.toggle("unset", key in changes && changes[key] === null);
      for (const input of row.querySelectorAll("input, select")) if (input !== document.activeElement || input.type === "range") fill(input, value);
    }
  }

  partOf(key) { return this.known.parts.find((part) => part.key === key)?.value ?? ""; }

  part(part) {
    const row = document.createElement("div"), label = document.createElement("label"), select = document.createElement("select");
    row.className = "part";
    row.dataset.key = part.key;
    label.textContent = part.words;
    label.htmlFor = select.id = `part-${part.key}`;
    const own = new Option("of its own", "");
    own.disabled = part.value !== null;
    select.append(...(part.value === null ? [own] : []), ...part.names.map((name) => new Option(name.replace(/^(motor|cell|controller|tyre)-/, ""), name)));
    select.addEventListener("change", () => this.turn(part.key, select.value === (part.value ?? "") ? undefined : select.value));
    row.append(label, select);
    return row;
  }

  slider(hand) {
    const key = this.keys.get(hand.key), row = document.createElement("div");
    row.className = "hand";
    row.dataset.key = hand.key;
    const label = document.createElement("label"), range = document.createElement("input"), number = document.createElement("input");
    label.textContent = key.unit ? `${hand.words} [${key.unit}]` : hand.words;
    label.htmlFor = range.id = `hand-${hand.key}`;
    Object.assign(range, { type: "range", min: hand.low, max: hand.high, step: hand.step });
    Object.assign(number, { type: "number", step: "any", title: `${key.help}; ${key.allowed}` });
    number.setAttribute("aria-label", `${label.textContent}, as a number`);
    range.addEventListener("input", () => { number.value = range.value; this.moved(key, range.value); });
    number.addEventListener("input", () => { if (number.value !== "") { range.value = number.value; this.moved(key, number.value); } });
    row.append(label, range, number, ...this.backs(key, hand.words));
    return row;
  }

  // The ways back: to the file's value, and to the default where the file gives a key that has one.
  backs(key, words) {
    const made = (name, text, title, value) => {
      const button = document.createElement("button");
      Object.assign(button, { type: "button", className: name, textContent: text, title });
      button.setAttribute("aria-label", `${words}: ${title}`);
      button.addEventListener("click", () => this.turn(key.key, value));
      return button;
    };
    const usual = key.default === null ? "estimated, or off" : short(key.default);
    const backs = key.given && !key.required ? [made("usual", "⌂", `back to the default (${usual})`, null)] : [];
    return [...backs, made("back", "↺", "as in the file", undefined)];
  }

  row(key) {
    const row = document.createElement("div"), label = document.createElement("label"), help = document.createElement("p");
    row.className = "hand key";
    row.dataset.key = key.key;
    const input = control(key);
    label.textContent = key.unit ? `${key.key} [${key.unit}]` : key.key;
    label.htmlFor = input.id = `key-${key.key}`;
    help.className = "help";
    help.id = `help-${key.key}`;
    const usual = key.default === null ? "" : `; default ${short(key.default)}`;
    help.textContent = `${key.help}; ${key.allowed}${usual}`;
    input.setAttribute("aria-describedby", help.id);
    input.addEventListener("input", () => this.moved(key, input.type === "checkbox" ? input.checked : input.value));
    row.append(label, input, ...this.backs(key, key.key), help);
    return row;
  }

  moved(key, text) {
    const value = read(key, text);
    if (value === undefined) return;
    this.turn(key.key, JSON.stringify(value) === JSON.stringify(key.value) ? undefined : value);
  }

  find() {
    const words = at("search").value.trim().toLowerCase().split(/\s+/), list = at("found");
    const fits = (key) => words.every((word) => `${key.key.replaceAll("_", " ")} ${key.key} ${key.help}`.toLowerCase().includes(word));
    const found = this.known.keys.filter(fits).slice(0, SHOWN);
    list.replaceChildren(...found.map((key, index) => {
      const item = document.createElement("li"), small = document.createElement("small");
      item.setAttribute("role", "option");
      item.id = `found-${index}`;
      item.dataset.key = key.key;
      item.textContent = key.key;
      small.textContent = `${key.help}; ${key.allowed}`;
      item.append(small);
      item.setAttribute("aria-selected", "false");
      item.addEventListener("mousedown", () => this.take(key.key));
      return item;
    }));
    list.hidden = !found.length;
    at("search").setAttribute("aria-expanded", String(!list.hidden));
    this.point(-1);
  }

  pressed(event) {
    const items = [...at("found").children];
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      this.point((this.pointed + (event.key === "ArrowDown" ? 1 : -1) + items.length) % items.length);
    } else if (event.key === "Enter" && items.length) {
      event.preventDefault();
      this.take(items[Math.max(this.pointed, 0)].dataset.key);
    } else if (event.key === "Escape") this.close();
  }

  point(index) {
    this.pointed = index;
    [...at("found").children].forEach((item, place) => {
      item.setAttribute("aria-selected", String(place === index));
      if (place === index) item.scrollIntoView({ block: "nearest" });
    });
    if (index >= 0) at("search").setAttribute("aria-activedescendant", `found-${index}`);
    else at("search").removeAttribute("aria-activedescendant");
  }

  close() {
    at("found").hidden = true;
    at("search").setAttribute("aria-expanded", "false");
    at("search").removeAttribute("aria-activedescendant");
  }

  take(key) {
    at("search").value = "";
    this.close();
    if (!this.extra.includes(key)) this.extra.push(key);
    this.follow(this.changes());
    (document.getElementById(`key-${key}`) || document.getElementById(`hand-${key}`))?.focus();
  }
}

function control(key) {
  if (key.kind === "choice") {
    const select = document.createElement("select");
    select.append(...(key.value === null ? [new Option("", "")] : []), ...key.choices.map((choice) => new Option(choice, choice)));
    return select;
  }
  const input = document.createElement("input");
  input.type = key.kind === "yes or no" ? "checkbox" : "text";
  if (key.kind === "number" || key.kind === "whole number") input.inputMode = "decimal";
  return input;
}

function fill(input, value) {
  if (input.type === "checkbox") input.checked = value === true;
  else input.value = short(value);
}

// The value that a text stands for; undefined while it is half written, null for an empty one. What is no number goes
// to the server as it is, which says in words what is wrong.
function read(key, text) {
  if (typeof text === "boolean") return text;
  const plain = text.trim();
  if (plain === "") return key.required ? undefined : null;
  if (key.kind === "list of numbers") {
    const list = plain.split(",").map((piece) => Number(piece));
    return list.some(Number.isNaN) ? plain : list;
  }
  if (key.kind !== "number" && key.kind !== "whole number") return plain;
  return Number.isNaN(Number(plain)) ? plain : Number(plain);
}
