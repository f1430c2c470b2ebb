// The engines of the day, and which of them is open.
export const day = { items: [], current: null };

// An engine before anything is known of it. `seen` are the photos that its answer was given
// for, `photos` those that it has by now; `change` counts what a person added or said.
export function begun() {
  const id = `${Date.now()}-${day.items.length}`;
  const item = { id, when: Date.now(), photos: [], seen: [], said: {}, skip: [], note: "", pending: false, change: 0 };
  day.items.push(item);
  return item;
}

export function waiting() {
  return day.items.filter((item) => item.pending);
}
