// A run as the end of an address, so that a moment can be handed to somebody who has the page too.
//
// at=TIME&do=MOMENT;MOMENT;... where TIME is in milliseconds (or a fraction, 1/3), and MOMENT is
// TIME:CHANGE,CHANGE,... and CHANGE is + or - and the name of an input. A run of the check that
// goes wrong is wrong=NUMBER instead of do=. A link is a stranger's text: it is read strictly, and
// what it asks for is done only where it agrees with what is known of the inputs.

const MOST_MOMENTS = 400;

/** The present moment of a run as text for a link; throws an Error that says why there is none. */
function linkTo(player) {
  const { record, index, given, model, tick } = player;
  const time = (at) => (at % tick ? `${at}/${tick}` : String(at / tick));
  const at = `at=${time(player.time)}`;
  if (given && !given.left) return `${at}&wrong=${given.number + 1}`;
  if (given) throw new Error("this run began with what goes wrong and was changed since");
  if (player.forgotten) throw new Error("the beginning of this run is no longer kept");
  const moments = [];
  let before = model.inputs.map(() => false);
  for (const { now } of record.slice(0, index + 1)) {
    const changes = model.inputs.flatMap(({ name }, i) => (
      now.levels[i] === before[i] ? [] : `${now.levels[i] ? "+" : "-"}${encodeURIComponent(name)}`
    ));
    if (changes.length) moments.push(`${time(now.time)}:${changes.join(",")}`);
    before = now.levels;
  }
  if (moments.length > MOST_MOMENTS) throw new Error(`a link holds at most ${MOST_MOMENTS} changes`);
  return `${at}&do=${moments.join(";")}`;
}

/** What a link asks for: {at, moments} or {at, wrong}; null when it is none; throws when it is bad. */
function readLink(text, model) {
  if (!/^(at|do|wrong)=/.test(text)) return null;
  const bad = (why) => new Error(`this link cannot be read: ${why}`);
  const fields = new Map(text.split("&").map((field) => field.split("=", 2)));
  const time = (words = "") => {
    const [, count, parts] = /^(\d{1,15})(?:\/([1-9]\d{0,8}))?$/.exec(words) ?? [];
    const at = (Number(count) * model.fine) / Number(parts ?? 1);
    if (!Number.isSafeInteger(at)) throw bad(`'${words}' is no moment`);
    return at;
  };
  const at = time(fields.get("at"));
  if (fields.has("wrong")) {
    const wrong = Number(fields.get("wrong")) - 1;
    if (!model.defects[wrong]?.moments) throw bad("there is no such run on this page");
    return { at, wrong };
  }
  const pieces = (fields.get("do") ?? "").split(";").filter(Boolean);
  if (pieces.length > MOST_MOMENTS) throw bad("it is too long");
  const known = new Set(model.inputs.map(({ name }) => name));
  const moments = pieces.map((piece) => {
    const [when, changes, more] = piece.split(":");
    if (changes === undefined || more !== undefined) throw bad(`'${piece}' is no change`);
    const inputs = named();
    for (const change of changes.split(",")) {
      if (!/^[+-]/.test(change)) throw bad(`'${change}' is no change`);
      let name = null;
      try {
        name = decodeURIComponent(change.slice(1));
      } catch {
        throw bad(`'${change}' is no change`);
      }
      if (!known.has(name)) throw bad(`'${name}' is no input of this page`);
      inputs[name] = change[0] === "+";
    }
    return { time: time(when), inputs, order: [], chatter: [] };
  });
  moments.forEach((moment, i) => {
    if (i && moment.time <= moments[i - 1].time) throw bad("its moments are not in order");
  });
  return { at, moments };
}

if (typeof module !== "undefined") Object.assign(module.exports, { linkTo, readLink });
