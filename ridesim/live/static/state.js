// What the page shows, kept in its address: a bike, a road, the changed keys, the pins; and the way back.

export const MOST_PINS = 4;
const TOGETHER_MS = 800; // changes of one key within this time are one step back
const ADDRESS_MS = 250;

export class State {
  constructor(first, changed) {
    this.now = first;
    this.changed = changed;
    this.steps = [JSON.stringify(first)];
    this.at = 0;
    this.last = { key: "", time: 0 };
  }

  get asked() {
    return { build: this.now.build, road: this.now.road, changes: this.now.changes };
  }

  set(key, value) {
    const changes = { ...this.now.changes };
    if (value === undefined) delete changes[key];
    else changes[key] = value;
    this.become({ ...this.now, changes }, key);
  }

  become(next, key = "") {
    if (JSON.stringify(next) === JSON.stringify(this.now)) return;
    const time = performance.now();
    const together = key && key === this.last.key && time - this.last.time < TOGETHER_MS;
    this.last = { key, time };
    this.now = next;
    this.steps.length = this.at + 1;
    if (together && this.at > 0) this.steps[this.at] = JSON.stringify(next);
    else this.at = this.steps.push(JSON.stringify(next)) - 1;
    this.tell();
  }

  go(by) {
    const at = this.at + by;
    if (at < 0 || at >= this.steps.length) return;
    this.at = at;
    this.last = { key: "", time: 0 };
    this.now = JSON.parse(this.steps[at]);
    this.tell();
  }

  get canUndo() { return this.at > 0; }
  get canRedo() { return this.at < this.steps.length - 1; }

  tell() {
    clearTimeout(this.timer); // a browser slows down addresses that change too often
    this.timer = setTimeout(() => this.write(), ADDRESS_MS);
    this.changed();
  }

  write() {
    clearTimeout(this.timer);
    history.replaceState(null, "", `#${encodeURIComponent(JSON.stringify(this.now))}`);
  }
}

// The state in the address, where it is whole; else null.
export function fromAddress() {
  try {
    const found = JSON.parse(decodeURIComponent(location.hash.slice(1)));
    if (typeof found.build !== "string" || typeof found.road !== "string") return null;
    if (typeof found.changes !== "object" || !Array.isArray(found.pins)) return null;
    return { build: found.build, road: found.road, changes: found.changes, pins: found.pins.slice(0, MOST_PINS) };
  } catch {
    return null;
  }
}
