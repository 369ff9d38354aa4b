// What the circuit and its goals do, one instant at a time. Nothing here knows of the page.
//
// The meaning is that of the exact check, written again by hand: parts notice and move in steps
// that take no time, until nothing changes; the wanted levels of the loads run beside them. Tests
// compare the two. Times are whole numbers of a small unit (`fine` of them make one millisecond).

const CONTACT = 1;
const RUNNING = 2;
const SEEN = 4;
const PENDING = 8;
const DEAD = 0;
const SUPPLY = 1;
const MOST_ORDERS_STEPS = 10000;

const EDGE_SENSITIVE = new Set(["pulse-timer", "retriggerable-pulse-timer", "impulse-relay"]);
const SPLITTING = new Set(["tap-off", "divider"]);
const TIMED = new Set([
  "pulse-timer", "retriggerable-pulse-timer", "on-delay-timer", "off-delay-timer", "recycler",
]);
const RELAYS = new Set(["relay-make", "relay-break", "relay-changeover"]);

/** The state of a part after it has looked at its inputs, before it moves. */
function notice(kind, state, power, control, due, edges) {
  if (!EDGE_SENSITIVE.has(kind) || !(edges || due)) return state;
  const level = control && (power || kind === "impulse-relay");
  let noticed = state;
  if (level && !(state & SEEN)) {
    const inside = (state & CONTACT) !== 0 && !due;
    if (kind !== "pulse-timer" || !inside) noticed |= PENDING;
  }
  return level ? noticed | SEEN : noticed & ~SEEN;
}

/** [state after the part moves, whether its time starts anew]; `state` is the noticed one. */
function move(part, state, power, first, second, due) {
  const kind = part.type;
  if (RELAYS.has(kind)) return [first ? CONTACT : 0, false];
  if (kind === "bistable-relay") {
    if (first && (part.winsSet || !second)) return [CONTACT, false];
    return [second ? 0 : state, false];
  }
  if (kind === "impulse-relay") {
    return state & PENDING ? [(state ^ CONTACT) & ~PENDING, false] : [state, false];
  }
  if (!power) return [0, false];
  if (kind === "pulse-timer" || kind === "retriggerable-pulse-timer") {
    if (state & PENDING) return [(state | CONTACT | RUNNING) & ~PENDING, true];
    return [due ? state & ~(CONTACT | RUNNING) : state, false];
  }
  if (kind === "on-delay-timer") {
    if (!first) return [0, false];
    if (due) return [CONTACT, false];
    return state & (CONTACT | RUNNING) ? [state, false] : [RUNNING, true];
  }
  if (kind === "off-delay-timer") {
    if (first) return [CONTACT, false];
    if (due || !(state & CONTACT)) return [0, false];
    return state & RUNNING ? [state, false] : [CONTACT | RUNNING, true];
  }
  if (kind === "recycler") {
    if (!(state & RUNNING)) return [(part.pulseFirst ? CONTACT : 0) | RUNNING, true];
    return due ? [state ^ CONTACT, true] : [state, false];
  }
  throw new Error(`${kind} has no state`);
}

/** The time that runs in `state`, 0 when none does. */
function timeOf(part, state) {
  if (!(state & RUNNING)) return 0;
  return part.type === "recycler" && !(state & CONTACT) ? part.off : part.on;
}

/** A design ready to be stepped through: nets in an order in which each follows from earlier ones. */
class Circuit {
  /** `model` is the page's data: parts, wires, inputs, held. */
  constructor(model) {
    this.parts = model.parts;
    this.wires = model.wires;
    this.inputs = model.inputs.map((input) => input.name);
    this.held = model.held;
    this.bit = new Map(this.inputs.map((name, i) => [name, i]));
    this.supply = this.bit.get("supply");
    this.place = new Map(model.parts.map((part, i) => [part.name, i]));
    this.source = new Map(model.wires.map((wire) => [wire.to.join(":"), wire.from]));
    this.target = new Map(model.wires.map((wire) => [wire.from.join(":"), wire.to]));
    this.reacting = model.parts.filter((part) => part.controlled);
    this.slot = new Map(this.reacting.map((part, i) => [part.name, i]));
    this.loads = model.parts.filter((part) => part.type === "load");
    this.ops = [];
    this.nets = new Map();
    this.open = new Set();
    for (const part of model.parts) for (const out of part.outputs) this.net([part.name, out]);
    this.power = this.reacting.map((part) => this.into(part.name, part.power[0]));
    this.controls = this.reacting.map((p) => p.controls.map((c) => this.into(p.name, c)));
    this.loadNets = this.loads.map((part) => this.into(part.name, "in"));
    this.start = this.reacting.map(() => 0);
  }

