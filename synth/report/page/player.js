// A run that can be steered: time, what people and the world do, and a record to go back in.
// Nothing here knows of the page.

const MOST_RECORDED = 40000;
const MOST_UNDONE = 30;
const TAP = 500;
const DAY = 86400000;

/** Values by name, put together; no name is there that was not put there ("constructor"). */
function named(...values) {
  return Object.assign(Object.create(null), ...values);
}

/** Adds the first moment at which each goal was broken to what was known before. */
function brokenSince(before, now) {
  const known = new Map(before);
  for (const fault of now.broken) {
    for (const goal of fault.goals) if (!known.has(goal)) known.set(goal, { at: now.time, fault });
  }
  return known;
}

/** One run of an engine. Every entry of the record is an instant that has settled. */
class Player {
  constructor(engine) {
    this.engine = engine;
    this.model = engine.model;
    this.tick = engine.model.fine;
    this.kinds = new Map(this.model.inputs.map((input) => [input.name, input]));
    this.undone = [];
    this.days = null;
    this.restart();
  }

  /** Remember the run as it stands, so that what is done next can be undone. */
  keep() {
    if (!this.record) return;
    const { record, index, time, reached, forgotten, given } = this;
    this.undone.push({ record: record.slice(), index, time, reached, forgotten, given });
    if (this.undone.length > MOST_UNDONE) this.undone.shift();
  }

  /** Take back what was done last (an input worked, a run begun): false when there is nothing. */
  undo() {
    const before = this.undone.pop();
    if (before) Object.assign(this, before);
    return before !== undefined;
  }

  /** Begin anew: the supply comes on, everything else is as it always is, else at 0. */
  restart() {
    this.keep();
    const changes = named({ supply: true });
    for (const input of this.model.inputs) {
      if (input.steady !== null) changes[input.name] = input.steady;
    }
    this.load([{ time: 0, inputs: changes, order: [], chatter: [] }]);
  }

  /**
   * Begin anew with a run that is given: moments with time, inputs and order. `kept`: names of the
   * only parts that move in it, null for all.
   */
  load(moments, kept = null) {
    const [first, ...later] = moments;
    const start = this.engine.before(kept && new Set(kept));
    const begun = first.time === 0
      ? this.engine.happen(start, 0, first.inputs, first.order, first.chatter)
      : this.engine.happen(start, 0, {});
    const plan = first.time === 0 ? later : moments;
    this.record = [{ now: begun, broken: brokenSince([], begun), plan }];
    this.forgotten = false;
    this.given = null;
    this.index = 0;
    this.time = 0;
    this.reached = 0;
  }

  /**
   * Begin anew with what goes wrong. Where other parts, which have no bearing on it, never settle
   * and so would stop the run, they stay still. `number` tells which it is.
   */
  loadDefect({ moments, behind }, number = 0) {
    this.keep();
    const end = moments[moments.length - 1].time;
    this.load(moments);
    while (this.nextTime() <= end) this.step();
    const { chatter, time } = this.now;
    const foreign = chatter.length && (time < end || chatter.some((name) => !behind.includes(name)));
    this.load(moments, foreign ? behind : null);
    this.given = { number, left: false };
  }

