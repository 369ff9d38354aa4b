// What one sees and works: the page's elements, joined to the run.

const byId = (id) => document.getElementById(id);

function element(name, attributes = {}, ...content) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key === "class") node.className = value;
    else node.setAttribute(key, value);
  }
  node.append(...content);
  return node;
}

const MARKS = { kept: "●", waiting: "○", broken: "✕" };
const EVENT_PACE = 1100;
const MOST_IN_A_FRAME = 25;
const TOLD_PACE = 1000;
const FASTEST_TOLD = 10;

/** The whole page. */
class Page {
  constructor(model) {
    this.model = model;
    this.player = new Player(new Engine(model));
    this.diagram = new Diagram(this.player, byId("drawing"));
    this.stage = new Stage(this.diagram, byId("stage"));
    this.chart = new Chart(this.player, byId("roll"));
    this.running = false;
    this.playing = null;
    this.chosen = null;
    this.collected = null;
    this.last = 0;
    this.toldAt = -Infinity;
    this.untold = false;
    this.carry = 0;
    this.drawn = { now: null, slow: 0 };
    this.buildTime();
    this.buildLevers();
    this.buildGoals();
    this.buildDefects();
    this.buildDiagram();
    this.buildKeys();
    this.chart.inner = this.chart.tracks.length <= 8;
    byId("inner").checked = this.chart.inner;
    this.refresh(true);
    new ResizeObserver(() => {
      this.stage.settle();
      this.drawChart();
    }).observe(byId("stage"));
    const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.buildPrint();
    window.addEventListener("hashchange", () => this.openLink());
    if (this.openLink()) return;
    const playable = model.defects.findIndex((defect) => defect.moments);
    if (playable >= 0) this.play(playable, !calm);
    else if (!calm) this.setRunning(true);
  }

  // time

  buildTime() {
    byId("again").addEventListener("click", () => this.startAgain());
    byId("back").addEventListener("click", () => this.stepBack());
    byId("next").addEventListener("click", () => this.stepOn());
    byId("tour").addEventListener("click", () => this.tour());
    byId("undo").addEventListener("click", () => this.undo());
    byId("link").addEventListener("click", () => this.giveLink());
    byId("run").addEventListener("click", () => this.setRunning(!this.running));
    byId("speed").addEventListener("change", () => this.refresh());
    byId("span").addEventListener("change", () => this.drawChart());
    byId("inner").addEventListener("change", () => {
      this.chart.inner = byId("inner").checked;
      this.drawChart();
    });
    byId("moment").addEventListener("input", () => {
      const wanted = Math.round(Number(byId("moment").value));
      this.setRunning(false);
      this.player.goTo(wanted);
      this.refresh(true);
    });
    const look = (event) => {
      const time = this.chart.momentAt(event.clientX);
      if (time === null) return;
      this.setRunning(false);
      this.player.goTo(time);
      this.refresh(true);
    };
    this.chart.svg.addEventListener("click", look);
    this.chart.svg.addEventListener("pointermove", (event) => {
      if (event.pointerType === "mouse" && event.buttons === 1) look(event);
    });
  }

  setRunning(running) {
    if (running && this.playing?.done) this.endPlay();
    this.running = running;
    byId("run").textContent = running ? "Stop" : "Run";
    if (running) {
      this.carry = 0;
      this.last = performance.now();
      requestAnimationFrame((at) => this.frame(at));
    } else this.refresh();
  }

  undo() {
    this.setRunning(false);
    if (!this.player.undo()) {
      this.tell("There is nothing to undo.");
      return;
    }
    this.endPlay();
    this.refresh(true);
    this.tell(`Undone; this is ${onClock(Math.floor(this.player.time / this.player.tick))} again.`);
  }

  /** Put the run up to this moment into the page's address, and on the clipboard where one may. */
  giveLink() {
    this.setRunning(false);
    let text = "";
    try {
      text = linkTo(this.player);
    } catch (failure) {
      this.tell(`No link: ${failure.message}.`);
      return;
    }
    this.linked = `#${text}`;
    window.location.hash = this.linked;
    const said = "The page's address now leads to this moment, for whoever has this page";
    this.tell(`${said}.`);
    navigator.clipboard?.writeText(window.location.href)
      .then(() => this.tell(`${said}. It is copied.`), () => {});
  }

