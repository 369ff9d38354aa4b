// Choosing a part only reads it; what can be worked gets a button beside it that works it.

const BESIDE = 4;

/** The button beside a chosen switch, button or sensor. */
class Handle {
  constructor(stage, player, work) {
    this.stage = stage;
    this.player = player;
    this.part = null;
    this.button = byId("handle");
    this.button.addEventListener("click", () => work(this.part));
    stage.whenShown = () => this.place();
  }

  /** Stand beside `part`, if it is one that can be worked. */
  show(part) {
    const input = this.player.model.inputs.find(({ name }) => name === part.input);
    this.part = input && input.steady === null ? part : null;
    this.input = input;
    this.button.hidden = this.part === null;
    this.settle();
    this.place();
    if (this.part) this.button.scrollIntoView({ block: "nearest", inline: "nearest" });
  }

  /** Say what working it does now. */
  settle() {
    if (!this.part) return;
    const words = handInWords(this.input, this.player.level(this.input.name));
    this.button.textContent = words;
    this.button.setAttribute("aria-label", `${words}: ${this.part.name}`);
  }

  /** Below the part; above it where the diagram ends. */
  place() {
    if (!this.part) return;
    const { frame, diagram } = this.stage;
    const { group } = diagram.parts.find(({ part }) => part === this.part);
    const [at, all, home] = [group.querySelector("rect"), diagram.svg, frame].map((one) => one.getBoundingClientRect());
    const high = this.button.offsetHeight;
    const low = at.bottom + BESIDE + high > all.bottom ? at.top - BESIDE - high : at.bottom + BESIDE;
    const left = at.left + (at.width - this.button.offsetWidth) / 2;
    const most = Math.max(all.right, home.left + frame.clientWidth) - this.button.offsetWidth;
    this.button.style.left = `${Math.max(all.left, Math.min(left, most)) - home.left + frame.scrollLeft - frame.clientLeft}px`;
    this.button.style.top = `${low - home.top + frame.scrollTop - frame.clientTop}px`;
  }
}
