// The road: one distance axis, a strip for each quantity, limits as lines, pins as thin lines, one cursor.
/* global uPlot */

const DARK = "#440154", BLUE = "#3b528b", TEAL = "#1f7f79", FAINT = "#5c5c5c", LIMIT = "#ba3655", GROUND = "#d9d6cf";
export const PIN_COLOURS = ["#8a4f00", "#00639c", "#7a2a90", "#2f6b1a"];
const PIN_DASHES = [[6, 3], [2, 3], [10, 3, 2, 3], [4, 6]];
// Bounds by their code: told apart by name in the list below and at the cursor, by colour here.
const HELD = ["", "#d2811c", "#6c8ebf", "#b5367a", "#7a1d51", "#4b8f29", "#9aa800", "#5b8fd0", "#1f7f79", "#444444",
  "#c0392b", "#884422", "#a06000", "#999999", "#777777", "#000000", "#2c4f9e"];
export const heldColour = (code) => HELD[code] || "#444444";
const AXIS_PX = 54, LANE_PX = 7;

const STRIPS = [
  { id: "ground", words: "altitude", unit: "m", height: 92, main: "altitude_m", parts: [{ col: "altitude_m", colour: FAINT, fill: GROUND }] },
  { id: "speed", words: "speed", unit: "km/h", height: 104, main: "speed_km_h", zero: true,
    parts: [{ col: "plan_speed_km_h", colour: FAINT, dash: [5, 4], words: "planned" }, { col: "speed_km_h", colour: DARK, words: "ridden" }] },
  { id: "heat", words: "temperature", unit: "°C", height: 142, main: "winding_temp_c", limits: "heat",
    parts: [{ col: "body_temp_c", colour: TEAL, dash: [8, 3], words: "body" }, { col: "winding_temp_c", colour: DARK, words: "winding" },
      { col: "second_winding_temp_c", colour: BLUE, dash: [3, 3], words: "2nd winding" }] },
  { id: "motor", words: "motor current", unit: "A", height: 118, main: "motor_current_a", limits: "motor",
    parts: [...currents("motor", DARK), { col: "second_motor_current_a", colour: BLUE, dash: [3, 3], words: "2nd motor" }] },
  { id: "pack", words: "pack current", unit: "A", height: 108, main: "pack_current_a", limits: "pack", parts: currents("pack", BLUE) },
  { id: "charge", words: "charge", unit: "%", height: 92, main: "charge_fraction", scale: 100, zero: true,
    parts: [{ col: "charge_fraction", colour: BLUE }] },
];

function currents(name, colour) {
  return [{ col: `${name}_current_high_a`, colour: "transparent", band: true },
    { col: `${name}_current_low_a`, colour: "transparent", tint: colour }, { col: `${name}_current_a`, colour }];
}

export class Strips {
  constructor(holder, moved) {
    this.moved = moved;
    this.holder = holder;
    this.ride = null;
    this.pins = [];
    this.width = holder.clientWidth;
    this.plots = STRIPS.map((strip, at) => this.made(strip, at === STRIPS.length - 1));
    new ResizeObserver(() => this.fit()).observe(holder);
  }

  made(strip, last) {
    const box = document.createElement("div");
    box.className = "strip";
    box.setAttribute("role", "img");
    const head = document.createElement("p");
    head.className = "named";
    head.textContent = `${strip.words} [${strip.unit}] `;
    const names = document.createElement("span");
    head.append(names);
    box.append(head);
    this.holder.append(box);
    const plot = new uPlot(this.options(strip, last), [[0, 1], ...strip.parts.map(() => [0, 0])], box);
    return { strip, plot, box, names };
  }

  options(strip, last) {
    const axis = { stroke: "#222222", font: "12px system-ui", grid: { stroke: "#e3e0d8", width: 1 }, ticks: { size: 4 } };
    return {
      width: 600, height: strip.height + (last ? 26 : 0), legend: { show: false }, padding: [4, 12, last ? 0 : 2, 0],
      scales: { x: { time: false, range: (plot, low, high) => [0, this.road ? Math.max(this.road, high) : high] }, y: { range: (plot, low, high) => this.range(strip, low, high) } },
      axes: [
        { ...axis, size: last ? 26 : 0, show: true, values: last ? undefined : () => [], label: undefined },
        { ...axis, size: AXIS_PX, space: 24 },
      ],
      series: [{}, ...strip.parts.map((part) => ({
        stroke: part.colour, width: part.colour === "transparent" ? 0 : 1.6, dash: part.dash, fill: part.fill, points: { show: false },
      }))],
      bands: strip.parts.some((part) => part.band) ? [{ series: [1, 2], fill: `${strip.parts[1].tint}33` }] : [],
      cursor: { y: false, drag: { x: false, y: false }, points: { size: 6 }, bind: { dblclick: () => null } },
      hooks: {
        drawAxes: [(plot) => this.under(strip, plot)],
        draw: [(plot) => this.drawn(strip, plot)],
        setCursor: [(plot) => { if (plot.cursor.event && plot.cursor.left >= 0) this.moved(plot.cursor.idx); }],
      },
    };
  }