  /** Go where the page's address leads: true when it led anywhere. */
  openLink() {
    const { hash } = window.location;
    if (hash.length < 2 || hash === this.linked) return false;
    let wanted = null;
    try {
      wanted = readLink(hash.slice(1), this.model);
    } catch (failure) {
      this.tell(`${failure.message}.`);
      return false;
    }
    if (!wanted) return false;
    this.setRunning(false);
    this.endPlay();
    let refused = "";
    if (wanted.wrong !== undefined) {
      this.play(wanted.wrong, false);
      const { playing, player } = this;
      while (player.nextTime() <= Math.min(wanted.at, playing.end)) player.step();
      player.goTo(Math.min(wanted.at, playing.end));
    } else refused = this.player.follow(wanted.moments, wanted.at);
    this.refresh(true);
    if (refused) this.tell(`The link goes no further than this; ${refused}.`);
    return true;
  }

  startAgain() {
    this.endPlay();
    this.player.restart();
    this.refresh(true);
  }

  stepOn() {
    this.setRunning(false);
    if (!this.player.step()) this.tell("Nothing more happens by itself. Work an input.");
    else this.refresh(true);
  }

  stepBack() {
    this.setRunning(false);
    this.player.back();
    this.refresh(true);
  }

  frame(at) {
    if (!this.running) return;
    const passed = Math.min(250, Math.max(0, at - this.last));
    this.last = at;
    const speed = this.playing ? "events" : byId("speed").value;
    const { player } = this;
    if (speed === "events") {
      this.carry += passed;
      if (this.carry >= EVENT_PACE) {
        this.carry -= EVENT_PACE;
        const end = this.playing ? this.playing.end : Infinity;
        // In a tour, what was seen since an input last changed passes quickly.
        for (let k = 0; k < MOST_IN_A_FRAME && this.running; k += 1) {
          if (player.time >= end || player.nextTime() > end || !player.step()) this.finish();
          else if (this.playing && player.time >= end) this.finish();
          else if (!this.playing?.seen || this.news(this.playing.seen)) break;
          if (k === MOST_IN_A_FRAME - 1) this.carry = EVENT_PACE;
        }
      }
    } else {
      // Whole tenths of a second, so that what people do falls on moments that read well.
      const step = Number(speed) * 100 * player.tick;
      const grain = Math.min(100 * player.tick, step);
      this.carry += passed * Number(speed) * player.tick;
      const target = Math.floor((player.time + this.carry) / grain) * grain;
      if (target > player.time) {
        this.carry += player.time - target;
        if (!player.advance(target)) this.carry = 0;
        if (player.now.chatter.length) this.finish();
      }
    }
    this.refresh();
    if (this.running) requestAnimationFrame((next) => this.frame(next));
  }

  /** Show the goals at work: a run that was found from them. */
  tour() {
    this.endPlay();
    const { moments, end } = this.model.tour;
    if (!moments.length) {
      this.tell("There is nothing to show.");
      return;
    }
    this.player.keep();
    this.player.load(moments);
    const message = "that is what it does; now work it yourself";
    this.playing = { end, message, seen: new Set() };
    this.refresh(true);
    this.setRunning(true);
  }

  /** Whether the present event is worth a look: an input changed, or a load as not yet since then. */
  news(seen) {
    const { record, index } = this.player;
    const [before, now] = [record[index - 1]?.now, record[index].now];
    if (!before) return true;
    const worked = now.levels.some((level, i) => level !== before.levels[i]);
    if (worked) seen.clear();
    const turned = now.on.flatMap((on, i) => (on === before.on[i] ? [] : [i]));
    const fresh = turned.filter((i) => !seen.has(`${i}${now.on[i]}`));
    for (const i of turned) seen.add(`${i}${now.on[i]}`);
    if (fresh.length) this.stage.bring(this.player.engine.circuit.loads[fresh[0]]);
    return worked || fresh.length > 0 || now.broken.length > 0;
  }

  finish() {
    const { playing } = this;
    if (playing) playing.done = true;
    this.setRunning(false);
    this.refresh(true);
    if (!playing) return;
    const { player } = this;
    const astray = playing.seen && (player.broken.size || player.now.chatter.length);
    const message = astray ? "not all of it went as asked; the goals and the diagram say what" : playing.message;
    this.tell(`${onClock(player.time / player.tick)}: ${message}`);
  }

  // what people and the world do

