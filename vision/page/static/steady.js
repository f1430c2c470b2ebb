// What a redraw must not disturb: the focus, what is being typed, what stands open, and the
// place of whatever was just touched.

let touched = null;

function keyed(place, key) {
  return key ? place.querySelector(`[data-key="${CSS.escape(key)}"]`) : null;
}

export function watchTouches(place) {
  // Some phones give a button that is tapped no focus.
  place.addEventListener("click", (event) => (touched = event.target.closest("[data-key]")), true);
}

// Its like after the redraw; else what else can be done in the same place.
function successor(place, key, group) {
  const within = group ? place.querySelector(`[data-group="${CSS.escape(group)}"]`) : null;
  return keyed(place, key) || (within && within.querySelector("button, summary"));
}

export function steadily(place, redraw) {
  const active = place.contains(document.activeElement) ? document.activeElement : null;
  const held = active || (touched && place.contains(touched) ? touched : null);
  const top = held && held.getBoundingClientRect().top;
  const { key } = held ? held.dataset : {};
  const group = held && held.closest("[data-group]")?.dataset.group;
  const open = [...place.querySelectorAll("details[open][data-key]")].map((one) => one.dataset.key);
  const typed = [...place.querySelectorAll("input[data-key]")].map((one) => [one.dataset.key, one.value]);
  const caret = active && active.selectionStart !== undefined ? [active.selectionStart, active.selectionEnd] : null;
  redraw();
  for (const name of open) keyed(place, name)?.setAttribute("open", "");
  for (const [name, value] of typed) if (keyed(place, name)) keyed(place, name).value = value;
  if (!held) return;
  const next = successor(place, key, group);
  if (active) (next || place.querySelector("[tabindex]"))?.focus({ preventScroll: true });
  if (next && caret && next.dataset.key === key) next.setSelectionRange(...caret);
  if (next) window.scrollBy(0, next.getBoundingClientRect().top - top);
  touched = next;
}
