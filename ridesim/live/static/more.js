// What is asked beside the ride: spans, other questions, files to keep, and roads dropped on the page.

import { made } from "./figures.js";
import { Fault, There, ask, drop, long } from "./talk.js";

const at = (id) => document.getElementById(id);
const QUESTIONS = [
  ["map", "climb map", "how long each grade and speed can be held, and what ends it"],
  ["ratios", "ratios", "which gearing suits this road: heat, time and energy against the ratio"],
  ["range", "range", "how far on one charge: as you ride, slower, and with half a charge"],
  ["regen", "regen", "what braking with the motor gives back on this road"],
  ["check", "check", "every part against its limits, and what to look at before the first turn"],
  ["belt", "belts", "tension, teeth in mesh and what the belts of this drive bear"],
  ["road", "the road as read", "length, climb, and what was mended in the recording"],
];

export class Questions {
  constructor(asked) {
    this.asked = asked;
    at("asks").replaceChildren(...QUESTIONS.map(([kind, words]) => {
      const button = made("button", words, { type: "button" });
      button.dataset.kind = kind;
      button.addEventListener("click", () => this.ask(kind));
      return button;
    }));
    at("askhelp").replaceChildren(...QUESTIONS.flatMap(([, words, help]) => [made("dt", words), made("dd", help)]));
  }

  // The bike has changed: what is being computed is no longer wanted, what stands there is of the bike before.
  changed() {
    if (this.stop) {
      this.stop.abort();
      this.say("stopped: the bike has changed");
    }
    if (at("answer").childElementCount && !at("answer").classList.contains("old")) {
      at("answer").classList.add("old");
      this.say("The answer below is of the bike before the change; ask again.");
    }
  }

  say(text, stoppable = false) {
    at("progress").replaceChildren(text);
    if (!stoppable) return;
    const button = made("button", "Stop", { type: "button" });
    button.addEventListener("click", () => { this.stop?.abort(); this.say("stopped"); });
    at("progress").append(" ", button);
  }

  async ask(kind) {
    this.stop?.abort();
    const stop = this.stop = new AbortController(), words = QUESTIONS.find(([name]) => name === kind)[1];
    this.say(`${words}: riding …`, true);
    try {
      const found = await long({ kind, state: this.asked() }, stop.signal, (done) => this.say(`${words}: ${done} rides …`, true));
      at("answer").innerHTML = found.html; // made by the server's templates, which escape what comes from files
      at("answer").classList.remove("old");
      this.say("");
      at("answer").scrollIntoView({ block: "start" });
    } catch (error) {
      if (error.name !== "AbortError") this.say(error instanceof Fault ? error.message : `${error}`);
    } finally {
      if (this.stop === stop) this.stop = null;
    }
  }
}

// Asks for a file name, and again before anything is written over.
export class Keeper {
  constructor(asked, saved) {
    this.asked = asked;
    this.saved = saved;
    at("askno").addEventListener("click", () => at("ask").close());
    at("askyes").addEventListener("click", (event) => { event.preventDefault(); this.write(); });
    at("name").addEventListener("input", () => this.calm());
    at("name").addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); this.write(); } });
  }

  calm() {
    this.over = false;
    at("askyes").textContent = "Save";
  }

  async open(kind, title, name) {
    this.kind = kind;
    this.calm();
    at("asktitle").textContent = title;
    at("name").value = name;
    at("asksays").textContent = "";
    at("preview").textContent = "";
    at("askyes").disabled = false;
    at("ask").showModal();
    at("name").select();
    if (kind !== "variant") return;
    try {
      at("preview").textContent = (await ask("save", { state: this.asked(), name, look: true })).text;
    } catch (error) {
      at("asksays").textContent = error.message;
    }
  }

  async write() {
    const name = at("name").value, path = this.kind === "variant" ? "save" : "keep";
    at("asksays").textContent = "writing …";
    at("askyes").disabled = true;
    try {
      const { written } = await ask(path, { kind: this.kind, state: this.asked(), name, over: this.over });
      at("asksays").textContent = `${written} is written, in the folder that the page was started from.`;
      this.calm();
      this.saved(written);
    } catch (error) {
      if (error instanceof There) {
        this.over = true;
        at("askyes").textContent = "Write over it";
        at("asksays").textContent = `${error.message} is there already. Write over it?`;
      } else at("asksays").textContent = error.message;
    } finally {
      at("askyes").disabled = false;
    }
  }
}

// Roads by drop or by file box.
export function takeRoads(most, took, fault) {
  const take = async (file) => {
    if (!file) return;
    if (!/\.(gpx|toml)$/i.test(file.name)) return fault(`${file.name}: is neither .gpx nor .toml; drop a recording or a road file`);
    if (file.size > most) return fault(`${file.name}: is too large (${(file.size / 1e6).toFixed(0)} MB, at most ${(most / 1e6).toFixed(0)} MB)`);
    try {
      took((await drop(file)).road);
    } catch (error) {
      fault(error.message);
    }
  };
  at("open").addEventListener("click", () => at("file").click());
  at("file").addEventListener("change", () => { take(at("file").files[0]); at("file").value = ""; });
  document.addEventListener("dragover", (event) => { event.preventDefault(); document.body.classList.add("dragged"); });
  document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("dragged"); });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    document.body.classList.remove("dragged");
    take(event.dataTransfer.files[0]);
  });
}
