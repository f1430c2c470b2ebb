// The photo with what was read marked on it: an SVG in the photo's own pixels, so that
// boxes need no arithmetic. Pinch, drag, and two buttons to come nearer.
import { make, say } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const REGION_OF_CUE = { switch_lever: "boiler_top", side_linkage: "side_rods", edge_stripe: "running_board" };
const DASHES = { present: null, absent: [7, 4], unseen: [1.2, 3] };
const NEAREST = 6;

function draw(tag, attributes) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
}

function corners([left, top, right, bottom]) {
  return [[left, top], [right, top], [right, bottom], [left, bottom]];
}

function outline(svg, points, kind, width) {
  const path = points.map((point) => point.join(",")).join(" ");
  const dashes = DASHES[kind];
  const pattern = dashes ? { "stroke-dasharray": dashes.map((n) => n * width).join(" ") } : {};
  svg.append(draw("polygon", { points: path, class: "casing", "stroke-width": 2.4 * width, ...pattern }));
  svg.append(draw("polygon", { points: path, class: `stroke ${kind}`, "stroke-width": width, ...pattern }));
}

// The first of the corners of what it names where a label covers no other label.
function label(text, [l, t, r, b], size, [width, height], taken) {
  const long = size * (0.62 * text.length + 0.7);
  const high = 1.4 * size;
  const corners = [[l, t - high], [l, b], [r - long, t - high], [r - long, b], [l - long, t], [r, t], [l - long, b - high], [r, b - high]];
  const inside = corners.map(([x, y]) => [Math.max(0, Math.min(x, width - long)), Math.max(0, Math.min(y, height - high))]);
  const clear = ([x, y]) => taken.every((o) => x >= o[0] + o[2] || x + long <= o[0] || y >= o[1] + high || y + high <= o[1]);
  const [left, top] = inside.find(clear) || inside[0];
  taken.push([left, top, long]);
  const box = draw("rect", { x: left, y: top, width: long, height: high, rx: size / 5, class: "label" });
  const words = draw("text", { x: left + 0.35 * size, y: top + 1.03 * size, "font-size": size });
  words.textContent = text;
  return [box, words];
}

// An answer that this phone keeps from before a newer page may lack it.
function apart(shown, index) {
  return (shown.apart || [])[index] || [];
}

function marks(record, shown, index) {
  const size = record.photos[index].size;
  const sighting = record.sightings ? record.sightings[index] : record.sighting;
  const svg = draw("svg", { viewBox: `0 0 ${size[0]} ${size[1]}`, "aria-hidden": "true" });
  if (!sighting || !sighting.locomotive) return svg;
  const line = Math.max(...size) * 0.004;
  const letters = Math.max(...size) * 0.034;
  const taken = [];
  const labels = [];
  const below = ([left, , right, bottom]) => [left, bottom + 1.4 * letters, right, bottom];
  for (const [word, box] of [["mark_locomotive", sighting.locomotive], ["mark_tender", sighting.tender]]) {
    if (!box) continue;
    outline(svg, corners(box), "whole", line * 0.7);
    labels.push(...label(say(word), below(box), letters, size, taken));
  }
  const mark = (cue, number) => {
    const region = sighting.regions[REGION_OF_CUE[cue.name]];
    const points = region && region.length ? region : cue.where ? corners(cue.where) : null;
    if (!points) return;
    outline(svg, points, cue.state, line);
    if (region && cue.where && cue.state === "present") outline(svg, corners(cue.where), "present", line);
    const [xs, ys] = [0, 1].map((axis) => points.map((point) => point[axis]));
    const around = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
    labels.push(...label(String(number + 1), around, letters, size, taken));
  };
  record.cues.forEach((cue, number) => {
    if ((cue.photo || 0) === index && cue.source !== "person") mark(cue, number);
  });
  // What this photo reads otherwise than all of them has the same number there.
  apart(shown, index).forEach((cue) => mark(cue, cue.cue));
  svg.append(...labels);
  return svg;
}

function nearer(frame, stage) {
  let scale = 1, x = 0, y = 0, spread = 0;
  const fingers = new Map();
  const place = () => {
    const { clientWidth: width, clientHeight: height } = frame;
    x = Math.min(0, Math.max(x, width * (1 - scale)));
    y = Math.min(0, Math.max(y, height * (1 - scale)));
    stage.style.transform = `translate(${x}px, ${y}px) scale(${scale})`;
    frame.classList.toggle("near", scale > 1);
  };
  const zoom = (factor, at) => {
    const next = Math.min(NEAREST, Math.max(1, scale * factor));
    x = at.x - (at.x - x) * (next / scale);
    y = at.y - (at.y - y) * (next / scale);
    scale = next;
    place();
  };
  const middle = () => {
    const points = [...fingers.values()];
    const box = frame.getBoundingClientRect();
    const mean = (axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length;
    return { x: mean("x") - box.left, y: mean("y") - box.top };
  };
  frame.addEventListener("pointerdown", (event) => {
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (fingers.size === 2) frame.classList.add("near");
    spread = 0;
  });
  frame.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (fingers.size === 2) {
      const [a, b] = [...fingers.values()];
      const now = Math.hypot(a.x - b.x, a.y - b.y);
      if (spread > 0) zoom(now / spread, middle());
      spread = now;
    } else if (scale > 1) {
      x += event.clientX - before.x;
      y += event.clientY - before.y;
      place();
    }
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
    frame.addEventListener(end, (event) => fingers.delete(event.pointerId));
  }
  // Two fingers are ours: without this the browser takes the gesture for a scroll.
  frame.addEventListener("touchmove", (event) => event.touches.length > 1 && event.preventDefault(), { passive: false });
  const centre = () => ({ x: frame.clientWidth / 2, y: frame.clientHeight / 2 });
  return { larger: () => zoom(1.5, centre()), smaller: () => zoom(1 / 1.5, centre()) };
}

const urls = new WeakMap();

function address(blob) {
  if (!urls.has(blob)) urls.set(blob, URL.createObjectURL(blob));
  return urls.get(blob);
}

export function release(photo) {
  if (urls.has(photo.blob)) URL.revokeObjectURL(urls.get(photo.blob));
  urls.delete(photo.blob);
}

// A photo that waits for its answer.
export function unread(photo, index) {
  return make("figure", {}, make("img", { className: "unread", src: address(photo.blob), alt: say("photo_unread_alt", { number: index + 1 }) }));
}

// Which of several photos it is, and what it reads otherwise than all of them.
function caption(shown, index, count) {
  const reads = apart(shown, index).map((cue) => say("photo_reads", { number: cue.cue + 1, words: cue.words }));
  return make("figcaption", { className: "quiet" }, [say("photo_number", { number: index + 1, count }), ...reads].join("; "));
}

export function picture({ answer: record, shown, seen: photos }, index, remove) {
  const [width, height] = record.photos[index].size;
  const alt = say("photo_alt", { number: index + 1 });
  const stage = make("div", { className: "stage" }, make("img", { src: address(photos[index].blob), alt, width, height, draggable: false }));
  stage.append(marks(record, shown, index));
  const frame = make("div", { className: "frame" }, stage);
  const { larger, smaller } = nearer(frame, stage);
  const button = (word, click) => make("button", { type: "button", on: { click } }, say(word));
  const buttons = make("div", { className: "row" }, button("photo_larger", larger), button("photo_smaller", smaller));
  if (photos.length > 1) buttons.append(button("photo_remove", remove));
  return make("figure", {}, photos.length > 1 ? caption(shown, index, photos.length) : null, frame, buttons);
}
