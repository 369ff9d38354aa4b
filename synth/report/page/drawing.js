// The diagram as it stands at one moment, and the strip chart of what went before.

const SVG = "http://www.w3.org/2000/svg";
const BAR = 100;

function shape(name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, String(value));
  if (text !== undefined) node.textContent = text;
  return node;
}

/** The wiring: which wires are live, what they carry, where contacts stand, how time runs. */
class Diagram {
  constructor(player, svg) {
    this.player = player;
    this.svg = svg;
    this.natural = { width: svg.viewBox.baseVal.width, height: svg.viewBox.baseVal.height };
    // Who listens hears the parts by name and state; wires are told with the part that is chosen.
    for (const text of svg.querySelectorAll("text")) text.setAttribute("aria-hidden", "true");
    this.parts = [...svg.querySelectorAll(".part")].map((group) => ({
      group,
      part: player.model.parts[Number(group.dataset.part)],
      left: group.querySelector(".left"),
      bar: group.querySelector(".bar"),
      says: group.querySelector(".says"),
    }));
    const wireOf = (group) => player.model.wires[Number(group.dataset.wire)];
    this.wires = [...svg.querySelectorAll(".wire")].map((group) => ({
      group, key: wireOf(group).from.join(":"),
    }));
    this.amounts = [...svg.querySelectorAll(".amount")].map((group) => ({
      group, key: wireOf(group).from.join(":"), text: group.querySelector(".units"),
    }));
  }

  /** Everything that only changes at an event. */
  settle() {
    const { engine, now } = this.player;
    const { circuit } = engine;
    const carried = circuit.amounts(now.nets);
    for (const { group, key } of this.wires) {
      group.classList.toggle("live", now.nets[circuit.nets.get(key) ?? DEAD]);
    }
    for (const { group, key, text } of this.amounts) {
      const amount = carried.get(key) ?? 0;
      const live = now.nets[circuit.nets.get(key) ?? DEAD];
      text.textContent = live ? `· ${amount} u` : "";
      group.classList.toggle("live", live);
    }
    for (const { group, part, says } of this.parts) {
      const now_ = worked(part, engine, now);
      group.classList.toggle("moved", now_);
      const on = part.type === "load" && now.on[engine.loadIndex.get(part.name)];
      const operated = part.controlled && !part.timed && now_;
      group.classList.toggle("on", on);
      group.classList.toggle("operated", operated);
      group.classList.toggle("aside", now.kept !== null && !now.kept.has(part.name));
      group.classList.toggle("chatters", now.chatter.includes(part.name));
      const short = now.broken.some((fault) => fault.kind === "short" && fault.load === part.name);
      group.classList.toggle("short", short);
      if (says) says.textContent = short ? "too little" : on ? "ON" : operated ? "on" : "";
      group.setAttribute("aria-label", `${part.name}: ${stateInWords(part, this.player)}`);
    }
    this.pass();
  }

  /** Names of the parts that stay still in this run, though they would not. */
  aside() {
    const { kept } = this.player.now;
    const reacting = this.parts.filter(({ part }) => part.controlled);
    return reacting.flatMap(({ part }) => (kept === null || kept.has(part.name) ? [] : [part.name]));
  }

  /** What changes as time passes: times left. */
  pass() {
    const { engine, now, time, tick } = this.player;
    for (const { part, left, bar } of this.parts) {
      if (!left) continue;
      const slot = engine.circuit.slot.get(part.name);
      const until = now.until[slot];
      const text = until === null ? "" : onClock((until - time) / tick, true);
      if (left.textContent !== text) left.textContent = text;
      const whole = timeOf(part, now.state[slot]);
      const width = until === null ? 0 : BAR * (1 - (until - time) / whole);
      bar.setAttribute("width", Math.max(0, Math.min(BAR, width)).toFixed(1));
    }
  }

  /** Show the diagram `scale` times its natural size. */
  size(scale) {
    this.svg.setAttribute("width", Math.round(this.natural.width * scale));
    this.svg.setAttribute("height", Math.round(this.natural.height * scale));
  }
}

const ROW = 18;
const HIGH = 11;
const AXIS = 18;

/** The strip chart: a line for each input, load, timer and relay, high while it is on. */
class Chart {
  constructor(player, home) {
    this.player = player;
    this.home = home;
    this.svg = shape("svg", { role: "img" });
    home.append(this.svg);
    this.inner = false;
    this.names = new Map();
    this.ruler = document.createElement("canvas").getContext("2d");
    const { engine } = player;
    const { circuit } = engine;
    const wanted = new Set(engine.needed.map(({ load }) => load));
    this.tracks = [
      ...circuit.loads.map((part, i) => ({
        name: part.name, role: "load", level: (now) => now.on[i],
        want: wanted.has(part.name) ? (now) => now.want[part.name] : null,
      })),
      ...circuit.inputs.map((name, i) => ({ name, role: "input", level: (now) => now.levels[i] })),
      ...circuit.reacting.map((part, i) => ({
        name: part.name, role: "inner", level: (now) => (now.state[i] & CONTACT) !== 0,
      })),
    ];
  }