  /** The number of the net that ends on this input. */
  into(part, terminal) {
    const source = this.source.get(`${part}:${terminal}`);
    return source === undefined ? DEAD : this.net(source);
  }

  /** The number of an output's net, made with all that it follows from when it is not there yet. */
  net(output) {
    const wanted = output.join(":");
    const stack = [output];
    while (stack.length) {
      const [name, terminal] = stack[stack.length - 1];
      const key = `${name}:${terminal}`;
      if (this.nets.has(key)) {
        stack.pop();
        continue;
      }
      const part = this.parts[this.place.get(name)];
      if (part === undefined || part.type === "supply") {
        this.nets.set(key, part === undefined ? DEAD : SUPPLY);
        stack.pop();
        continue;
      }
      const behind = part.power.map((input) => this.source.get(`${name}:${input}`));
      const missing = behind.filter((s) => s !== undefined && !this.nets.has(s.join(":")));
      if (missing.length) {
        if (this.open.has(key)) throw new Error(`power runs in a loop through ${name}`);
        this.open.add(key);
        stack.push(...missing);
        continue;
      }
      const fed = behind.map((s) => (s === undefined ? DEAD : this.nets.get(s.join(":"))));
      this.nets.set(key, this.newNet(part, terminal, fed));
      this.open.delete(key);
      stack.pop();
    }
    return this.nets.get(wanted);
  }

  newNet(part, terminal, fed) {
    if (SPLITTING.has(part.type)) return fed[0];
    let op;
    if (part.type === "joint") op = { behind: fed[0], how: "either", of: fed[1], inverted: false };
    else if (part.input !== null) {
      op = { behind: fed[0], how: "input", of: this.bit.get(part.input), inverted: part.inverted };
    } else {
      const inverted = part.type === "relay-break" || terminal === "break";
      op = { behind: fed[0], how: "part", of: this.slot.get(part.name), inverted };
    }
    this.ops.push(op);
    return this.ops.length + SUPPLY;
  }

  /** Which nets are live with these states of the parts and levels of the inputs. */
  live(state, levels) {
    const nets = [false, levels[this.supply]];
    for (const { behind, how, of, inverted } of this.ops) {
      if (how === "either") nets.push(nets[behind] || nets[of]);
      else if (!nets[behind]) nets.push(false);
      else if (how === "input") nets.push(levels[of] !== inverted);
      else nets.push(((state[of] & CONTACT) !== 0) !== inverted);
    }
    return nets;
  }

  /** Which loads are on. */
  on(nets) {
    return this.loadNets.map((net) => nets[net]);
  }

  /**
   * [loads on, what each part does] in one settling step; `due` is a set of slots. Parts that are
   * not `kept` (a set of names, or null for all) stay as they are.
   */
  look(state, levels, due, kept = null) {
    const nets = this.live(state, levels);
    let busy = false;
    const rows = this.reacting.map((part, i) => {
      if (kept !== null && !kept.has(part.name)) {
        const still = { noticed: state[i], moved: state[i], anew: false, excited: false };
        return [still, still];
      }
      const power = nets[this.power[i]];
      const [a, b] = this.controls[i];
      const first = a !== undefined && nets[a];
      const second = b !== undefined && nets[b];
      const up = due.has(i);
      const both = [false, true].map((edges) => {
        const noticed = notice(part.type, state[i], power, first, up, edges);
        const [moved, anew] = move(part, noticed, power, first, second, up);
        return { noticed, moved, anew, excited: anew || ((moved ^ noticed) & ~SEEN) !== 0 };
      });
      if (part.type !== "impulse-relay") {
        busy ||= EDGE_SENSITIVE.has(part.type)
          ? !power && (state[i] & ~SEEN) !== 0
          : both[0].excited;
      }
      return both;
    });
    const alone = (i) => due.size === 0 || (due.size === 1 && due.has(i));
    const seen = (i) => !this.held || (!busy && alone(i));
    return [this.on(nets), rows.map((both, i) => both[seen(i) ? 1 : 0])];
  }

