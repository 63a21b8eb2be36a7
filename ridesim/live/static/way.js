// The way seen from above, coloured by the winding's temperature between the air's and its limit.

const STOPS = ["#1b0c41", "#4a0c6b", "#781c6d", "#a52c60", "#cf4446", "#ed6925", "#fb9b06"]; // samples of inferno
const SHADES = 48, EDGE = 26, LEGEND = 40;

function mixed(share) {
  const at = Math.min(Math.max(share, 0), 1) * (STOPS.length - 1), low = Math.floor(at), high = Math.min(low + 1, STOPS.length - 1);
  const parts = (text) => [1, 3, 5].map((from) => parseInt(text.slice(from, from + 2), 16));
  const [a, b] = [parts(STOPS[low]), parts(STOPS[high])];
  return `rgb(${a.map((value, index) => Math.round(value + (b[index] - value) * (at - low))).join(",")})`;
}
const COLOURS = Array.from({ length: SHADES }, (_, at) => mixed(at / (SHADES - 1)));

export class Way {
  constructor(canvas, moved) {
    this.canvas = canvas;
    this.road = this.ride = null;
    canvas.addEventListener("pointermove", (event) => { const row = this.nearest(event); if (row >= 0) moved(row); });
    new ResizeObserver(() => { this.draw(); this.place(this.row || 0); }).observe(canvas);
    this.spotted = document.getElementById("wayspot");
  }

  show(road, ride) {
    this.road = road;
    this.ride = ride;
    this.draw();
  }

  // Where a place along the road lies on the canvas.
  spot(km) {
    const { distance_km: x, east_m: east, north_m: north } = this.road.table;
    const last = x.length - 1, lap = x[last], at = km > lap && lap > 0 ? km % lap : km;
    const index = Math.min(Math.max(at / (lap || 1), 0), 1) * last, low = Math.floor(index), share = index - low, high = Math.min(low + 1, last);
    const mix = (side) => side[low] + (side[high] - side[low]) * share;
    return [this.left + (mix(east) - this.west) * this.scale, this.top - (mix(north) - this.south) * this.scale];
  }

  measure() {
    const ratio = window.devicePixelRatio || 1, wide = this.canvas.clientWidth, high = this.canvas.clientHeight;
    this.canvas.width = wide * ratio;
    this.canvas.height = high * ratio;
    const { east_m: east, north_m: north } = this.road.table;
    const ends = (side) => side.reduce(([low, top], value) => [Math.min(low, value), Math.max(top, value)], [Infinity, -Infinity]);
    const [west, eastmost] = ends(east), [south, northmost] = ends(north);
    this.west = west;
    this.south = south;
    this.scale = Math.min((wide - 2 * EDGE) / Math.max(eastmost - west, 1), (high - 2 * EDGE - LEGEND) / Math.max(northmost - south, 1));
    this.left = (wide - (eastmost - west) * this.scale) / 2;
    this.top = high - EDGE - LEGEND - (high - 2 * EDGE - LEGEND - (northmost - south) * this.scale) / 2;
    return ratio;
  }

  draw() {
    if (!this.ride || !this.road || !this.canvas.clientWidth) return;
    const ratio = this.measure(), paper = this.canvas.getContext("2d");
    paper.setTransform(ratio, 0, 0, ratio, 0, 0);
    const { distance_km: x, winding_temp_c: heat } = this.ride.table;
    const limit = this.ride.limits.heat[0][0], low = Math.min(heat[0], 20);
    this.line(paper, this.road.table.distance_km, () => "#b9b5ab", 2);
    const step = Math.max(1, Math.floor(x.length / 1500)), rows = [];
    for (let row = 0; row < x.length; row += step) rows.push(row);
    this.pieces(paper, rows, x, (row) => Math.round(Math.min(Math.max((heat[row] - low) / (limit - low), 0), 1) * (SHADES - 1)));
    const begun = this.spot(0), ended = this.spot(x[x.length - 1]);
    const close = Math.abs(begun[0] - ended[0]) < 80 && Math.abs(begun[1] - ended[1]) < 18; // one name above, one below
    this.mark(paper, begun, "start", !this.ride.arrived && close && begun[1] > ended[1]);
    if (!this.ride.arrived) this.mark(paper, ended, "stops here", close && begun[1] <= ended[1]);
    this.legend(paper, low, limit);
    this.canvas.setAttribute("aria-label", `The way seen from above; the winding reaches ${Math.max(...heat).toFixed(0)} °C of ${limit.toFixed(0)} °C`);
  }

