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
const LEAST_SCALE = 0.62;

/** The whole page. */
class Page {
  constructor(model) {
    this.model = model;
    this.player = new Player(new Engine(model));
    this.diagram = new Diagram(this.player, byId("drawing"));
    this.chart = new Chart(this.player, byId("roll"));
    this.running = false;
    this.playing = null;
    this.chosen = null;
    this.collected = null;
    this.last = 0;
    this.carry = 0;
    this.drawn = { now: null, slow: 0 };
    this.scale = null;
    this.buildTime();
    this.buildLevers();
    this.buildGoals();
    this.buildDefects();
    this.buildDiagram();
    this.chart.inner = this.chart.tracks.length <= 8;
    byId("inner").checked = this.chart.inner;
    this.fit();
    this.refresh(true);
    new ResizeObserver(() => {
      if (this.scale === null) this.fit();
      this.drawChart();
    }).observe(byId("stage"));
    const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    const playable = model.defects.findIndex((defect) => defect.moments);
    if (playable >= 0) this.play(playable, !calm);
    else if (!calm) this.setRunning(true);
  }

  // time

  buildTime() {
    byId("again").addEventListener("click", () => this.startAgain());
    byId("back").addEventListener("click", () => this.stepBack());
    byId("next").addEventListener("click", () => this.stepOn());
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
    this.chart.svg.addEventListener("click", (event) => {
      const time = this.chart.momentAt(event.clientX);
      if (time === null) return;
      this.setRunning(false);
      this.player.goTo(time);
      this.refresh(true);
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
        if (player.time >= end || player.nextTime() > end || !player.step()) this.finish();
        else if (this.playing && player.time >= end) this.finish();
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

  finish() {
    const { playing } = this;
    if (playing) playing.done = true;
    this.setRunning(false);
    this.refresh(true);
    if (playing) this.tell(`${onClock(this.player.time / this.player.tick)}: ${playing.message}`);
  }

  // what people and the world do

  buildLevers() {
    const list = byId("levers");
    this.levers = this.model.inputs.map((input) => {
      const state = element("span", { class: "state" });
      const known = element("span", { class: "known" });
      const hold = element(
        "button", { type: "button", role: "switch", "aria-checked": "false" },
        element("span", { class: "name" }, input.name), " ", state,
      );
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
      this.collected = byId("together").checked ? {} : null;
      byId("do").hidden = this.collected === null;
      this.refresh(true);
    });
    byId("do").addEventListener("click", () => {
      const changes = this.collected ?? {};
      this.collected = byId("together").checked ? {} : null;
      if (Object.keys(changes).length) this.act(changes);
      else this.tell("Nothing was chosen to change.");
    });
  }

  /** Change an input; `tap`: press and let go. */
  work(name, tap = false) {
    const level = this.collected?.[name] ?? this.player.level(name);
    const refusal = level === this.player.level(name)
      ? this.player.refusal(name, this.collected ?? {})
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
        button.setAttribute("aria-label", `Play what goes wrong, number ${i + 1}`);
        button.addEventListener("click", () => this.play(i, true));
        item.append(button);
      }
      byId("defects").append(item);
    });
  }

  play(number, moving) {
    const defect = this.model.defects[number];
    this.player.load(defect.moments);
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
        if (part.input !== null) this.work(part.input, part.type === "push-button");
      };
      group.addEventListener("click", choose);
      group.addEventListener("keydown", (event) => {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        choose();
      });
    }
    byId("fit").addEventListener("click", () => {
      this.scale = null;
      this.fit();
    });
    byId("smaller").addEventListener("click", () => this.zoom(1 / 1.2));
    byId("larger").addEventListener("click", () => this.zoom(1.2));
  }

  /** As large as fits; not smaller than can be read, then it scrolls, from the supply on. */
  fit() {
    const stage = byId("stage");
    const { width, height } = this.diagram.natural;
    const fitting = Math.min((stage.clientWidth - 4) / width, (stage.clientHeight - 4) / height);
    const wide = window.matchMedia("(min-width: 861px)").matches;
    this.shown = Math.min(1.2, Math.max(LEAST_SCALE, wide ? fitting : 0.7));
    this.diagram.size(this.shown);
    const supply = this.diagram.parts.find(({ part }) => part.type === "supply");
    if (!supply) return;
    const [at, frame] = [supply.group.getBoundingClientRect(), stage.getBoundingClientRect()];
    stage.scrollLeft += at.left - frame.left - 20;
    stage.scrollTop += at.top - frame.top - (stage.clientHeight - at.height) / 2;
  }

  zoom(factor) {
    this.scale = Math.min(3, Math.max(0.2, this.shown * factor));
    this.shown = this.scale;
    this.diagram.size(this.scale);
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
    rows.push(element("p", {}, "Its wires:"), list);
    about.replaceChildren(...rows);
  }

  // keeping what is shown true

  tell(text) {
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
    if (said || (fresh && now.chatter.length)) {
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
      const end = Math.max(player.recorded, this.playing ? this.playing.end : 0, first + tick);
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
