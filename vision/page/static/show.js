// An answer as it is shown: years first, then what to look at, the photo, and why.
import { picture } from "./picture.js";
import { make, say } from "./words.js";

const SIGNS = { for: "▲", against: "▼", neutral: "●", changes_nothing: "○" };

function section(word, ...children) {
  return make("section", {}, make("h2", {}, say(word)), ...children);
}

function list(texts, className = "told") {
  return make("ul", { className }, ...texts.map((text) => make("li", {}, text)));
}

export function plate(shown) {
  const figures = /^[\d–\s]+$/.test(shown.years) ? "years" : "years words";
  return make("div", { className: "plate" },
    make("p", { className: figures }, shown.years), make("p", { className: "sure" }, shown.sure.replace(/ %/g, "\u00a0%")));
}

function candidates(shown) {
  const rows = shown.candidates.filter((one) => one.p >= 0.005).map((one) => {
    const meter = make("meter", { min: 0, max: 1, value: one.p, "aria-label": one.words });
    return make("li", {}, make("span", {}, one.words), meter, make("b", {}, one.percent));
  });
  return section("candidates", make("ul", { className: "candidates" }, ...rows));
}

// A cab number that the guide does not list is worth as much as one that it does.
function asked(choice, act) {
  const words = say(choice.word);
  const field = make("input", { type: "text", "aria-label": words, placeholder: words, maxLength: 8, pattern: "[0-9A-Za-z]+",
    required: true, autocomplete: "off", inputMode: "text" });
  const submit = (event) => {
    event.preventDefault();
    act.say(choice.ask, field.value.trim());
  };
  return make("form", { className: "asked", on: { submit } }, field, make("button", { type: "submit" }, say("enter_value")));
}

function answers(choices, said, act) {
  return choices.map((choice) => {
    if (choice.ask) return asked(choice, act);
    const [name, value] = choice.saw.split("=");
    const words = choice.word ? say(choice.word) : choice.text;
    const pressed = String(said[name] === value);
    return make("button", { type: "button", "aria-pressed": pressed, on: { click: () => act.say(name, value) } }, words);
  });
}

function look(one, said, act) {
  const head = make("div", { className: "head" }, make("h3", {}, one.words),
    make("span", { className: "tag" }, say(one.hands_on ? "hands_on" : "by_photo")));
  const cannot = make("button", { type: "button", on: { click: () => act.skip(one.name) } }, say("cannot_tell"));
  const group = make("div", { className: "row", role: "group", "aria-label": `${say("i_looked")} ${one.words}` },
    ...answers(one.choices, said, act), cannot);
  const card = make("li", { className: "card" }, head, make("p", {}, one.instruction));
  if (one.caution) card.append(make("p", { className: "mind" }, `${say("mind")} ${one.caution}`));
  card.append(group);
  return card;
}

function looks(shown, said, act) {
  if (!shown.looks.length) return section("looks", make("p", {}, say("looks_none")));
  const [first, ...more] = shown.looks.map((one) => look(one, said, act));
  const others = more.length
    ? make("details", { className: "more" }, make("summary", {}, say("looks_more", { count: more.length })), make("ul", {}, ...more)) : null;
  const cautions = shown.cautions.length
    ? make("div", { className: "cautions" }, make("h3", {}, say("before_touching")), list(shown.cautions)) : null;
  return section("looks", make("ul", {}, first), others, cautions);
}

function reason(cue, number, said, act) {
  const speaks = cue.state === "unseen" ? "changes_nothing" : cue.speaks;
  const sure = cue.source === "person" ? say("you_say") : cue.sure;
  const head = make("div", { className: "head" },
    make("span", { className: "badge", "aria-hidden": "true" }, String(number)),
    make("span", {}, `${cue.words}: ${cue.reading}`), sure ? make("span", { className: "tag" }, sure) : null,
    make("span", { className: "speaks" }, `${SIGNS[speaks]} ${say(speaks)}`));
  const entry = make("li", { "data-cue": cue.name, "data-source": cue.source }, head, list(cue.told));
  if (cue.source === "person") {
    entry.append(make("div", { className: "row" },
      make("button", { type: "button", on: { click: () => act.unsay(cue.name) } }, say("take_back"))));
  } else if (cue.choices.length && !(cue.name in said)) {
    const group = make("div", { className: "row", role: "group", "aria-label": `${cue.words}: ${say("correct_it")}` },
      ...answers(cue.choices, said, act));
    entry.append(make("details", {}, make("summary", {}, say(cue.state === "unseen" ? "can_see" : "correct")), group));
  }
  return entry;
}

function why(shown, said, act) {
  const rows = shown.cues.map((cue, index) => reason(cue, index + 1, said, act));
  return section("why", make("ol", { className: "why" }, ...rows));
}

function photos(item, act) {
  const figures = item.seen.map((photo, index) => picture(item.answer, item.seen, index, () => act.remove(photo)));
  const legend = make("p", { className: "quiet" }, `${say("mark_legend")} ${say("mark_numbers")}`);
  const key = item.shown.cues.map((cue, index) => make("li", {},
    make("span", { className: "badge" }, String(index + 1)), `${cue.words}: ${cue.reading}`));
  return make("section", { "aria-label": say("photos_marked") }, ...figures,
    ...(key.length ? [make("ul", { className: "legend" }, ...key), legend] : []));
}

function end(item, act) {
  const note = make("textarea", { id: "note", rows: 2, value: item.note, placeholder: say("note_hint"),
    on: { change: (event) => act.note(event.target.value) } });
  const button = (word, click) => make("button", { type: "button", on: { click } }, say(word));
  const kept = item.kept
    ? make("p", { className: "card" }, say(item.kept.tagged ? "saved" : "saved_untagged", { place: item.kept.kept })) : null;
  const row = make("div", { className: "row" }, act.keep && !item.kept ? button("save", act.keep) : null,
    button("share", act.share), button("throw_away", act.throwAway));
  return make("section", {}, make("h2", {}, make("label", { htmlFor: "note" }, say("note"))), note, kept, row);
}

export function show(item, act) {
  const { shown } = item;
  if (!shown) return make("div", {});
  const told = [];
  if (shown.found) {
    told.push(make("div", {}, candidates(shown), looks(shown, item.said, act)));
    const other = make("div", {}, photos(item, act), why(shown, item.said, act));
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
    make("span", {}, make("strong", {}, years), make("br"), make("span", {}, more)),
    make("span", { className: "quiet" }, say("engine", { number }))));
}