  /**
   * What follows an event: {state, anew, loads (in each step), chatter}. `chatter` names the parts
   * that change for ever. `order` says for each of the first steps which parts move, `stuck` which
   * parts then change for ever in some order; `kept`: see `look`.
   */
  settle(state, levels, due, order = [], stuck = [], kept = null) {
    const loads = [];
    const anew = new Set();
    const met = new Map();
    const moves = [];
    let now = state;
    let waiting = new Set(due);
    for (let step = 0; step < MOST_ORDERS_STEPS; step += 1) {
      const [on, rows] = this.look(now, levels, waiting, kept);
      if (!loads.length || on.some((level, i) => level !== loads[loads.length - 1][i])) {
        loads.push(on);
      }
      if (stuck.length && step === order.length) {
        return { state: now, anew: new Set(), loads, chatter: stuck };
      }
      const excited = rows.flatMap((row, i) => (row.excited ? [i] : []));
      if (!excited.length) {
        const after = rows.map((row) => row.moved);
        const fresh = [...anew].filter((i) => timeOf(this.reacting[i], after[i]));
        return { state: after, anew: new Set(fresh), loads, chatter: [] };
      }
      let movers = excited;
      if (step < order.length) {
        movers = excited.filter((i) => order[step].includes(this.reacting[i].name));
        if (!movers.length) movers = excited;
      } else {
        const key = `${now.join()};${[...waiting].join()}`;
        if (met.has(key)) {
          const names = new Set(moves.slice(met.get(key)).flat());
          const chatter = [...names].map((i) => this.reacting[i].name);
          return { state: now, anew: new Set(), loads, chatter };
        }
        met.set(key, moves.length);
        moves.push(excited);
      }
      const moving = new Set(movers);
      now = rows.map((row, i) => (row.excited && !moving.has(i) ? row.noticed : row.moved));
      for (const i of movers) if (rows[i].anew) anew.add(i);
      waiting = new Set(order.length ? [...waiting].filter((i) => !moving.has(i)) : []);
    }
    throw new Error("the parts do not come to rest");
  }

  /** The units that come out of each output ("part:terminal" to a whole number, 0 while dead). */
  amounts(nets) {
    const out = new Map();
    const into = (name, terminal) => {
      const source = this.source.get(`${name}:${terminal}`);
      return source === undefined ? 0 : flow(source);
    };
    const shares = (part, got) => {
      if (part.type === "tap-off") {
        const branch = Math.min(part.units, got);
        return { branch, rest: got - branch };
      }
      const used = part.outputs.filter((o) => this.target.has(`${part.name}:${o}`));
      return Object.fromEntries(
        used.map((o, i) => [o, Math.ceil(Math.max(0, got - i) / used.length)]),
      );
    };
    const flow = ([name, terminal]) => {
      const key = `${name}:${terminal}`;
      if (out.has(key)) return out.get(key);
      const part = this.parts[this.place.get(name)];
      let amount = 0;
      if (part !== undefined && nets[this.nets.get(key)]) {
        const got = part.power.reduce((sum, input) => sum + into(name, input), 0);
        if (part.type === "supply") amount = part.units;
        else if (SPLITTING.has(part.type)) amount = shares(part, got)[terminal] ?? 0;
        else amount = got;
      }
      out.set(key, amount);
      return amount;
    };
    for (const part of this.parts) for (const o of part.outputs) flow([part.name, o]);
    return out;
  }

  /** Loads and control inputs that are live but get too few units: {load, terminal, got, needs}. */
  shorts(nets) {
    const carried = this.amounts(nets);
    const found = [];
    const look = (part, terminal, net, needs) => {
      if (!nets[net]) return;
      const got = carried.get(this.source.get(`${part.name}:${terminal}`).join(":"));
      if (got < needs) found.push({ load: part.name, terminal, got, needs });
    };
    this.loads.forEach((part, i) => look(part, "in", this.loadNets[i], part.needs));
    this.reacting.forEach((part, i) => (
      part.controls.forEach((name, k) => look(part, name, this.controls[i][k], part.uses))));
    return found;
  }