  range(strip, low, high) {
    const limits = this.ride && strip.limits ? this.ride.limits[strip.limits].map(([value]) => value) : [];
    if (strip.id === "ground" && this.ahead) for (const value of this.ahead.altitude_m) { low = Math.min(low, value); high = Math.max(high, value); }
    const bottom = Math.min(strip.zero ? 0 : low, ...limits), top = Math.max(strip.scale || high, high, ...limits);
    const room = 0.07 * (top - bottom || 1);
    return [strip.zero ? 0 : bottom - room, top + room];
  }

  // Over the lines: pins, what held, and the names of the limits.
  drawn(strip, plot) {
    if (!this.ride) return;
    const paper = plot.ctx, { left, top, width, height } = plot.bbox;
    paper.save();
    paper.beginPath();
    paper.rect(left, top, width, height);
    paper.clip();
    this.pins.forEach((pin, at) => this.drawPin(strip, plot, pin, at));
    if (strip.id === "ground") this.drawHeld(plot, top + height - LANE_PX * uPlot.pxRatio, LANE_PX * uPlot.pxRatio);
    paper.restore();
    if (strip.limits) this.nameLimits(strip, plot, this.ride.limits[strip.limits], uPlot.pxRatio);
  }

  // Under the lines: limits, and the ground of the whole road.
  under(strip, plot) {
    if (!this.ride) return;
    if (strip.id === "ground") this.drawAhead(plot);
    if (strip.limits) this.drawLimits(plot, this.ride.limits[strip.limits], uPlot.pxRatio);
  }

  drawAhead(plot) {
    const paper = plot.ctx, { left, top, width, height } = plot.bbox, { distance_km: x, altitude_m: y } = this.ahead;
    paper.save();
    paper.beginPath();
    paper.rect(left, top, width, height);
    paper.clip();
    paper.beginPath();
    paper.moveTo(plot.valToPos(x[0], "x", true), top + height);
    for (let at = 0; at < x.length; at += 1) paper.lineTo(plot.valToPos(x[at], "x", true), plot.valToPos(y[at], "y", true));
    paper.lineTo(plot.valToPos(x.at(-1), "x", true), top + height);
    paper.fillStyle = "#eceae4";
    paper.fill();
    paper.restore();
  }

  drawPin(strip, plot, pin, at) {
    if (!pin.ride) return;
    const paper = plot.ctx, x = pin.ride.table.distance_km, y = pin.ride.table[strip.main], scale = strip.scale || 1;
    paper.beginPath();
    for (let row = 0; row < x.length; row += 1) {
      paper.lineTo(plot.valToPos(x[row], "x", true), plot.valToPos(y[row] * scale, "y", true));
    }
    paper.strokeStyle = PIN_COLOURS[at];
    paper.lineWidth = uPlot.pxRatio;
    paper.setLineDash(PIN_DASHES[at].map((length) => length * uPlot.pxRatio));
    paper.stroke();
  }

  drawLimits(plot, limits, ratio) {
    const paper = plot.ctx, { left, width } = plot.bbox;
    paper.save();
    paper.strokeStyle = LIMIT;
    paper.lineWidth = ratio;
    paper.setLineDash([5 * ratio, 4 * ratio]);
    for (const [value] of limits) {
      const y = Math.round(plot.valToPos(value, "y", true));
      paper.beginPath();
      paper.moveTo(left, y);
      paper.lineTo(left + width, y);
      paper.stroke();
    }
    paper.restore();
  }

