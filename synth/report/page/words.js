// What parts are for, what they do now, and what happened, in words.

/** What a part of this type does, with its settings. */
function purpose(part, tick) {
  const time = inWords(part.on / tick);
  const closed = part.inverted ? "off" : "on";
  switch (part.type) {
    case "supply": return `Delivers ${units(part.units)} to all the rest.`;
    case "switch": return `A lever that stays where it is put. Its contact is closed while '${part.input}' is ${closed}.`;
    case "push-button": return `Its contact is ${part.inverted ? "open" : "closed"} while '${part.input}' is pressed.`;
    case "sensor": return `Its contact is closed while '${part.input}' is ${closed}.`;
    case "twilight-switch": return `Its contact is closed ${part.inverted ? "by day" : "at night"}.`;
    case "relay-make": return "Its contact is closed while its coil is live.";
    case "relay-break": return "Its contact is open while its coil is live, closed while it is dead.";
    case "relay-changeover": return "Passes to make while its coil is live, else to break.";
    case "bistable-relay":
      return `Closes when set is live, opens when reset is, and stays so without power; ${part.winsSet ? "set" : "reset"} wins when both are.`;
    case "impulse-relay": return "Each time its pulse terminal becomes live it changes over, and stays so without power.";
    case "pulse-timer":
      return `Closes its contact for ${time} when in and start become live. A new start within this time is ignored.`;
    case "retriggerable-pulse-timer":
      return `Closes its contact for ${time} after in and start last became live.`;
    case "on-delay-timer": return `Closes its contact once in and start have been live for ${time} without a break.`;
    case "off-delay-timer": return `Closed while in and start are live, and for ${time} after start goes dead.`;
    case "recycler":
      return `While powered it is on for ${time} and off for ${inWords(part.off / tick)} in turn, ${part.pulseFirst ? "pulse" : "pause"} first.`;
    case "tap-off": return `Hands up to ${units(part.units)} to its branch, and what is left to its rest.`;
    case "divider": return "Shares what it gets equally over its connected outputs; what is left over goes one unit each to the first.";
    case "joint": return "Passes what comes from either input, one way only.";
    case "load": return `What all of this is for. Uses ${units(part.needs)}.`;
    default: return part.about;
  }
}

function units(amount) {
  return amount === 1 ? "1 unit" : `${amount} units`;
}

/** Whether the contact of a part stands other than it is drawn at rest. */
function worked(part, engine, now) {
  if (part.type === "twilight-switch") return !now.levels[engine.circuit.bit.get(part.input)];
  if (part.input !== null) return now.levels[engine.circuit.bit.get(part.input)];
  const slot = engine.circuit.slot.get(part.name);
  return slot !== undefined && (now.state[slot] & CONTACT) !== 0;
}

/** What a part does at this moment, in a few words. */
function stateInWords(part, player) {
  const { engine, now, tick, time } = player;
  const { circuit } = engine;
  const short = now.broken.find((fault) => fault.kind === "short" && fault.load === part.name);
  if (short) return `live, but ${faultInWords(short)}`;
  if (part.type === "load") return ONOFF(now.on[engine.loadIndex.get(part.name)]);
  if (part.type === "supply") return now.nets[SUPPLY] ? "delivers" : "dead";
  const slot = circuit.slot.get(part.name);
  if (slot !== undefined) {
    const operated = (now.state[slot] & CONTACT) !== 0;
    if (!part.timed) return operated ? "operated" : "at rest";
    const until = now.until[slot];
    const left = until === null ? "" : `, ${inWords(Math.ceil((until - time) / tick / 100) * 100)} left`;
    return `contact ${operated ? "closed" : "open"}${left}`;
  }
  if (part.input !== null) {
    const level = now.levels[circuit.bit.get(part.input)];
    return `contact ${level !== part.inverted ? "closed" : "open"}`;
  }
  return part.outputs.some((o) => now.nets[circuit.nets.get(`${part.name}:${o}`)]) ? "live" : "dead";
}

/** The present state of an input in words: on, night, closed, pressed. */
function levelInWords(input, level) {
  switch (input.kind) {
    case "supply": return level ? "on" : "cut";
    case "night": return level ? "night" : "day";
    case "switch": return level ? "closed" : "open";
    case "push-button": return level ? "pressed" : "let go";
    default: return ONOFF(level);
  }
}

/** What a hand does to an input that stands at `level`, as on a button. */
function handInWords(input, level) {
  switch (input.kind) {
    case "night": return level ? "Let day break" : "Let night fall";
    case "switch": return level ? "Open it" : "Close it";
    case "push-button": return level ? "Let go" : "Press it";
    default: return level ? "Turn it off" : "Turn it on";
  }
}

/** How an input is found when power comes up. */
function foundInWords(input, level) {
  if (input.kind === "night") return level ? "it is night" : "it is day";
  return `'${input.name}' is ${level ? "on" : "off"}`;
}

/** What happened from one settled instant to the next, in a sentence. */
function eventInWords(player, before, now) {
  const { engine, tick } = player;
  const said = [];
  player.model.inputs.forEach((input, i) => {
    if ((before ? before.levels[i] : false) === now.levels[i]) return;
    // At power-up the other inputs do not change: they are found as they are.
    const words = before || input.kind === "supply" ? changeInWords : foundInWords;
    said.push(words(input, now.levels[i]));
  });
  if (before) {
    engine.circuit.reacting.forEach((part, i) => {
      if (before.until[i] === now.time) said.push(`the time of ${part.name} is up`);
    });
  }
  engine.circuit.loads.forEach((part, i) => {
    if ((before ? before.on[i] : false) !== now.on[i]) {
      said.push(`${part.name} ${now.on[i] ? "comes on" : "goes off"}`);
    }
  });
  for (const fault of now.broken) said.push(`BROKEN: ${faultInWords(fault)}`);
  for (const name of now.blinks) {
    if (!now.broken.some((fault) => fault.kind === "blip" && fault.load === name)) {
      said.push(`${name} blinks while the parts settle`);
    }
  }
  if (!said.length) said.push("a time of the goals is up, nothing changes");
  return `${onClock(now.time / tick)}: ${said.join("; ")}`;
}