  /** The units that all live loads and control inputs use. */
  inUse(nets) {
    let total = 0;
    this.loads.forEach((part, i) => { if (nets[this.loadNets[i]]) total += part.needs; });
    this.reacting.forEach((part, i) => {
      for (const net of this.controls[i]) if (nets[net]) total += part.uses;
    });
    return total;
  }
}

/** Moments at which running times end: those kept, and those that start at `now`. */
function clocks(state, limit, before, anew, now) {
  return state.map((value, i) => {
    const time = limit(i, value);
    if (!time) return null;
    return anew.has(i) ? now + time : before[i];
  });
}

/** Circuit and wanted levels together: from one settled instant to the next. */
class Engine {
  constructor(model) {
    this.model = model;
    this.circuit = new Circuit(model);
    this.wanted = new Wanted(model.signals, this.circuit.bit);
    this.needed = model.signals.loads.filter(({ load }) => this.circuit.place.has(load));
    this.loadIndex = new Map(this.circuit.loads.map((part, i) => [part.name, i]));
  }

  /**
   * Before anything has happened: every input at 0, the supply too. `kept`: only these parts (a
   * set of names) move from here on, null for all.
   */
  before(kept = null) {
    const { circuit, wanted } = this;
    const levels = circuit.inputs.map(() => false);
    return {
      time: -1, levels, since: levels.map(() => null),
      state: circuit.start, until: circuit.start.map(() => null),
      wantedState: wanted.start, wantedUntil: wanted.start.map(() => null), want: Object.create(null),
      nets: circuit.live(circuit.start, levels), on: circuit.loads.map(() => false),
      chatter: [], blinks: [], broken: [], kept,
    };
  }

  /** The moment of the next expiry, Infinity when nothing runs or the parts never settle. */
  next(now) {
    if (now.chatter.length) return Infinity;
    let least = Infinity;
    for (const at of [...now.until, ...now.wantedUntil]) if (at !== null && at < least) least = at;
    return least;
  }

  /**
   * The settled instant after what happens at `time`: `changes` maps names of inputs to levels,
   * times that end then end then. `order`, `stuck`: see `settle`.
   */
  happen(now, time, changes = {}, order = [], stuck = []) {
    const { circuit, wanted } = this;
    const levels = now.levels.slice();
    const since = now.since.slice();
    for (const [name, level] of Object.entries(changes)) {
      const i = circuit.bit.get(name);
      if (i === undefined) throw new Error(`'${name}' is no input`);
      // At the start only the supply is known to rise just then.
      if (levels[i] !== level && (now.time >= 0 || name === "supply")) since[i] = time;
      levels[i] = level;
    }
    const due = (until) => new Set(until.flatMap((at, i) => (at === time ? [i] : [])));
    const settled = circuit.settle(now.state, levels, due(now.until), order, stuck, now.kept);
    const asked = wanted.react(now.wantedState, levels, due(now.wantedUntil));
    const limit = (i, value) => timeOf(circuit.reacting[i], value);
    const nets = circuit.live(settled.state, levels);
    const on = settled.loads[settled.loads.length - 1];
    const after = {
      time, levels, since,
      state: settled.state,
      until: clocks(settled.state, limit, now.until, settled.anew, time),
      wantedState: asked.state,
      wantedUntil: clocks(
        asked.state, (i, value) => wanted.limit(i, value), now.wantedUntil, asked.anew, time,
      ),
      want: asked.loads,
      nets, on,
      chatter: settled.chatter,
      blinks: this.blinks([now.on, ...settled.loads]),
      broken: [],
      kept: now.kept,
    };
    after.broken = this.faults(after, settled.loads);
    return after;
  }

  /** Loads that change more than once while the parts settle. */
  blinks(steps) {
    return this.circuit.loads.flatMap((part, i) => {
      let turns = 0;
      for (let k = 1; k < steps.length; k += 1) turns += steps[k][i] !== steps[k - 1][i] ? 1 : 0;
      return turns > 1 ? [part.name] : [];
    });
  }

