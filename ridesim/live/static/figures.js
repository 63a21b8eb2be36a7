// Verdict, figures with their spans, and differences from the pinned bikes.

import { PIN_COLOURS, heldColour } from "./strips.js";

const at = (id) => document.getElementById(id);
const CLASSES = { fine: "fine", "look again": "look", stop: "stop" };

export function made(tag, text = "", more = {}) {
  const found = document.createElement(tag);
  found.textContent = text;
  return Object.assign(found, more);
}

export function duration(seconds) {
  const whole = Math.round(Math.abs(seconds)), minutes = Math.floor(whole / 60);
  if (whole >= 3600) {
    const rounded = Math.round(whole / 60);
    return `${Math.floor(rounded / 60)} h ${String(rounded % 60).padStart(2, "0")} min`;
  }
  return minutes ? `${minutes} min ${String(whole % 60).padStart(2, "0")} s` : `${whole} s`;
}

export function showVerdict(verdict) {
  const box = at("verdict"), [first = "", ...others] = verdict.reasons;
  box.className = CLASSES[verdict.word] || "";
  const line = made("p");
  line.append(made("strong", verdict.word), first);
  box.replaceChildren(line, ...others.map((reason) => made("p", reason)));
}

export function showHeld(ride) {
  at("held").replaceChildren(...ride.figures.limits.map((met) => {
    const code = ride.names.indexOf(met.name), chip = made("span"), colour = made("i");
    colour.style.background = heldColour(code);
    chip.append(colour, `${code >= 0 ? ride.bounds[code][0] : met.name} for ${duration(met.seconds)}`);
    return chip;
  }));
}

// What a whole road takes: of rides that ended at unlike places neither is the better one.
const OF_A_WHOLE_ROAD = ["total_time_s", "mean_speed_km_h", "net_energy_wh", "charge_left_fraction"];

function difference(head, now, pinned, alike) {
  if (now === null || pinned === null || pinned === undefined) return ["", ""];
  const gap = now - pinned, sign = gap > 0 ? "+" : gap < 0 ? "−" : "±";
  const scale = head.name.endsWith("fraction") ? 100 : 1, size = Math.abs(gap) * scale;
  const text = head.name.endsWith("_s") ? duration(size) : `${size.toFixed(scale === 100 ? 0 : head.digits)} ${scale === 100 ? "%" : head.unit}`;
  const nothing = Number(size.toFixed(head.name.endsWith("_s") ? 0 : head.digits)) === 0;
  const good = nothing || !head.better || (!alike && OF_A_WHOLE_ROAD.includes(head.name)) ? "" : (gap > 0) === (head.better === "high") ? "better" : "worse";
  return [nothing ? "same" : `${sign}${text}`, good];
}

// The table: a figure a line; now, the span of bikes like it, and now less each pin.
export function showFigures(ride, sure, pins, lags, unpin) {
  const head = made("tr");
  head.append(...["figure", "now", "8 of 10 bikes like it"].map((words) => made("th", words, { scope: "col" })));
  pins.forEach((pin, index) => head.append(pinHead(pin, index, unpin)));
  const rows = ride.headlines.map((each) => line(each, ride, sure, pins, lags));
  const top = made("thead"), body = made("tbody");
  top.append(head);
  body.append(...rows);
  at("figures").replaceChildren(top, body);
  at("notes").replaceChildren(...ride.figures.warnings.map((note) => made("li", note)));
}

function line(each, ride, sure, pins, lags) {
  const row = made("tr"), name = each.name, span = sure?.spans[name];
  const isRange = name === "range_km", value = isRange ? sure?.figures.range_km ?? null : each.value;
  row.dataset.name = name;
  row.append(made("th", each.words, { scope: "row" }));
  const late = lags ? "lag" : "";
  row.append(made("td", isRange ? sure?.range_text ?? "…" : each.text, { className: isRange ? late : "", title: isRange ? sure?.range_words ?? "" : "" }));
  row.append(made("td", span ? `${span[0]} to ${span[1]}` : sure ? "" : "…", { className: late }));
  for (const pin of pins) {
    const pinned = isRange ? pin.range : pin.ride?.headlines.find((one) => one.name === name)?.value;
    const [text, good] = difference(each, value, pinned, ride.arrived && pin.ride?.arrived);
    row.append(made("td", text, { className: isRange && lags ? "lag" : good }));
  }
  return row;
}

function pinHead(pin, index, unpin) {
  const head = made("th", "", { scope: "col", className: "pin" }), mark = made("i"), off = made("button", "✕", { type: "button" });
  mark.style.borderColor = PIN_COLOURS[index];
  off.setAttribute("aria-label", `Take off pin ${pin.label}`);
  off.addEventListener("click", () => unpin(index));
  head.append(mark, `less ${pin.label} `, off);
  return head;
}

export function showReading(ride, row) {
  const value = (name) => ride.table[name][row], code = value("bound");
  const lines = [
    ["time", duration(value("time_s"))], ["altitude", `${value("altitude_m").toFixed(0)} m, ${value("grade_percent").toFixed(1)} %`],
    ["speed", `${value("speed_km_h").toFixed(1)} km/h of ${value("plan_speed_km_h").toFixed(1)}`],
    ["winding", `${value("winding_temp_c").toFixed(0)} °C of ${ride.limits.heat[0][0].toFixed(0)}`],
    ["body", `${value("body_temp_c").toFixed(0)} °C of ${ride.limits.heat[1][0].toFixed(0)}`],
    ["controller", `${value("controller_temp_c").toFixed(0)} °C`],
    ["motor current", `${value("motor_current_a").toFixed(1)} A of ${ride.limits.motor[0][0]}`],
    ["pack current", `${value("pack_current_a").toFixed(1)} A of ${ride.limits.pack[0][0]}`],
    ...("second_winding_temp_c" in ride.table ? [["2nd winding", `${value("second_winding_temp_c").toFixed(0)} °C`],
      ["2nd motor", `${value("second_motor_current_a").toFixed(1)} A`]] : []),
    ["pack voltage", `${value("pack_voltage_v").toFixed(1)} V`], ["charge", `${(100 * value("charge_fraction")).toFixed(0)} %`],
    ["held by", code > 0 ? ride.bounds[code][1] : "no limit"],
  ];
  at("here").textContent = `At ${value("distance_km").toFixed(2)} km`;
  at("reading").replaceChildren(...lines.flatMap(([name, text]) => [made("dt", name), made("dd", text, { className: name === "held by" && code > 0 ? "held" : "" })]));
  return `${value("distance_km").toFixed(2)} km; ${lines.slice(2, 4).concat(lines.slice(-1)).map((each) => each.join(" ")).join("; ")}`;
}
