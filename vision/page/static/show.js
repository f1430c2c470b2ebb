// An answer as it is shown: years first, then what to look at, the photo, and why.
import { picture, unread } from "./picture.js";
import { make, say } from "./words.js";

const SIGNS = { for: "▲", against: "▼", neutral: "●", changes_nothing: "○" };

function section(word, ...children) {
  return make("section", {}, make("h2", {}, say(word)), ...children);
}

function list(texts, className = "told") {
  return make("ul", { className }, ...texts.map((text) => make("li", {}, text)));
}

// A percentage is never parted from its figure by the end of a line.
const joined = (text) => text.replace(/ %/g, "\u00a0%");

export function brief(shown) {
  return [`${shown.years}: ${joined(shown.sure)}`, shown.under].filter(Boolean).join("; ");
}

function plate(shown) {
  const figures = /^[\d–\s]+$/.test(shown.years) ? "years" : "years words";
  return make("div", { className: "plate", tabIndex: -1 },
    make("p", { className: figures }, shown.years), make("p", { className: "sure" }, joined(shown.sure)),
    shown.guide ? make("p", { className: "by" }, shown.guide) : null,
    shown.under ? make("p", { className: "under" }, shown.under) : null);
}

function candidates(shown) {
  const rows = shown.candidates.filter((one) => one.p >= 0.005).map((one) => {
    const meter = make("meter", { min: 0, max: 1, value: one.p, "aria-label": one.words });
    return make("li", {}, make("span", {}, one.words), meter, make("b", {}, one.percent));
  });
  return section(shown.as_one ? "candidates_as_one" : "candidates", make("ul", { className: "candidates" }, ...rows));
}

// A cab number that the guide does not list is worth as much as one that it does.
function asked(choice, act) {
  const words = say(choice.word);
  const field = make("input", { type: "text", "aria-label": words, placeholder: words, maxLength: 8, pattern: "[0-9A-Za-z]+",
    required: true, autocomplete: "off", inputMode: "text", "data-key": `ask ${choice.ask}` });
  const submit = (event) => {
    event.preventDefault();
    act.say(choice.ask, field.value.trim());
  };
  return make("form", { className: "asked", on: { submit } }, field, make("button", { type: "submit" }, say("enter_value")));
}

// One of a cue's answers; `where` keeps the same answer in two places apart.
function answers(where, choices, said, act) {
  return choices.map((choice) => {
    if (choice.ask) return asked(choice, act);
    const [name, value] = choice.saw.split("=");
    const words = choice.word ? say(choice.word) : choice.text;
    return make("button", { type: "button", "aria-pressed": String(said[name] === value), "data-key": `${where} ${choice.saw}`,
      on: { click: () => act.say(name, value) } }, words);
  });
}

function look(one, item, act) {
  const head = make("div", { className: "head" }, make("h3", {}, one.words),
    make("span", { className: "tag" }, say(one.hands_on ? "hands_on" : "by_photo")));
  const cannot = make("button", { type: "button", "aria-pressed": String(item.skip.includes(one.name)),
    "data-key": `look ${one.name}=`, on: { click: () => act.skip(one.name) } }, say("cannot_tell"));
  const group = make("div", { className: "row", role: "group", "aria-label": `${say("i_looked")} ${one.words}` },
    ...answers("look", one.choices, item.said, act), cannot);
  const card = make("li", { className: "card look" }, head, make("p", {}, one.instruction));
  if (one.caution) card.append(make("p", { className: "mind" }, `${say("mind")} ${one.caution}`));
  card.append(group);
  return card;
}

// What was looked at in vain changes nothing and can be taken up again.
function skipped(shown, act) {
  const rows = shown.skipped.map((one) => make("li", {}, make("span", {}, `${say("could_not_tell")} ${one.words}`),
    make("button", { type: "button", "data-key": `skipped ${one.name}`, on: { click: () => act.unskip(one.name) } }, say("ask_again"))));
  return rows.length ? make("ul", { className: "skipped" }, ...rows) : null;
}

function looks(item, act) {
  const { shown } = item;
  const [first, ...more] = shown.looks.map((one) => look(one, item, act));
  const next = first ? make("ul", {}, first) : make("p", {}, say(shown.as_one ? "looks_several" : "looks_none"));
  const others = more.length
    ? make("details", { className: "more", "data-key": "more looks" }, make("summary", { "data-key": "more" },
      say("looks_more", { count: more.length })), make("ul", {}, ...more)) : null;
  const cautions = shown.cautions.length
    ? make("div", { className: "cautions" }, make("h3", {}, say("before_touching")), list(shown.cautions)) : null;
  return section("looks", next, skipped(shown, act), others, cautions);
}