  /** What is wrong at a settled instant, as {goals, kind, load, ...}. */
  faults(now, steps) {
    const { model } = this;
    if (now.chatter.length) return [{ kind: "chatter", goals: [], parts: now.chatter }];
    const found = [];
    const moves = (load) => now.kept === null || now.kept.has(load);
    for (const { load, goals } of this.needed) {
      if (!moves(load)) continue;
      const got = now.on[this.loadIndex.get(load)];
      if (got !== now.want[load]) found.push({ kind: "goal", goals, load, got });
      if (now.blinks.includes(load)) found.push({ kind: "blip", goals, load });
    }
    for (const { first, second, goal } of model.apart) {
      const [a, b] = [this.loadIndex.get(first), this.loadIndex.get(second)];
      if (a === undefined || b === undefined || !moves(first) || !moves(second)) continue;
      if (steps.some((on) => on[a] && on[b])) {
        found.push({ kind: "together", goals: [goal], load: first, other: second });
      }
    }
    if (model.peak && now.kept === null) {
      const used = this.circuit.inUse(now.nets);
      if (used > model.peak.units) {
        found.push({ kind: "peak", goals: [model.peak.goal], used, most: model.peak.units });
      }
    }
    for (const short of this.circuit.shorts(now.nets)) {
      if (!moves(short.load)) continue;
      const { goals } = this.circuit.parts[this.circuit.place.get(short.load)];
      found.push({ kind: "short", goals, ...short });
    }
    return found;
  }

  /**
   * When the wanted level of each load changes next if no input does: load to
   * {time, level}, or null when it never does within `most` events.
   */
  forecast(now, most = 60) {
    return this.ahead(now, now.levels, now.wantedState, now.wantedUntil, most);
  }

  ahead(now, levels, first, running, most) {
    const { wanted } = this;
    const found = Object.create(null);
    const limit = (i, value) => wanted.limit(i, value);
    for (const { load } of wanted.loads) {
      let state = first;
      // Only the clocks on which this load depends; others may run on for ever.
      let until = running.map((at, i) => (wanted.behind.get(load).has(i) ? at : null));
      for (let k = 0; k < most; k += 1) {
        const times = until.filter((at) => at !== null);
        if (!times.length) break;
        const time = Math.min(...times);
        const due = new Set(until.flatMap((at, i) => (at === time ? [i] : [])));
        const asked = wanted.react(state, levels, due);
        if (asked.loads[load] !== now.want[load]) {
          found[load] = { time, level: asked.loads[load] };
          break;
        }
        const own = wanted.behind.get(load);
        until = clocks(asked.state, limit, until, asked.anew, time);
        until = until.map((at, i) => (own.has(i) ? at ?? null : null));
        state = asked.state;
      }
    }
    return found;
  }

  /**
   * Changes of an input at `time` that would change what is wanted of each load, at once or `after`
   * a while; where no single change does, pairs that do at once. Load to a list of
   * {names, levels, after}.
   */
  turners(now, time, most = 12) {
    const found = Object.create(null);
    const { loads } = this.wanted;
    const free = this.model.inputs.flatMap((input, i) => (input.steady === null ? [i] : []));
    const limit = (i, value) => this.wanted.limit(i, value);
    const turned = (places) => now.levels.map((level, i) => level !== places.includes(i));
    const note = (load, places, levels, after) => (found[load] ??= []).push({
      names: places.map((i) => this.circuit.inputs[i]), levels: places.map((i) => levels[i]), after,
    });
    for (const i of free) {
      const levels = turned([i]);
      const asked = this.wanted.react(now.wantedState, levels, new Set());
      const until = clocks(asked.state, limit, now.wantedUntil, asked.anew, time);
      const later = this.ahead(now, levels, asked.state, until, most);
      for (const { load } of loads) {
        const after = asked.loads[load] !== now.want[load] ? 0 : (later[load]?.time ?? -1) - time;
        if (after >= 0) note(load, [i], levels, after);
      }
    }
    const open = loads.filter(({ load }) => !found[load]);
    if (!open.length || free.length > 12) return found;
    free.forEach((i, at) => free.slice(at + 1).forEach((j) => {
      const levels = turned([i, j]);
      const asked = this.wanted.react(now.wantedState, levels, new Set());
      for (const { load } of open) {
        if (asked.loads[load] !== now.want[load]) note(load, [i, j], levels, 0);
      }
    }));
    return found;
  }
}

if (typeof module !== "undefined") module.exports = { Engine, Circuit, Wanted, TIMED, CONTACT };
