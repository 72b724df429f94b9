// Visits that wait to be sent. An item leaves only when an answer carries its id, or when a person lets it go.
// An item: { id, person, name, key, place, saved, document, values, photos, signature, served, tries, next, problem, clock, clocked, unknown, to }
// `to` is where it is sent; a visit where it names nothing else. `clocked` are its times that the phone's clock told.
import { within } from "./clock.js";
import { all, change, get, put } from "./store.js";

const FIRST_WAIT = 5_000;
const LONGEST_WAIT = 300_000;
export const CLOCK_MAY_BE_OFF = 300_000;

export const channel = new BroadcastChannel("keyround");
const changed = () => { channel.postMessage({ changed: true }); dispatchEvent(new Event("outbox")); };

const pictures = (item) => [...item.photos.map((photo) => photo.id), item.signature].filter(Boolean);
export const items = async () => (await all("outbox")).sort((one, other) => one.saved - other.saved);

// From half-entered to waiting, in one stroke: it lies in one of the two places whenever the battery ends.
export async function add(item) {
  await change(["outbox", "drafts"], (store) => {
    store("outbox").put({ tries: 0, next: 0, problem: null, clock: "", ...item });
    store("drafts").delete(item.key);
  });
  changed();
}

// Back from waiting to half-entered, to be mended. A clash of ids gets a new one: it is another visit, then.
export async function reopen(item) {
  if (await get("drafts", item.key)) return false;
  const values = { ...item.values, id: item.problem?.status === 409 ? crypto.randomUUID() : item.id, left_at: item.values.left_at };
  await change(["outbox", "drafts"], (store) => {
    store("drafts").put({ key: item.key, at: item.saved, values, photos: item.photos, signature: item.signature, served: item.served });
    store("outbox").delete(item.id);
  });
  changed();
  return true;
}

export async function letGo(item) {
  await change(["outbox", "photos"], (store) => {
    store("outbox").delete(item.id);
    pictures(item).forEach((id) => store("photos").delete(id));
  });
  changed();
}

const isJson = (answer) => answer.headers.get("Content-Type")?.startsWith("application/json");

// Who is signed in, by the server's word: { person, csrf, offset } or { state } in one word.
export async function who() {
  const asked = Date.now();
  try {
    const answer = await fetch("/sync/me/", { cache: "no-store", redirect: "manual", signal: within(10_000) });
    if (answer.status === 401) return { state: "signed out" };
    if (answer.status >= 500) return { state: "server" };
    const told = isJson(answer) ? await answer.json() : null;
    if (!told?.person?.id) return { state: "stranger" };
    return { ...told, offset: Date.parse(told.server_time) - (asked + Date.now()) / 2 };
  } catch {
    return { state: "offline" };
  }
}

async function body(item) {
  const form = new FormData();
  form.append("document", JSON.stringify(item.document));
  form.append("device_time", new Date().toISOString());
  for (const id of pictures(item)) {
    const kept = await get("photos", id);
    if (kept) form.append(id, new Blob([kept.bytes], { type: "image/jpeg" }), `${id}.jpg`);
  }
  return form;
}

async function ask(item, csrf) {
  try {
    const answer = await fetch(item.to ?? "/sync/visits/", {
      method: "POST", body: await body(item), headers: { "X-CSRFToken": csrf }, redirect: "manual", signal: within(90_000),
    });
    return { status: answer.status, told: isJson(answer) ? await answer.json() : null };
  } catch {
    return { status: 0, told: null };
  }
}

async function later(item) {
  const wait = Math.min(LONGEST_WAIT, FIRST_WAIT * 2 ** item.tries) * (0.75 + Math.random() / 2);
  await put("outbox", { ...item, tries: item.tries + 1, next: Date.now() + wait });
}

// Sends one item; says in a word why the rest had better wait, or nothing.
async function post(item, me) {
  // Before it goes: whatever becomes of the answer, this one may have arrived, so it must stay as it is.
  await put("outbox", { ...item, tries: item.tries + 1 });
  let { status, told } = await ask(item, me.csrf);
  if (status === 403) {
    Object.assign(me, await who());
    if (me.state) return me.state;
    ({ status, told } = await ask(item, me.csrf));
  }
  if ((status === 200 || status === 201) && told?.id === item.id) {
    await letGo(item);
    channel.postMessage({ sent: item.id, key: item.key });
    return "";
  }
  if (status === 413 || ((status === 409 || status === 422) && told?.errors)) {
    const errors = told?.errors ?? { photos: "It is too large to be sent. Leave out some photos." };
    await put("outbox", { ...item, tries: item.tries + 1, problem: { status, errors } });
    return "";
  }
  if (status === 401) return "signed out";
  if (status === 403) return "refused";
  await later(item);
  return status === 0 ? "offline" : status >= 500 ? "" : "stranger";
}

const waits = (item, person) => item.person === person && !item.problem;
const clocked = (item) => item.clocked ?? ["arrived_at", "departed_at"];
const mustAsk = (item, me) => Math.abs(me.offset) > CLOCK_MAY_BE_OFF && !item.tries && !item.clock && clocked(item).length > 0;

async function run(now) {
  const there = (await items()).filter((item) => !item.problem && (now || item.next <= Date.now()));
  if (!there.length) return { state: "" };
  const me = await who();
  if (me.state) return me;
  let state = "";
  for (const item of there.filter((one) => waits(one, me.person.id))) {
    if (mustAsk(item, me)) { state = "clock"; continue; }
    const stop = await post(item, me);
    changed();
    if (stop) return { ...me, state: stop };
  }
  return { ...me, state };
}

// One tab sends at a time; the others wait their turn and find less to do. `now` does not wait for the next try.
export async function send(now = false) {
  const done = await navigator.locks.request("keyround outbox", () => run(now));
  dispatchEvent(new CustomEvent("outbox", { detail: done }));
  return done;
}

// What a person decided about visits entered by a clock that is off: their times move by as much, or stay.
export async function settleClock(me, shift) {
  for (const item of await items()) {
    if (!waits(item, me.person.id) || !mustAsk(item, me)) continue;
    const document = { ...item.document };
    const moments = clocked(item).filter((name) => name in document);
    if (shift) for (const name of moments) document[name] = new Date(Date.parse(document[name]) + me.offset).toISOString();
    await put("outbox", { ...item, document, clock: shift ? "shifted" : "kept" });
  }
  changed();
}