function correction(cue, item, act) {
  const unseen = cue.state === "unseen";
  const choices = cue.choices.map((one) => (unseen && one.word === "cannot_tell" ? { ...one, word: "cannot_tell_either" } : one));
  const group = make("div", { className: "row", role: "group", "aria-label": `${cue.words}: ${say("correct_it")}` },
    ...answers("why", choices, item.said, act));
  return make("details", { "data-key": `details ${cue.name}` },
    make("summary", { "data-key": `correct ${cue.name}` }, say(unseen ? "i_looked_too" : "correct")), group);
}

// One part: what the photo shows of it, or what a person says, with the photo's own reading
// put aside. Only what is marked on a photo has a number there.
function reason(cue, { number, aside }, item, act) {
  const mine = cue.source === "person";
  const sure = mine ? say("you_say") : cue.sure;
  const head = make("div", { className: "head" },
    number ? make("span", { className: "badge", "aria-hidden": "true" }, String(number)) : null,
    make("span", {}, `${cue.words}: ${cue.reading}`), sure ? make("span", { className: "tag" }, sure) : null,
    make("span", { className: "speaks" }, `${SIGNS[cue.speaks]} ${say(cue.speaks)}`));
  const told = [...cue.told, ...(aside ? [say("put_aside", { reading: [aside.reading, aside.sure].filter(Boolean).join(", ") })] : [])];
  const entry = make("li", { "data-cue": cue.name, "data-source": cue.source, "data-group": `cue ${cue.name}` }, head, list(told));
  if (mine) {
    entry.append(make("div", { className: "row" }, make("button", { type: "button", "data-key": `back ${cue.name}`,
      on: { click: () => act.unsay(cue.name) } }, say("take_back"))));
  } else if (cue.choices.length) {
    entry.append(correction(cue, item, act));
  }
  return entry;
}

function why(item, act) {
  const { cues } = item.shown;
  const mine = new Map(cues.filter((cue) => cue.source === "person").map((cue) => [cue.name, cue]));
  const rows = [];
  cues.forEach((cue, index) => {
    if (cue.source === "person") return;
    const said = mine.get(cue.name);
    mine.delete(cue.name);
    rows.push(said ? reason(said, { number: index + 1, aside: cue }, item, act) : reason(cue, { number: index + 1 }, item, act));
  });
  const checks = [...mine.values()].map((cue) => reason(cue, {}, item, act));
  return section("why", make("ol", { className: "why" }, ...checks, ...rows));
}

function photos(item, act) {
  const figures = item.seen.map((photo, index) => picture(item, index, () => act.remove(photo)));
  const legend = make("p", { className: "quiet" }, `${say("mark_legend")} ${say("mark_numbers")}`);
  const key = item.shown.cues.map((cue, index) => cue.source === "person" ? null : make("li", {},
    make("span", { className: "badge" }, String(index + 1)), `${cue.words}: ${cue.reading}`));
  return make("section", { "aria-label": say("photos_marked") }, ...figures,
    ...(key.length ? [make("ul", { className: "legend" }, ...key), legend] : []));
}

function end(item, act) {
  const note = make("textarea", { id: "note", rows: 2, value: item.note, placeholder: say("note_hint"), "data-key": "note",
    on: { input: (event) => act.write(event.target.value), change: act.note } });
  const button = (word, click) => make("button", { type: "button", "data-key": word, on: { click } }, say(word));
  const kept = item.kept
    ? make("p", { className: "card" }, say(item.kept.tagged ? "saved" : "saved_untagged", { place: item.kept.kept })) : null;
  const row = make("div", { className: "row" }, item.shown && act.keep && !item.kept ? button("save", act.keep) : null,
    item.shown ? button("share", act.share) : null, button("throw_away", act.throwAway));
  return make("section", {}, make("h2", {}, make("label", { htmlFor: "note" }, say("note"))), note, kept, row);
}

export function show(item, act) {
  const { shown } = item;
  // No answer yet: the photos, so that one sees whether they are any good.
  if (!shown) return make("div", {}, ...item.photos.map(unread), end(item, act));
  const told = [];
  if (shown.found) {
    told.push(make("div", {}, looks(item, act), candidates(shown)));
    const other = make("div", {}, photos(item, act), why(item, act));
    if (shown.conflicts.length) other.append(section("conflicts", list(shown.conflicts)));
    told.push(other);
  } else {
    told.push(photos(item, act));
  }
  if (shown.notes.length) told.push(section("notes", list(shown.notes)));
  return make("div", {}, plate(shown), make("div", { className: "whole-answer" }, ...told), end(item, act));
}

export function card(item, number, current, open) {
  const years = item.shown ? item.shown.years : say("waiting_answer");
  const more = [say("photos_count", { count: item.photos.length }), item.note].filter(Boolean).join(" · ");
  return make("li", {}, make("button", { type: "button", "aria-current": String(current), on: { click: open } },
    make("span", {}, make("strong", {}, years), make("span", { className: "note" }, more)),
    make("span", { className: "quiet" }, say("engine", { number }))));
}