  /**
   * Begin anew with a run from a link, up to `end`, as far as what is known of the inputs allows.
   * Returns why it went no further, or an empty text.
   */
  follow(moments, end) {
    const first = named(moments[0]?.time === 0 ? moments[0].inputs : {});
    const { inputs, neverTogether } = this.model;
    const steady = inputs.find((input) => input.steady !== null && (first[input.name] ?? false) !== input.steady);
    if (steady) return `known: '${steady.name}' is always ${steady.steady ? "on" : "off"}`;
    const both = neverTogether.map((group) => group.filter((name) => first[name])).find((on) => on.length > 1);
    if (both) return `known: '${both[0]}' and '${both[1]}' are never on together`;
    const held = first.supply ? this.heldAs("supply", (name) => first[name] ?? false) : "";
    if (held) return held;
    this.keep();
    this.load(moments[0]?.time === 0 ? moments : [{ time: 0, inputs: {}, order: [], chatter: [] }, ...moments]);
    for (let k = 0; k < MOST_RECORDED && this.nextTime() <= end; k += 1) {
      const { plan } = this.record[this.index];
      if (plan.length && plan[0].time === this.nextTime()) {
        this.time = plan[0].time;
        const wanted = named(plan[0].inputs);
        const turned = Object.keys(wanted).filter((name) => wanted[name] !== this.level(name));
        const refused = turned.map((name) => this.refusal(name, wanted)).find(Boolean);
        if (refused) return refused;
      }
      this.step();
    }
    if (this.nextTime() <= end) return "it is too long";
    if (!this.now.chatter.length) this.time = end;
    this.reached = this.time;
    return "";
  }

  /** The last settled instant at or before the present moment. */
  get now() {
    return this.record[this.index].now;
  }

  /** Goals broken so far in this run: number to {at, fault}. */
  get broken() {
    return this.record[this.index].broken;
  }

  /** The end of what is recorded. */
  get recorded() {
    return Math.max(this.time, this.reached, this.record[this.record.length - 1].now.time);
  }

  /** The latest moment at which an input must change by what is known of it: [time, changes]. */
  forced(entry) {
    let least = Infinity;
    let changes = named();
    this.model.inputs.forEach((input, i) => {
      const level = entry.now.levels[i];
      const most = level ? input.mostOn : input.mostOff;
      if (most === null || input.steady !== null) return;
      const at = (entry.now.since[i] ?? 0) + most;
      if (at > entry.now.time && at < least) {
        least = at;
        changes = named();
      }
      if (at === least) changes[input.name] = !level;
    });
    const [at, change] = this.dayOrNight(entry);
    if (at < least) return [at, change];
    return [least, at === least ? named(changes, change) : changes];
  }

  /** When night next falls or day breaks by itself, where they do: [time, changes]. */
  dayOrNight(entry) {
    const never = [Infinity, named()];
    if (!this.days) return never;
    const { name, day, night } = this.days;
    const { bit } = this.engine.circuit;
    const level = entry.now.levels[bit.get(name)];
    const others = this.model.neverTogether.filter((group) => group.includes(name)).flat();
    if (!level && others.some((one) => one !== name && entry.now.levels[bit.get(one)])) return never;
    const from = Math.max(entry.now.time, this.time);
    const begun = Math.floor(from / (day + night)) * (day + night);
    const [dusk, dawn] = [begun + day, begun + day + night];
    const bound = level ? dawn : dusk > from ? dusk : dusk + day + night;
    const { leastOn, leastOff } = this.kinds.get(name);
    const least = (level ? leastOn : leastOff) ?? 0;
    return [Math.max(bound, (entry.now.since[bit.get(name)] ?? 0) + least), named({ [name]: !level })];
  }

  /**
   * Lengths of day and night that agree with what is known: 12 h each where they may be, a day
   * first; null where 24 h allow none or there is no night.
   */
  daysAllowed() {
    const input = this.model.inputs.find(({ kind }) => kind === "night");
    if (!input || input.steady !== null) return null;
    const [whole, half] = [DAY * this.tick, (DAY * this.tick) / 2];
    const least = Math.max(input.leastOn ?? 1, whole - (input.mostOff ?? whole - 1));
    const most = Math.min(input.mostOn ?? whole - 1, whole - (input.leastOff ?? 1));
    if (least > most) return null;
    const night = Math.min(most, Math.max(least, half));
    return { name: input.name, day: whole - night, night };
  }

