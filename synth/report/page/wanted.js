// What each load is asked to do, one settled instant at a time. Written by hand, as engine.js is.

/** Runs what each load is asked to do, side by side, one settled instant at a time. */
class Wanted {
  /** `signals`: nodes, each after those it is made of, and for each load the node that it follows. */
  constructor(signals, bit) {
    this.nodes = signals.nodes;
    this.loads = signals.loads;
    this.bit = bit;
    this.slots = [];
    this.nodes.forEach((node, i) => { if (node.memory) this.slots.push(i); });
    this.slotOf = new Map(this.slots.map((node, slot) => [node, slot]));
    this.start = this.slots.map(() => 0);
    this.behind = new Map(this.loads.map(({ load, node }) => [load, this.clocksBehind(node)]));
  }

  /** The slots of all nodes that a node is made of, itself included. */
  clocksBehind(node) {
    const seen = new Set();
    const waiting = [node];
    while (waiting.length) {
      const i = waiting.pop();
      if (seen.has(i)) continue;
      seen.add(i);
      waiting.push(...this.nodes[i].of);
      const looked = this.loads.find(({ load }) => load === this.nodes[i].load);
      if (looked) waiting.push(looked.node);
    }
    return new Set([...seen].flatMap((i) => (this.slotOf.has(i) ? [this.slotOf.get(i)] : [])));
  }

  /** The time at which the clock of `slot` is due, 0 while it is at rest. */
  limit(slot, state) {
    const node = this.nodes[this.slots[slot]];
    if (!(state & RUNNING)) return 0;
    if (node.kind === "cycle") return state & CONTACT ? node.on : node.off;
    return node.time;
  }

  /** {state, loads (name to level), anew} from these levels on; `due` is a set of slots. */
  react(state, levels, due) {
    const next = state.slice();
    const anew = new Set();
    const value = [];
    this.nodes.forEach((node, i) => {
      const of = node.of.map((child) => value[child]);
      if (node.kind === "const") value.push(node.value);
      else if (node.kind === "level") value.push(levels[this.bit.get(node.name)]);
      else if (node.kind === "not") value.push(!of[0]);
      else if (node.kind === "and") value.push(of.every(Boolean));
      else if (node.kind === "or") value.push(of.some(Boolean));
      else {
        const slot = this.slotOf.get(i);
        const old = state[slot];
        if (node.kind === "recently") {
          const lasting = (old & RUNNING) !== 0 && !due.has(slot);
          value.push(of[0] && ((old & CONTACT) !== 0 || lasting));
        } else {
          const [after, level, again] = advance(node, old, of, due.has(slot));
          next[slot] = after;
          value.push(level);
          if (again) anew.add(slot);
        }
      }
    });
    // Without a prototype: a load may be called "constructor".
    const loads = Object.create(null);
    for (const { load, node } of this.loads) loads[load] = value[node];
    this.slots.forEach((i, slot) => {
      const node = this.nodes[i];
      if (node.kind !== "recently") return;
      const old = state[slot];
      if (!value[node.of[0]]) next[slot] = 0;
      else if (loads[node.load]) next[slot] = CONTACT;
      else if (old & CONTACT && node.time) {
        next[slot] = RUNNING;
        anew.add(slot);
      } else if (old & CONTACT || due.has(slot)) next[slot] = 0;
    });
    return { state: next, loads, anew };
  }
}

/** [state, value, clock starts anew] of one node with a memory; the last of `of` enables it. */
function advance(node, old, of, due) {
  if (!of[of.length - 1]) return [0, false, false];
  const level = of[0];
  switch (node.kind) {
    case "pulse": {
      const on = (old & CONTACT) !== 0 && !due;
      const again = level && !(old & SEEN) && (node.retrigger || !on);
      const now = on || again;
      return [(now ? CONTACT | RUNNING : 0) | (level ? SEEN : 0), now, again];
    }
    case "on-delay":
      if (!level) return [0, false, false];
      if (due || old & CONTACT) return [CONTACT, true, false];
      return [RUNNING, false, !(old & RUNNING)];
    case "off-delay":
      if (level) return [CONTACT, true, false];
      if (due || !(old & CONTACT)) return [0, false, false];
      return [CONTACT | RUNNING, true, !(old & RUNNING)];
    case "cycle":
      if (old & RUNNING && due) {
        if (!level) return [0, false, false];
        return old & CONTACT ? [RUNNING, false, true] : [CONTACT | RUNNING, true, true];
      }
      if (level && !(old & RUNNING)) {
        return [(node.pulseFirst ? CONTACT : 0) | RUNNING, node.pulseFirst, true];
      }
      if (!level && !(node.finish && old & CONTACT)) return [0, false, false];
      return [old, (old & CONTACT) !== 0, false];
    case "latch": {
      const on = (level && (node.winsSet || !of[1])) || ((old & CONTACT) !== 0 && !of[1]);
      return [on ? CONTACT : 0, on, false];
    }
    case "toggle": {
      const on = ((old & CONTACT) !== 0) !== (level && !(old & SEEN));
      return [(on ? CONTACT : 0) | (level ? SEEN : 0), on, false];
    }
    default:
      throw new Error(`${node.kind} has no memory`);
  }
}
