// Where the diagram stands: its size, what of it is in sight, and the way through it by keys.

const LEAST_SCALE = 0.62;
const LEAST_ON_A_PHONE = 0.7;
const MOST_SCALE = 3;
const DRAGGED = 5;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/** The frame in which the diagram is seen. */
class Stage {
  constructor(diagram, frame) {
    this.diagram = diagram;
    this.frame = frame;
    this.scale = null;
    this.shown = 1;
    // At first all of it is in sight, where there is a window to fit it into; on a phone it could
    // not be read.
    this.fitted = Stage.wide;
    this.buildDrag();
    this.buildWay();
    frame.addEventListener("wheel", (event) => {
      if (!event.ctrlKey) return;
      event.preventDefault();
      this.zoom(Math.exp(-Math.max(-50, Math.min(50, event.deltaY)) / 150), event);
    }, { passive: false });
    this.settle();
  }

  /** The scale at which all of it is in sight. */
  get whole() {
    const { width, height } = this.diagram.natural;
    return Math.min((this.frame.clientWidth - 4) / width, (this.frame.clientHeight - 4) / height);
  }

  /** Whether the window is no phone's. */
  static get wide() {
    return window.matchMedia("(min-width: 861px)").matches;
  }

  /** All of it where it is to be fitted; else as large as fits, but not smaller than can be read:
   * then it scrolls, from the supply on. */
  settle() {
    if (this.fitted) {
      this.show(Math.min(1.2, this.whole));
      return;
    }
    if (this.scale !== null) return;
    this.show(Math.min(1.2, Math.max(LEAST_SCALE, Stage.wide ? this.whole : LEAST_ON_A_PHONE)));
    const supply = this.diagram.parts.find(({ part }) => part.type === "supply");
    if (!supply) return;
    const [at, frame] = [supply.group.getBoundingClientRect(), this.frame.getBoundingClientRect()];
    this.frame.scrollLeft += at.left - frame.left - 20;
    this.frame.scrollTop += at.top - frame.top - (this.frame.clientHeight - at.height) / 2;
  }

  /** All of it, however small; and back to a size that can be read. */
  fit() {
    this.fitted = !this.fitted;
    this.scale = null;
    this.settle();
  }

  show(scale) {
    this.shown = scale;
    this.diagram.size(scale);
    this.whenShown?.();
  }

  /** Make it `factor` times as large, about a point of the screen or the middle. */
  zoom(factor, at = null) {
    const box = this.frame.getBoundingClientRect();
    const [x, y] = at ? [at.clientX - box.left, at.clientY - box.top] : [box.width / 2, box.height / 2];
    const before = this.shown;
    this.fitted = false;
    this.scale = Math.min(MOST_SCALE, Math.max(Math.min(0.2, this.whole), before * factor));
    this.show(this.scale);
    const grown = this.scale / before;
    this.frame.scrollLeft = (this.frame.scrollLeft + x) * grown - x;
    this.frame.scrollTop = (this.frame.scrollTop + y) * grown - y;
  }

  /** Bring a part into sight, where it is not. */
  bring(part) {
    const { group } = this.diagram.parts.find((one) => one.part === part);
    const [at, frame] = [group.getBoundingClientRect(), this.frame.getBoundingClientRect()];
    const off = (from, to, low, high) => (from < low || to > high ? (from + to - low - high) / 2 : 0);
    const [left, top] = [
      off(at.left, at.right, frame.left, frame.right), off(at.top, at.bottom, frame.top, frame.bottom),
    ];
    const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    if (left || top) this.frame.scrollBy({ left, top, behavior: calm ? "auto" : "smooth" });
  }

  /** A mouse may drag it; fingers scroll it anyway. A drag is no click on a part. */
  buildDrag() {
    let from = null;
    let dragged = false;
    this.frame.addEventListener("pointerdown", (event) => {
      dragged = false;
      if (event.pointerType !== "mouse" || event.button) return;
      from = { x: event.clientX, y: event.clientY, left: this.frame.scrollLeft, top: this.frame.scrollTop };
    });
    window.addEventListener("pointermove", (event) => {
      if (!from) return;
      const [x, y] = [event.clientX - from.x, event.clientY - from.y];
      dragged ||= Math.hypot(x, y) > DRAGGED;
      if (!dragged) return;
      this.frame.scrollLeft = from.left - x;
      this.frame.scrollTop = from.top - y;
    });
    window.addEventListener("pointerup", () => { from = null; });
    this.frame.addEventListener("click", (event) => {
      if (dragged) event.stopPropagation();
      dragged = false;
    }, true);
  }

  /** Tab comes to one part; arrows go from there to the next part in their direction. */
  buildWay() {
    const groups = this.diagram.parts.map(({ group }) => group);
    const enter = (group) => groups.forEach((one) => one.setAttribute("tabindex", one === group ? "0" : "-1"));
    if (groups.length) enter(groups[0]);
    const middle = (group) => {
      const box = group.querySelector("rect").getBBox();
      return [box.x + box.width / 2, box.y + box.height / 2];
    };
    for (const group of groups) {
      group.addEventListener("focus", () => enter(group));
      group.addEventListener("keydown", (event) => {
        const way = ARROWS[event.key];
        if (!way || event.altKey || event.ctrlKey || event.metaKey) return;
        event.preventDefault();
        event.stopPropagation();
        const [x, y] = middle(group);
        let [nearest, least] = [null, Infinity];
        for (const other of groups) {
          const [dx, dy] = [middle(other)[0] - x, middle(other)[1] - y];
          const [ahead, aside] = [dx * way[0] + dy * way[1], Math.abs(dx * way[1] + dy * way[0])];
          if (ahead > 1 && ahead + 3 * aside < least) [nearest, least] = [other, ahead + 3 * aside];
        }
        if (nearest) nearest.focus();
      });
    }
  }
}
