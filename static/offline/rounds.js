// Rounds taken along: their order and load list as they were fetched, and what is noted on the road since.
import { local } from "./clock.js";
import { add, items, letGo, send } from "./outbox.js";
import { fetchJson, person, takeAll } from "./stops.js";
import { all, drop, get, put } from "./store.js";

// They lie among the notes: a store of their own would need a new version of the base, which an old tab cannot open.
const keyOf = (id) => `round ${id}`;

export async function rounds() {
  const me = await person();
  const kept = (await all("notes")).filter((note) => note.key.startsWith("round ") && note.round.person === me?.person);
  return kept.map((note) => note.round).sort((one, other) => one.day.localeCompare(other.day));
}

export const roundAt = async (id) => (await rounds()).find((round) => round.id === id);
export const forgetRound = (id) => drop("notes", keyOf(id));

async function fetchRound(id) {
  const { round } = await fetchJson(`/sync/rounds/${id}/`, "round");
  await put("notes", { key: keyOf(id), round: { ...round, taken: Date.now() } });
  return round;
}

// The round and all its stops, with one press.
export async function takeRound(id, says) {
  const round = await fetchRound(id);
  await takeAll(round.stops.map((stop) => stop.id), says);
  says(`The round is on this phone: ${round.stops.length} stop${round.stops.length === 1 ? "" : "s"} and ${round.load.length} lines to load.`);
}

// What the server knows of a round taken along, again: stops made by others, the order planned anew.
export async function renew(id) {
  if (await roundAt(id)) await fetchRound(id).catch(() => {});
}

async function write(id, work) {
  const kept = await get("notes", keyOf(id));
  if (!kept) return;
  work(kept.round);
  await put("notes", kept);
}

export const markStop = (id, location, state) => write(id, (round) => round.stops.filter((stop) => stop.id === location).forEach((stop) => { stop.state = state; }));
export const markLine = (id, line, on) => write(id, (round) => round.load.filter((one) => one.line === line).forEach((one) => { one.on = on; }));

// The round taken along that has a visit to this place, and stops still to make: today's, or else the newest.
export async function roundWith(location) {
  const open = (await rounds()).filter(({ stops }) => stops.some((stop) => stop.id === location) && stops.some((stop) => stop.state === "ahead"));
  return open.find(({ day }) => day === local(Date.now()).slice(0, 10)) ?? open.at(-1);
}

// A visit was entered: wherever it is planned, its stop is made.
export async function visited(location) {
  for (const round of await rounds()) await markStop(round.id, location, "done");
}

// Puts a note into the outbox and tries to send it. Answers "" when it is through, a word why not yet, or throws what the
// server says is wrong with it; then nothing of it stays.
export async function note(document, place) {
  const { person: who, name } = await get("notes", "me");
  const { id } = document;
  await add({ id, key: id, person: who, name, place, note: true, to: "/sync/road/", clock: "kept", saved: Date.now(), document, values: {}, photos: [], signature: null });
  const { state } = await send(true);
  const item = (await items()).find((one) => one.id === id);
  if (!item?.problem) return item ? state || "offline" : "";
  await letGo(item);
  throw new Error(Object.values(item.problem.errors).join(" "));
}

const stamp = () => ({ id: crypto.randomUUID(), at: new Date().toISOString() });

export async function skip(round, location, name, reason) {
  const state = await note({ ...stamp(), kind: "skip", round, location, reason }, `Skip ${name}`);
  await markStop(round, location, "skipped");
  return state;
}

export async function tick(round, line, words) {
  const state = await note({ ...stamp(), kind: "tick", round, line: line.line, on: line.on, pieces: line.pieces, from_place: line.store }, `${line.on ? "In the van" : "Put back"}: ${words}`);
  await markLine(round, line.line, line.on);
  return state;
}
