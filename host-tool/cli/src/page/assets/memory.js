// What this tablet remembers for itself: looks and names for good, pending acts until the tab is closed.

/** Reads what was remembered; `otherwise` where there is nothing, or storage is shut. */
export function recall(store, name, otherwise) {
  try {
    const text = store.getItem(`borewitness ${name}`);
    return text === null ? otherwise : JSON.parse(text);
  } catch {
    return otherwise;
  }
}

/** Remembers a value; a tablet that refuses storage only forgets. */
export function remember(store, name, value) {
  try {
    store.setItem(`borewitness ${name}`, JSON.stringify(value));
  } catch {
    // full or shut: nothing depends on it but comfort
  }
}

/** Storage that may be shut altogether. */
export const lasting = () => open("localStorage");
export const passing = () => open("sessionStorage");

function open(name) {
  try {
    return window[name];
  } catch {
    return null;
  }
}