  /** Draw from `start` to `end` (fine units of time), with the present moment marked. */
  draw(start, end) {
    const { player } = this;
    const { tick } = player;
    const rows = this.tracks.filter((track) => this.inner || track.role !== "inner");
    const whole = Math.max(240, this.home.clientWidth - 2);
    const left = whole < 520 ? 92 : 150;
    const width = whole - left - 30;
    const height = rows.length * ROW + AXIS + 4;
    const x = (time) => left + (width * (time - start)) / (end - start);
    const pieces = [];
    for (const [time, text] of ticksOf(start / tick, end / tick, whole < 520 ? 3 : 7)) {
      pieces.push(shape("line", { class: "grid", x1: x(time * tick), x2: x(time * tick), y1: AXIS, y2: height }));
      pieces.push(shape("text", { class: "tick", x: x(time * tick), y: 12, "text-anchor": "middle" }, text));
    }
    const first = this.firstIn(start);
    const entries = [];
    for (let i = first; i < player.record.length && player.record[i].now.time < end; i += 1) {
      entries.push(player.record[i].now);
    }
    const until = Math.min(end, Math.max(player.time, player.recorded));
    rows.forEach((track, row) => {
      const low = AXIS + row * ROW + ROW - 3;
      const name = this.fitted(track.name, left - 12);
      const group = shape("g", { class: `track ${track.role}` });
      const title = shape("title", {}, track.name);
      const label = shape("text", { class: "name", x: left - 8, y: low - 1, "text-anchor": "end" }, name);
      label.append(title);
      group.append(label);
      const line = stepLine(entries, track.level, start, until, x, low, HIGH);
      group.append(shape("path", { class: "fill", d: line.fill }), shape("path", { class: "line", d: line.line }));
      if (track.want) {
        const asked = stepLine(entries, track.want, start, until, x, low, HIGH);
        group.append(shape("path", { class: "asked", d: asked.line }));
      }
      pieces.push(group);
    });
    for (const now of entries) {
      if (now.time < start) continue;
      for (const fault of now.broken) {
        const row = Math.max(0, rows.findIndex((track) => track.role === "load" && track.name === fault.load));
        pieces.push(shape("text", { class: "fault", x: x(now.time), y: AXIS + row * ROW + ROW - 4 }, "✕"));
      }
    }
    if (player.time <= end) {
      pieces.push(shape("line", { class: "present", x1: x(player.time), x2: x(player.time), y1: AXIS - 4, y2: height }));
    }
    this.svg.setAttribute("width", whole);
    this.svg.setAttribute("height", height);
    this.svg.setAttribute("viewBox", `0 0 ${whole} ${height}`);
    this.svg.setAttribute("aria-label", `Strip chart from ${onClock(start / tick)} to ${onClock(end / tick)}`);
    this.svg.replaceChildren(...pieces);
    this.shown = { start, end, left, width };
  }

  /** As much of a name as is not wider than `width` px in the chart's type. */
  fitted(name, width) {
    const key = `${width} ${name}`;
    if (!this.names.has(key)) {
      this.ruler.font = `11px ${window.getComputedStyle(this.home).fontFamily}`;
      let text = name;
      while (text.length > 1 && this.ruler.measureText(text).width > width) {
        text = `${text.replace(/…$/, "").slice(0, -1)}…`;
      }
      this.names.set(key, text);
    }
    return this.names.get(key);
  }

  /** The number of the entry that holds at `start`. */
  firstIn(start) {
    const { record } = this.player;
    let [low, high] = [0, record.length - 1];
    while (low < high) {
      const middle = Math.ceil((low + high) / 2);
      if (record[middle].now.time <= start) low = middle;
      else high = middle - 1;
    }
    return low;
  }

  /** The moment at a place of the chart, null outside of it. */
  momentAt(clientX) {
    const { start, end, left, width } = this.shown;
    const share = (clientX - this.svg.getBoundingClientRect().left - left) / width;
    return share < 0 || share > 1 ? null : Math.round(start + share * (end - start));
  }
}

/** Paths of a level over time; where it changes often within a pixel, that pixel is solid. */
function stepLine(entries, level, start, until, x, low, high) {
  let line = "";
  let fill = "";
  let last = null;
  let from = 0;
  let column = -1;
  let turns = 0;
  const y = (value) => low - (value ? high : 0);
  const box = (end) => (end - from < 0.4 ? "" : `M${from.toFixed(1)} ${low}V${low - high}H${end.toFixed(1)}V${low}Z`);
  for (const now of entries) {
    const value = level(now);
    if (value === last) continue;
    const at = x(Math.max(start, now.time));
    if (last === null) line = `M${at.toFixed(1)} ${y(value)}`;
    else if (Math.floor(at) !== column) {
      if (turns > 2) line += `V${y(last)}`;
      line += `H${at.toFixed(1)}V${y(value)}`;
      turns = 1;
    } else {
      turns += 1;
      if (turns <= 2) line += `V${y(value)}`;
    }
    if (last) fill += box(at);
    column = Math.floor(at);
    from = at;
    last = value;
  }
  if (last === null) return { line, fill };
  const end = x(until);
  if (turns > 2) line += `V${y(last)}`;
  if (last) fill += box(end);
  return { line: `${line}H${end.toFixed(1)}`, fill };
}

const STEPS = [
  1, 2, 5, 10, 20, 50, 100, 200, 500, 1e3, 2e3, 5e3, 1e4, 15e3, 3e4, 6e4, 12e4, 3e5, 6e5, 9e5, 18e5,
  36e5, 72e5, 108e5, 216e5, 432e5, 864e5, 1728e5, 6048e5, 24192e5,
];

/** Round moments (ms) for the axis, with their words; at most `most` or so. */
function ticksOf(start, end, most) {
  const step = STEPS.find((size) => (end - start) / size <= most) ?? end - start;
  const found = [];
  for (let at = Math.ceil(start / step) * step; at <= end; at += step) found.push([at, onClock(at)]);
  return found;
}
