// Keys that work wherever the focus is, for those who want them; they can be turned off.

/** Join single keys to what they do. `works` is an object of functions by key. */
function buildKeys(works, isOn) {
  document.addEventListener("keydown", (event) => {
    const { key, target } = event;
    const typing = target.matches("select, input:not([type=checkbox]), textarea");
    if (event.defaultPrevented || event.isComposing || typing || !isOn()) return;
    const undo = (event.ctrlKey || event.metaKey) && key.toLowerCase() === "z" && !event.shiftKey;
    if (!undo && (event.ctrlKey || event.metaKey || event.altKey)) return;
    if (key === " " && target.closest("button, summary, input, [role=button]")) return;
    const name = undo ? "u" : key.length === 1 ? key.toLowerCase() : key;
    if (!Object.hasOwn(works, name)) return;
    if (event.repeat && !["b", "n"].includes(name)) return;
    event.preventDefault();
    works[name]();
  });
}