  buildLevers() {
    const list = byId("levers");
    this.levers = this.model.inputs.map((input, i) => {
      const state = element("span", { class: "state" });
      const known = element("span", { class: "known" });
      const hold = element(
        "button", { type: "button", role: "switch", "aria-checked": "false" },
        element("span", { class: "name" }, input.name), " ", state,
      );
      if (i < LEVER_KEYS) {
        hold.setAttribute("aria-keyshortcuts", leverKey(i));
        hold.prepend(element("kbd", { "aria-hidden": "true" }, leverKey(i).replace("Shift+", "⇧")));
      }
      hold.addEventListener("click", () => this.work(input.name));
      const item = element("li", {}, hold);
      if (input.kind === "push-button") {
        const tap = element("button", { type: "button", class: "tap" }, "Press");
        tap.setAttribute("aria-label", `Press ${input.name} for a moment`);
        tap.addEventListener("click", () => this.work(input.name, true));
        item.className = "pushed";
        item.append(tap);
      }
      item.append(known);
      list.append(item);
      return { input, hold, state, known };
    });
    byId("together").addEventListener("change", () => {
      this.collected = byId("together").checked ? named() : null;
      byId("do").hidden = this.collected === null;
      this.refresh(true);
    });
    const days = this.player.daysAllowed();
    byId("days").parentElement.hidden = days === null;
    if (days) {
      const words = `night for ${inWords(days.night / this.player.tick)} of every day, by itself`;
      byId("days").nextSibling.textContent = ` ${words}`;
    }
    byId("days").addEventListener("change", () => {
      this.player.days = byId("days").checked ? days : null;
      this.refresh();
    });
    byId("do").addEventListener("click", () => {
      const changes = this.collected ?? named();
      this.collected = byId("together").checked ? named() : null;
      if (Object.keys(changes).length) this.act(changes);
      else this.tell("Nothing was chosen to change.");
    });
  }

  /** On paper nothing can be unfolded: what is folded is opened while it is printed. */
  buildPrint() {
    let opened = [];
    window.addEventListener("beforeprint", () => {
      opened = [...document.querySelectorAll("details:not([open], #keys)")];
      for (const one of opened) one.open = true;
      this.showEvents();
    });
    window.addEventListener("afterprint", () => {
      for (const one of opened) one.open = false;
    });
  }

  /** Change an input; `tap`: press and let go. */
  work(name, tap = false) {
    const level = this.collected?.[name] ?? this.player.level(name);
    const sensing = this.model.parts.filter((part) => part.input === name);
    if (sensing.length) this.stage.bring(sensing[0]);
    const refusal = level === this.player.level(name)
      ? this.player.refusal(name, this.collected ?? named())
      : "";
    if (refusal) {
      this.tell(`Not done; ${refusal}.`);
      return;
    }
    if (this.collected) {
      if (name in this.collected) delete this.collected[name];
      else this.collected[name] = !level;
      this.refresh(true);
    } else if (tap && !level) {
      this.endPlay();
      this.player.tap(name);
      this.refresh(true);
    } else this.act({ [name]: !level });
  }

  act(changes) {
    this.endPlay();
    this.player.act(changes);
    this.refresh(true);
  }

  // goals and defects

  buildGoals() {
    this.lights = this.model.goals.map((goal) => {
      const mark = element("span", { class: "mark", "aria-hidden": "true" });
      const standing = element("span", { class: "standing" });
      const why = element("p", { class: "why" });
      const head = element("div", { class: "goal" }, mark, element("span", { class: "phrase" }, `${goal.number}. ${goal.phrase}`), standing);
      const item = element("li", { value: String(goal.number) }, head, why);
      byId("lights").append(item);
      return { item, mark, standing, why };
    });
  }

  buildDefects() {
    byId("wrong").hidden = !this.model.defects.length;
    this.model.defects.forEach((defect, i) => {
      const item = element("li", {}, element("p", {}, defect.message));
      if (defect.orders.length) {
        item.append(element("ul", {}, ...defect.orders.map((order) => element("li", {}, order))));
      }
      if (defect.moments) {
        const button = element("button", { type: "button" }, "Play it");
        button.setAttribute("aria-label", `Play it: what goes wrong, number ${i + 1}`);
        button.addEventListener("click", () => this.play(i, true));
        item.append(button);
      }
      byId("defects").append(item);
    });
  }