  /** The moment of the next event, Infinity when nothing more happens by itself. */
  nextTime() {
    const entry = this.record[this.index];
    if (this.index + 1 < this.record.length) return this.record[this.index + 1].now.time;
    if (entry.now.chatter.length) return Infinity;
    const planned = entry.plan.length ? entry.plan[0].time : Infinity;
    return Math.min(this.engine.next(entry.now), planned, this.forced(entry)[0]);
  }

  /** Let the next event happen that is due by itself, was planned, or is recorded. */
  step() {
    const time = this.nextTime();
    if (time === Infinity) return false;
    if (this.index + 1 < this.record.length) this.index += 1;
    else {
      const entry = this.record[this.index];
      let { plan } = entry;
      let changes = named();
      let order = [];
      let chatter = [];
      const [at, forced] = this.forced(entry);
      if (at === time) changes = forced;
      if (plan.length && plan[0].time === time) {
        changes = named(changes, plan[0].inputs);
        ({ order, chatter } = plan[0]);
        plan = plan.slice(1);
      }
      this.add(this.engine.happen(entry.now, time, changes, order, chatter), plan);
    }
    this.time = time;
    return true;
  }

  add(now, plan) {
    const entry = this.record[this.index];
    this.record.length = this.index + 1;
    this.record.push({ now, broken: brokenSince(entry.broken, now), plan });
    if (this.record.length > MOST_RECORDED) {
      this.record.splice(0, this.record.length - MOST_RECORDED + 2000);
      this.forgotten = true;
    }
    this.index = this.record.length - 1;
  }

  /** Let time pass up to `time`; at most `most` events. True when `time` was reached. */
  advance(time, most = 3000) {
    for (let k = 0; k < most; k += 1) {
      if (this.nextTime() > time) {
        if (!this.now.chatter.length) this.time = Math.max(this.time, time);
        this.reached = Math.max(this.reached, this.time);
        return !this.now.chatter.length;
      }
      this.step();
    }
    return false;
  }

  /** Go to a moment that is recorded. What comes after it stays, until something else is done. */
  goTo(time) {
    const wanted = Math.min(Math.max(time, this.record[0].now.time), this.recorded);
    let [low, high] = [0, this.record.length - 1];
    while (low < high) {
      const middle = Math.ceil((low + high) / 2);
      if (this.record[middle].now.time <= wanted) low = middle;
      else high = middle - 1;
    }
    this.index = low;
    this.time = wanted;
  }

  /** Go back to the event before the present moment. */
  back() {
    if (this.time > this.now.time) this.time = this.now.time;
    else if (this.index > 0) {
      this.index -= 1;
      this.time = this.now.time;
    } else return false;
    return true;
  }

  /** The present level of an input. */
  level(name) {
    return this.now.levels[this.engine.circuit.bit.get(name)];
  }

  /** Why an input may not change now by what is known of it; an empty text when it may. */
  refusal(name, others = named()) {
    const input = this.kinds.get(name);
    const level = this.level(name);
    if (input.steady !== null) return `known: '${name}' is always ${input.steady ? "on" : "off"}`;
    if (this.now.chatter.length) return "the parts never settle: go back, or start again";
    const since = this.now.since[this.engine.circuit.bit.get(name)];
    const least = level ? input.leastOn : input.leastOff;
    if (least !== null && since !== null && this.time - since < least) {
      const state = level ? "on" : "off";
      return `known: '${name}' stays ${state} for at least ${inWords(least / this.tick)}`;
    }
    if (!level) {
      for (const group of this.model.neverTogether) {
        const other = group.find((one) => one !== name && (others[one] ?? this.level(one)));
        if (group.includes(name) && other) return `known: '${name}' and '${other}' are never on together`;
      }
      return this.heldAs(name, (one) => others[one] ?? this.level(one));
    }
    return "";
  }

  /** What is known to be released as an input comes on, and is not; an empty text when all is. */
  heldAs(name, level) {
    const held = this.model.inputs.find((input) => input.releasedAs.includes(name) && level(input.name));
    const comes = name === "supply" ? "power returns" : `'${name}' comes on`;
    return held ? `known: '${held.name}' is released as ${comes}` : "";
  }