  // Each name by its line, where it covers least of the ride and no other name.
  nameLimits(strip, plot, limits, ratio) {
    const paper = plot.ctx, { left, top, width } = plot.bbox, high = 14 * ratio, placed = [];
    paper.save();
    paper.font = `${12 * ratio}px system-ui`;
    paper.textBaseline = "bottom";
    paper.textAlign = "left";
    for (const [value, words] of limits) {
      const y = Math.round(plot.valToPos(value, "y", true)), text = `${words} ${+value.toFixed(1)} ${strip.unit}`;
      const wide = paper.measureText(text).width + 6 * ratio, room = Math.max(width - wide, 0);
      const boxes = [1, 0.75, 0.5, 0.25, 0].flatMap((share) => [y - high - ratio, y + ratio].map((from) => ({ x: left + share * room, y: from, wide, high })))
        .filter((box) => box.y >= top && box.y + high <= top + plot.bbox.height);
      const [box] = boxes.map((each) => [each, this.covered(strip, plot, each, placed)]).sort((one, other) => one[1] - other[1])[0] || [];
      if (!box) continue;
      placed.push(box);
      paper.fillStyle = "#ffffffd0";
      paper.fillRect(box.x, box.y, wide, high);
      paper.fillStyle = LIMIT;
      paper.fillText(text, box.x + 3 * ratio, box.y + high);
    }
    paper.restore();
  }

  // How much of the ride a name would cover; another name counts as all of it.
  covered(strip, plot, box, placed) {
    const meets = (other) => box.x < other.x + other.wide && other.x < box.x + box.wide && box.y < other.y + other.high && other.y < box.y + box.high;
    const x = this.ride.table.distance_km, step = Math.max(1, Math.floor(x.length / 800));
    const first = plot.posToVal(box.x, "x", true), last = plot.posToVal(box.x + box.wide, "x", true);
    let count = placed.some(meets) ? x.length : 0;
    for (let row = 0; row < x.length; row += step) {
      if (x[row] < first || x[row] > last) continue;
      for (const part of strip.parts.filter((each) => each.col in this.ride.table)) {
        const y = plot.valToPos(this.ride.table[part.col][row], "y", true);
        if (y > box.y - 3 && y < box.y + box.high + 3) count += 1;
      }
    }
    return count;
  }

  drawHeld(plot, top, height) {
    const paper = plot.ctx, x = this.ride.table.distance_km, held = this.ride.table.bound;
    for (let row = 0, from = 0; row < x.length; row += 1) {
      if (row + 1 < x.length && held[row + 1] === held[from]) continue;
      if (held[from] > 0) {
        const start = plot.valToPos(x[Math.max(from - 1, 0)], "x", true), end = plot.valToPos(x[row], "x", true);
        paper.fillStyle = heldColour(held[from]);
        paper.fillRect(start, top, Math.max(end - start, 2 * uPlot.pxRatio), height);
      }
      from = row + 1;
    }
  }

  // `road`: the columns of the whole road, so that a ride that ends early still shows what was ahead.
  show(ride, pins, road) {
    this.ride = ride;
    this.ahead = road.table;
    this.road = road.table.distance_km.at(-1);
    this.pins = pins;
    for (const { strip, plot, box, names } of this.plots) {
      // A bike of one drive has no columns of a second one.
      const column = (part) => ride.table[part.col] || Array(ride.rows).fill(null);
      const lines = strip.parts.map((part) => strip.scale ? column(part).map((value) => value * strip.scale) : column(part));
      names.textContent = strip.parts.filter((part) => part.words && part.col in ride.table)
        .map((part) => `${part.dash ? "- -" : "—"} ${part.words}`).join("   ");
      plot.setData([ride.table.distance_km, ...lines]);
      box.setAttribute("aria-label", this.told(strip, ride));
    }
  }

  told(strip, ride) {
    const values = ride.table[strip.main], scale = strip.scale || 1;
    let low = Infinity, high = -Infinity;
    for (const value of values) { low = Math.min(low, value); high = Math.max(high, value); }
    const limits = strip.limits ? ride.limits[strip.limits].map(([value, words]) => `${words} ${+value.toFixed(1)} ${strip.unit}`) : [];
    return [`${strip.words} along the road, from ${(low * scale).toFixed(0)} to ${(high * scale).toFixed(0)} ${strip.unit}`, ...limits].join("; ");
  }

  // Put the cursor of every strip on a row.
  place(row) {
    for (const { plot } of this.plots) {
      plot.setCursor({ left: plot.valToPos(this.ride.table.distance_km[row], "x"), top: 10 }, false);
    }
  }

  fit() {
    const width = this.holder.clientWidth;
    if (!width) return;
    this.width = width;
    for (const { plot } of this.plots) if (plot.width !== width) plot.setSize({ width, height: plot.height });
  }
}
