// Keys that work wherever the focus is, for those who want them; they can be turned off.

const LEVER_KEYS = 20;

/** The key of an input, by its place from 0: 1 to 9 and 0, then the same with Shift. */
function leverKey(i) {
  return `${i < 10 ? "" : "Shift+"}${(i + 1) % 10}`;
}

/** Join single keys to what they do. `works` is an object of functions by key. */
function buildKeys(works, isOn) {
  document.addEventListener("keydown", (event) => {
    const { key, target } = event;
    const typing = target.matches("select, input:not([type=checkbox]), textarea");
    if (event.defaultPrevented || event.isComposing || typing || !isOn()) return;
    const undo = (event.ctrlKey || event.metaKey) && key.toLowerCase() === "z" && !event.shiftKey;
    if (!undo && (event.ctrlKey || event.metaKey || event.altKey)) return;
    if (key === " " && target.closest("button, summary, input, [role=button]")) return;
    // With Shift a digit's key gives another sign: which one depends on the keyboard.
    const digit = event.shiftKey && /^Digit\d$/.test(event.code) && !/^\d$/.test(key);
    const name = undo ? "u" : digit && Object.hasOwn(works, `Shift+${event.code[5]}`)
      ? `Shift+${event.code[5]}` : key.length === 1 ? key.toLowerCase() : key;
    if (!Object.hasOwn(works, name)) return;
    if (event.repeat && !["b", "n"].includes(name)) return;
    event.preventDefault();
    works[name]();
  });
}
