// Ticks on their way to the service: each waits under an entry of its own, so that two tabs write over none of each
// other's, and is sent when the signal is back. Every page loads this, so that none waits for its cut list to be opened.

const WAITS = "tick "; // and then the tick's address
const SEND_MS = 6000;
const MOST_SECONDS_AGO = 366 * 86400; // as the service takes
const GONE = new Set([404, 422]); // its plan was removed: there is nothing left to tick

// A full or forbidden store keeps what it is given until the page is left, and no longer.
const unkept = new Map();

export function kept(key) {
  try {
    return JSON.parse(unkept.get(key) ?? localStorage.getItem(key) ?? "null");
  } catch {
    return null;
  }
}

export function keep(key, value) {
  unkept.delete(key);
  try {
    localStorage.setItem(key, JSON.stringify(value));
  } catch {
    unkept.set(key, JSON.stringify(value));
  }
}

export function drop(key) {
  unkept.delete(key);
  try {
    localStorage.removeItem(key);
  } catch {
    // it was never there
  }
}

function addresses() {
  const keys = [...unkept.keys()];
  try {
    keys.push(...Object.keys(localStorage));
  } catch {
    // nothing is kept there
  }
  return [...new Set(keys)].filter((key) => key.startsWith(WAITS)).map((key) => key.slice(WAITS.length));
}

// The change of a tick that waits; null where none does.
export const waiting = (address) => kept(WAITS + address);
export const allWaiting = addresses;

// Lets a change wait. change: {isTicked, who, when, seen}; when: by this phone's clock, in ms; seen: how often the tick
// was changed when it was seen last.
export const wait = (address, change) => keep(WAITS + address, change);

// Sends all that wait, one after another, so that none overtakes another. told(address, tick) hears how each stands then.
// live: the address of a change that is made just now, which stands whatever is there; null.
let last = Promise.resolve();
export function send(told = () => {}, live = null) {
  last = last.then(async () => {
    for (const address of addresses()) {
      if (!await sent(address, address === live, told)) return;
    }
  });
  return last;
}

async function sent(address, isLive, told) {
  const change = waiting(address);
  if (!change) return true;
  const ago = Math.min(MOST_SECONDS_AGO, Math.max(0, (Date.now() - change.when) / 1000));
  const said = new URLSearchParams(isLive ? { who: change.who } : { who: change.who, seen: change.seen, seconds_ago: ago });
  let answer;
  try {
    answer = await fetch(`${address}?${said}`, { method: change.isTicked ? "PUT" : "DELETE", signal: AbortSignal.timeout(SEND_MS) });
  } catch {
    return false;
  }
  if (!answer.ok) {
    if (GONE.has(answer.status)) drop(WAITS + address);
    return GONE.has(answer.status);
  }
  const tick = await answer.json();
  const now = waiting(address);
  // What was changed again meanwhile was changed by somebody who saw this one.
  if (now && now.when !== change.when) wait(address, { ...now, seen: tick.changes });
  else drop(WAITS + address);
  told(address, tick);
  return true;
}

addEventListener("online", () => send());
if (addresses().length) send();
