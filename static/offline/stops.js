// Stops taken along: what to know about a place, and its visit form, from the moment they were fetched.
import { ago, within } from "./clock.js";
import { all, change, drop, get, holdOn, put } from "./store.js";

const LETTERS = { O: "0", I: "1", L: "1" };
const plain = (code) => code.replace(/[\s-]/g, "").toUpperCase();
const asLabel = (code) => plain(code).replace(/[OIL]/g, (letter) => LETTERS[letter]);

export async function person() {
  return (await get("notes", "me")) ?? null;
}

// Only the person's own: the next one at this phone takes theirs along.
export async function stops() {
  const me = await person();
  return (await all("stops")).filter((stop) => stop.person === me?.person).sort((one, other) => one.name.localeCompare(other.name));
}

export const stopAt = async (id) => (await stops()).find((stop) => stop.id === id);

// The stop where a cabinet stands, by the code on it or on its label, and the cabinet: [stop, cabinet] or nothing.
export async function stopWith(code) {
  for (const stop of await stops()) {
    const cabinet = stop.cabinets.find((one) => plain(one.code) === plain(code) || (one.label && one.label === asLabel(code)));
    if (cabinet) return [stop, cabinet];
  }
  return [];
}

// What an address of ours tells under a name, or an Error with a sentence.
export async function fetchJson(address, name) {
  const answer = await fetch(address, { cache: "no-store", redirect: "manual", signal: within(20_000) }).catch(() => null);
  if (!answer || answer.type === "opaqueredirect") throw new Error("There is no network just now.");
  if (answer.status === 401) throw new Error("You are signed out. Sign in again.");
  if (answer.status === 404) throw new Error("It is not known there.");
  const told = await answer.json().catch(() => null);
  if (!answer.ok || !told?.[name]) throw new Error("The server did not answer as it should. Try again later.");
  return told;
}

// Fetches one stop by its address; answers it, or throws an Error with a sentence.
export async function fetchStop(address) {
  const told = await fetchJson(address, "stop");
  const stop = { ...told.stop, taken: Date.now() };
  await put("stops", stop);
  return stop;
}

export const take = (id) => fetchStop(`/sync/stops/${id}/`);

// Takes several along, one after the other; `says` hears how far it is.
export async function takeAll(ids, says) {
  holdOn();
  for (const [place, id] of ids.entries()) {
    says(ids.length > 1 ? `Taking along ${place + 1} of ${ids.length} …` : "Taking it along …");
    await take(id);
  }
  says(ids.length > 1 ? `${ids.length} places are on this phone now.` : await state(ids[0]));
}

export const refresh = async (says = () => {}) => takeAll((await stops()).map((stop) => stop.id), says);

export function inWords(stop) {
  const cabinets = `${stop.cabinets.length} cabinet${stop.cabinets.length === 1 ? "" : "s"}`;
  return `${cabinets}, taken along ${ago(stop.taken)}${stop.missing.length ? `; missing: ${stop.missing.join(", ")}` : ""}`;
}

async function state(id) {
  const stop = await stopAt(id);
  return stop ? `On this phone: ${inWords(stop)}.` : "";
}

export const forget = (id) => drop("stops", id);

// At signing out: what was taken along goes, what is not sent stays.
export const forgetAll = () => change(["stops", "notes"], (store) => { store("stops").clear(); store("notes").clear(); });

// The buttons “Take along” on the pages of locations.
export function startButtons() {
  for (const button of document.querySelectorAll("[data-take]")) {
    const says = (text) => { button.nextElementSibling.textContent = text; };
    const ids = () => (button.dataset.take ? [button.dataset.take] : [...document.querySelectorAll("[data-location]")].map((row) => row.dataset.location)).map(Number);
    button.hidden = false;
    if (button.dataset.take) state(Number(button.dataset.take)).then(says);
    button.addEventListener("click", async () => {
      button.disabled = true;
      await takeAll(ids(), says).catch((problem) => says(problem.message));
      button.disabled = false;
    });
  }
}