  line(paper, places, colour, width) {
    paper.beginPath();
    for (const km of places) paper.lineTo(...this.spot(km));
    paper.strokeStyle = colour();
    paper.lineWidth = width;
    paper.stroke();
  }

  pieces(paper, rows, x, shade) {
    const groups = new Map();
    for (let at = 1; at < rows.length; at += 1) {
      const colour = shade(rows[at]);
      if (!groups.has(colour)) groups.set(colour, new Path2D());
      const path = groups.get(colour);
      path.moveTo(...this.spot(x[rows[at - 1]]));
      path.lineTo(...this.spot(x[rows[at]]));
    }
    paper.lineWidth = 4;
    paper.lineCap = "round";
    for (const [colour, path] of groups) { paper.strokeStyle = COLOURS[colour]; paper.stroke(path); }
  }

  mark(paper, [x, y], words, below = false) {
    paper.beginPath();
    paper.arc(x, y, 4.5, 0, 2 * Math.PI);
    paper.fillStyle = "white";
    paper.fill();
    paper.strokeStyle = "#222222";
    paper.lineWidth = 1.5;
    paper.stroke();
    paper.font = "12px system-ui";
    const wide = paper.measureText(words).width, right = x + 9 + wide > this.canvas.clientWidth;
    paper.fillStyle = "#222222";
    paper.textAlign = right ? "right" : "left";
    const across = right ? x - 8 : x + 8, down = below ? y + 16 : y - 6;
    paper.strokeStyle = "#ffffffd0";
    paper.lineWidth = 3;
    paper.strokeText(words, across, down);
    paper.fillText(words, across, down);
  }

  legend(paper, low, limit) {
    const wide = Math.min(220, this.canvas.clientWidth - 2 * EDGE), top = this.canvas.clientHeight - 30;
    COLOURS.forEach((colour, at) => {
      paper.fillStyle = colour;
      paper.fillRect(EDGE + (at * wide) / SHADES, top, wide / SHADES + 1, 8);
    });
    paper.fillStyle = "#222222";
    paper.font = "12px system-ui";
    paper.textAlign = "left";
    paper.fillText(`${low.toFixed(0)} °C`, EDGE, top + 22);
    paper.textAlign = "right";
    paper.fillText(`limit ${limit.toFixed(0)} °C`, EDGE + wide, top + 22);
  }

  // The cursor is an element of its own: it moves without the way being drawn again.
  place(row) {
    this.row = row;
    if (!this.ride || !this.scale) return;
    const [x, y] = this.spot(this.ride.table.distance_km[Math.min(row, this.ride.rows - 1)]);
    this.spotted.style.transform = `translate(${x - 8}px, ${y - 8}px)`;
    this.spotted.hidden = false;
  }

  nearest(event) {
    if (!this.ride) return -1;
    const x = this.ride.table.distance_km, step = Math.max(1, Math.floor(x.length / 1000));
    let best = -1, least = 30 ** 2; // further from the line than this is no touch of it
    for (let row = 0; row < x.length; row += step) {
      const [a, b] = this.spot(x[row]), far = (a - event.offsetX) ** 2 + (b - event.offsetY) ** 2;
      if (far < least) [best, least] = [row, far];
    }
    return best;
  }
}