  play(number, moving) {
    const defect = this.model.defects[number];
    this.player.loadDefect(defect, number);
    const last = defect.moments[defect.moments.length - 1];
    this.playing = { end: last.time, message: defect.message };
    [...byId("defects").children].forEach((item, i) => item.classList.toggle("playing", i === number));
    this.refresh(true);
    if (moving) this.setRunning(true);
  }

  endPlay() {
    this.playing = null;
    for (const item of byId("defects").children) item.classList.remove("playing");
  }

  // the diagram

  buildDiagram() {
    for (const { group, part } of this.diagram.parts) {
      const choose = () => {
        this.choose(part);
        this.tell(`${part.name}: ${purpose(part, this.player.tick)}`);
        this.handle.show(part);
      };
      group.addEventListener("click", choose);
      group.addEventListener("keydown", (event) => {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        choose();
      });
    }
    this.handle = new Handle(this.stage, this.player, (part) => this.work(part.input, part.type === "push-button"));
    byId("fit").addEventListener("click", () => this.stage.fit());
    byId("smaller").addEventListener("click", () => this.stage.zoom(1 / 1.2));
    byId("larger").addEventListener("click", () => this.stage.zoom(1.2));
  }

  buildKeys() {
    const speed = byId("speed");
    const faster = (by) => {
      speed.selectedIndex = Math.max(0, Math.min(speed.options.length - 1, speed.selectedIndex + by));
      this.refresh();
      this.tell(`Speed: ${speed.options[speed.selectedIndex].textContent}.`);
    };
    const run = () => this.setRunning(!this.running);
    const help = () => {
      byId("keys").open = true;
      byId("keys").scrollIntoView();
      byId("keys").querySelector("summary").focus();
    };
    const works = {
      " ": run, r: run, n: () => this.stepOn(), b: () => this.stepBack(), u: () => this.undo(),
      s: () => this.tour(), l: () => this.giveLink(), "+": () => faster(1), "-": () => faster(-1), "?": help,
    };
    this.levers.slice(0, LEVER_KEYS).forEach(({ input }, i) => {
      works[leverKey(i)] = () => this.work(input.name, input.kind === "push-button");
    });
    buildKeys(works, () => byId("keys-on").checked);
  }

  choose(part) {
    this.chosen = part;
    for (const { group, part: other } of this.diagram.parts) {
      group.classList.toggle("chosen", other === part);
    }
    this.describe();
  }

  describe() {
    const part = this.chosen;
    if (part === null) return;
    const { player } = this;
    const { circuit } = player.engine;
    const carried = circuit.amounts(player.now.nets);
    const about = byId("about");
    const kind = part.kit === part.name ? part.designation : [part.designation, part.kit].filter(Boolean).join(" ");
    const wires = circuit.wires.filter((wire) => wire.from[0] === part.name || wire.to[0] === part.name);
    const list = element("ul", {}, ...wires.map((wire) => {
      const out = wire.from[0] === part.name;
      const here = out ? wire.from[1] : wire.to[1];
      const amount = carried.get(wire.from.join(":")) ?? 0;
      const there = out ? `to ${wire.to.join(":")}` : `from ${wire.from.join(":")}`;
      return element("li", {}, `${here}: wire ${wire.number} ${there}, ${amount ? `live, ${units(amount)}` : "dead"}`);
    }));
    const goals = this.model.goals.filter((goal) => part.goals.includes(goal.number));
    const rows = [
      element("p", {}, element("strong", {}, part.name), ` ${kind}`),
      element("p", {}, purpose(part, player.tick)),
      element("p", { class: "now" }, `Now: ${stateInWords(part, player)}.`),
    ];
    if (part.settings.length) rows.push(element("p", {}, `Set: ${part.settings.join("; ")}.`));
    if (goals.length) {
      rows.push(element("p", {}, `It acts on ${part.loads.join(", ")}, and so serves:`));
      rows.push(element("ul", {}, ...goals.map((goal) => element("li", {}, `${goal.number}. ${goal.phrase}`))));
    } else rows.push(element("p", {}, "It acts on no load that a goal speaks of."));
    if (part.why.length) {
      rows.push(element("p", {}, "Without it:"));
      rows.push(element("ul", {}, ...part.why.map((line) => element("li", {}, line))));
    }
    if (this.model.standing !== "holds" && part.type !== "load") {
      rows.push(element("p", { class: "hint" }, "What happens without it is told where a design holds."));
    }
    rows.push(element("p", {}, "Its wires:"), list);
    about.replaceChildren(...rows);
  }