  /**
   * Let inputs change now: name to level. What was recorded after the present moment is dropped.
   * One instant holds one event: if it has one already, the change comes one millisecond later,
   * or with the next expiry where that is earlier.
   */
  act(changes, releases = []) {
    this.keep();
    if (this.given) this.given = { ...this.given, left: true };
    const entry = this.record[this.index];
    this.record.length = this.index + 1;
    // Who does something leaves a run that was given; only fingers on buttons still let go.
    let plan = entry.plan.filter((moment) => moment.tap);
    let time = this.time;
    let more = changes;
    if (time === entry.now.time) {
      const planned = plan.length ? plan[0].time : Infinity;
      time = Math.min(time + this.tick, this.engine.next(entry.now), planned);
      if (planned === time) {
        more = named(plan[0].inputs, changes);
        plan = plan.slice(1);
      }
    }
    const now = this.engine.happen(entry.now, time, more);
    const later = releases.map(({ name, after }) => (
      { time: time + after, inputs: { [name]: false }, order: [], chatter: [], tap: true }
    ));
    const names = new Set(Object.keys(changes));
    const kept = plan.filter((m) => !(m.tap && Object.keys(m.inputs).some((n) => names.has(n))));
    const merged = [...kept, ...later].sort((a, b) => a.time - b.time);
    this.add(now, joined(merged));
    this.time = time;
    this.reached = time;
  }

  /** Press a push-button for a short while, as a hand does. */
  tap(name) {
    const input = this.kinds.get(name);
    let length = Math.max(TAP * this.tick, input.leastOn ?? 0);
    if (input.mostOn !== null) length = Math.min(length, input.mostOn);
    this.act({ [name]: true }, [{ name, after: length }]);
  }
}

/** Moments with what happens at the same instant put together. */
function joined(moments) {
  const result = [];
  for (const moment of moments) {
    const last = result[result.length - 1];
    if (last && last.time === moment.time) {
      last.inputs = named(last.inputs, moment.inputs);
    } else result.push({ ...moment });
  }
  return result;
}

/** A length of time in milliseconds, exactly, in words. */
function inWords(ms) {
  if (ms === 0) return "0 s";
  if (!Number.isInteger(ms)) return `${Number(ms.toFixed(3))} ms`;
  const pieces = [];
  let rest = ms;
  for (const [unit, size] of [["d", 86400000], ["h", 3600000], ["min", 60000]]) {
    if (unit === "min" && ms < 120000 && ms % 60000) break;
    const count = Math.floor(rest / size);
    if (count) pieces.push(`${count} ${unit}`);
    rest -= count * size;
  }
  const [seconds, left] = [Math.floor(rest / 1000), rest % 1000];
  if (seconds) pieces.push(`${seconds} s`);
  if (left) pieces.push(`${left} ms`);
  return pieces.join(" ");
}

/** A moment or a time left, short, as a clock shows it: 0:07.3, 1:02:05, 1 d 00:00:00. */
function onClock(ms, tenths = false) {
  const shown = tenths ? Math.ceil(ms / 100) * 100 : Math.floor(ms);
  const days = Math.floor(shown / 86400000);
  const hours = Math.floor((shown % 86400000) / 3600000);
  const minutes = Math.floor((shown % 3600000) / 60000);
  const seconds = Math.floor((shown % 60000) / 1000);
  const two = (n) => String(n).padStart(2, "0");
  const left = shown % 1000;
  if (tenths && shown < 60000) return `${seconds}.${Math.floor(left / 100)} s`;
  const head = days ? `${days} d ${two(hours)}:` : hours || !tenths ? `${hours}:` : "";
  const clock = `${head}${head ? two(minutes) : minutes}:${two(seconds)}`;
  return left && !tenths ? `${clock}.${String(left).padStart(3, "0")}` : clock;
}

/** What happens in the world when an input changes. */
function changeInWords(input, level) {
  const { name, kind } = input;
  if (kind === "supply") return level ? "the supply comes on" : "the supply is cut";
  if (kind === "night") return level ? "night falls" : "day breaks";
  if (kind === "switch") return `switch '${name}' ${level ? "closes" : "opens"}`;
  if (kind === "push-button") return `'${name}' is ${level ? "pressed" : "let go"}`;
  return `'${name}' ${level ? "comes on" : "goes off"}`;
}

const ONOFF = (level) => (level ? "on" : "off");

/** A fault in words, as {kind, load, ...} from the engine. */
function faultInWords(fault) {
  switch (fault.kind) {
    case "goal":
      return `${fault.load} is ${ONOFF(fault.got)}, it must be ${ONOFF(!fault.got)}`;
    case "blip":
      return `${fault.load} blinks while the parts settle`;
    case "together":
      return `${fault.load} and ${fault.other} are on together`;
    case "short": {
      const where = fault.terminal === "in" ? fault.load : `${fault.load}:${fault.terminal}`;
      return `${where} gets ${units(fault.got)}, it needs ${fault.needs}`;
    }
    case "peak":
      return `${fault.used} units are in use, at most ${fault.most} may be`;
    default:
      return `the parts never settle: ${fault.parts.join(", ")}`;
  }
}

/**
 * How each goal stands: {number, status: kept | waiting | broken, why}.
 *
 * Broken: at some moment of this run up to now it was not fulfilled. Else, of the loads it speaks
 * of, kept: as wanted, at least one on (or the goal speaks of none); waiting: all off, as wanted.
 */
function goalsNow(player) {
  const { engine, now, broken, tick, time } = player;
  const ahead = engine.forecast(now);
  const turners = engine.turners(now, time);
  return player.model.goals.map(({ number, fixed }) => {
    // What is asked of whole days no moment shows: told as the check found it.
    if (fixed) return { number, ...fixed };
    const fault = broken.get(number);
    if (fault) {
      const when = onClock(fault.at / tick);
      return { number, status: "broken", why: `broken at ${when}: ${faultInWords(fault.fault)}` };
    }
    if (now.chatter.length) {
      return { number, status: "broken", why: faultInWords({ kind: "chatter", parts: now.chatter }) };
    }
    const all = engine.needed.filter(({ goals }) => goals.includes(number));
    const loads = all.filter(({ load }) => now.kept === null || now.kept.has(load));
    if (all.length && !loads.length) return { number, status: "waiting", why: "not followed in this run" };
    const why = loads.map(({ load }) => {
      const level = now.want[load];
      const says = `${load} is ${ONOFF(level)}, as asked`;
      const change = ahead[load];
      if (change) {
        const left = (change.time - time) / tick;
        const told = left < 10000
          ? `${(Math.ceil(left / 100) / 10).toFixed(1)} s`
          : inWords(Math.ceil(left / 1000) * 1000);
        return `${says}; ${change.level ? "on again" : "off"} in ${told}`;
      }
      const by = (turners[load] ?? []).map(({ names, levels, after }) => {
        const changes = names.map((name, i) => changeInWords(player.kinds.get(name), levels[i]));
        const told = changes.join(" and ");
        return after ? `${inWords(after / tick)} after ${told}` : told;
      });
      if (!by.length) return says;
      return `${says}, until ${by.slice(0, 3).join(" or ")}${by.length > 3 ? ", or else" : ""}`;
    });
    const on = !loads.length || loads.some(({ load }) => now.want[load]);
    const held = loads.length ? why.join("; ") : "nothing speaks against it";
    return { number, status: on ? "kept" : "waiting", why: held };
  });
}

if (typeof module !== "undefined") {
  Object.assign(module.exports, { Player, goalsNow, inWords, onClock, changeInWords, faultInWords });
}