  // keeping what is shown true

  tell(text) {
    this.toldAt = performance.now();
    byId("told").textContent = text;
  }

  /** Show the present moment; `said`: also say in words what happened just now. */
  refresh(said = false) {
    const { player } = this;
    const { now, tick } = player;
    const fresh = now !== this.drawn.now;
    byId("clock").textContent = this.running && !this.playing
      ? onClock(Math.floor(player.time / tick / 1000) * 1000)
      : onClock(Math.floor(player.time / tick));
    if (fresh) {
      this.diagram.settle();
      this.describe();
      this.handle.settle();
    } else this.diagram.pass();
    const at = performance.now();
    const slow = said || !this.running || at - this.drawn.slow > 150;
    if (slow) {
      this.drawn.slow = at;
      this.showLevers();
      this.showGoals();
      this.drawChart();
      const moment = byId("moment");
      moment.min = String(player.record[0].now.time);
      moment.max = String(Math.max(1, player.recorded));
      moment.value = String(player.time);
      moment.setAttribute("aria-valuetext", onClock(Math.floor(player.time / tick)));
      if (byId("events").parentElement.open) this.showEvents();
    }
    byId("undo").setAttribute("aria-disabled", String(!player.undone.length));
    const aside = this.diagram.aside();
    byId("aside").textContent = aside.length
      ? `Held still in this run, since not all of them settle: ${aside.join(", ")}. What goes wrong does not depend on them.`
      : "";
    // While time runs, events are told too, as long as one can follow them.
    const pace = this.playing ? "events" : byId("speed").value;
    this.untold ||= fresh && this.running;
    const followed = this.untold && this.running && at - this.toldAt > TOLD_PACE
      && (pace === "events" || Number(pace) <= FASTEST_TOLD);
    if (said || followed || (fresh && now.chatter.length)) {
      this.untold = false;
      const before = player.index ? player.record[player.index - 1].now : null;
      const text = eventInWords(player, before, now);
      this.tell(now.chatter.length ? `${text}. Time stands still: go back, or start again.` : text);
    }
    this.drawn.now = now;
  }

  showLevers() {
    for (const { input, hold, state, known } of this.levers) {
      const level = this.player.level(input.name);
      const chosen = this.collected && input.name in this.collected;
      hold.setAttribute("aria-checked", String(level));
      hold.classList.toggle("chosen", Boolean(chosen));
      const words = levelInWords(input, level);
      state.textContent = chosen ? `${words} → ${levelInWords(input, !level)}` : words;
      hold.setAttribute("aria-disabled", String(input.steady !== null));
      known.textContent = input.steady === null ? "" : "always so";
    }
  }

  showGoals() {
    goalsNow(this.player).forEach(({ status, why }, i) => {
      const light = this.lights[i];
      if (light.item.className !== status) light.item.className = status;
      light.mark.textContent = MARKS[status];
      light.standing.textContent = status;
      if (light.why.textContent !== why) light.why.textContent = why;
    });
  }

  showEvents() {
    const { record, index } = this.player;
    const items = [];
    for (let i = index; i >= 0 && items.length < 12; i -= 1) {
      items.push(element("li", {}, eventInWords(this.player, i ? record[i - 1].now : null, record[i].now)));
    }
    byId("events").replaceChildren(...items);
  }

  drawChart() {
    const { player } = this;
    const { tick } = player;
    const chosen = Number(byId("span").value);
    const first = player.record[0].now.time;
    const speed = Number(byId("speed").value) || 10;
    if (chosen < 0 || this.playing) {
      const end = Math.max(player.recorded, this.playing ? this.playing.end : 0, first + 2000 * tick);
      this.chart.draw(first, first + Math.ceil((end - first) * 1.04) + tick);
      return;
    }
    const span = (chosen || Math.max(120000, 60000 * speed)) * tick;
    const start = Math.max(first, player.time - span * 0.85);
    this.chart.draw(start, start + span);
  }
}

globalThis.circuitPage = { Engine, Player, goalsNow };
const page = new Page(JSON.parse(byId("data").textContent));
globalThis.circuitPage.page = page;
byId("events").parentElement.addEventListener("toggle", () => page.showEvents());
