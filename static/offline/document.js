// The visit document that a filled-in visit form makes: the same as routeapp/visits/forms_document.py makes of it.
import { cents, coins, whole } from "../js/count.js";
import { moment } from "./clock.js";

const LONGEST_STAY = 4 * 3_600_000; // as routeapp/visits/rules.py has it
const SETTINGS = ["grip_strength", "payout_target", "play_seconds", "credits_per_coin"];

// Something typed that cannot be meant; `input` is where.
export class Unclear extends Error {
  constructor(input, message) {
    super(message);
    this.input = input;
  }
}

// A name-based id (RFC 9562, version 5): the same thing said twice gets the same id, here and on the server.
export async function idOf(space, name) {
  const bytes = Uint8Array.from(space.replaceAll("-", "").match(/../g), (pair) => parseInt(pair, 16));
  const hash = new Uint8Array(await crypto.subtle.digest("SHA-1", new Uint8Array([...bytes, ...new TextEncoder().encode(name)])));
  hash[6] = (hash[6] & 0x0f) | 0x50;
  hash[8] = (hash[8] & 0x3f) | 0x80;
  const hex = [...hash.slice(0, 16)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

const text = (input) => input?.value.trim() ?? "";

function count(input) {
  const typed = whole(text(input));
  if (!typed) return null;
  if (!/^\d{1,9}$/.test(typed)) throw new Unclear(input, "Write a whole number.");
  return Number(typed);
}

function money(input) {
  if (!text(input)) return null;
  const found = cents(text(input));
  if (Number.isNaN(found)) throw new Unclear(input, "This is not an amount. Write it like 12.50.");
  return found;
}

function counted(section, prefix) {
  const lines = {};
  let typed = false;
  let how = "denominations";
  for (const input of section.querySelectorAll("[data-count] input[data-cents]")) {
    if (!text(input)) continue;
    const pieces = input.dataset.grams ? coins(input) : count(input);
    if (Number.isNaN(pieces)) throw new Unclear(input, "Write grams, for example 567.");
    if (input.dataset.grams && pieces) how = "weight";
    typed = true;
    const key = input.name.slice(`${prefix}-cash-`.length).replace(/^w/, "c");
    if (pieces) lines[key] = { pieces: (lines[key]?.pieces ?? 0) + pieces, cents: Number(input.dataset.cents) };
  }
  const sum = section.querySelector("[data-count] [data-sum]");
  const bare = money(sum);
  const all = Object.entries(lines);
  if (bare !== null && all.length) throw new Unclear(sum, "Give either the pieces or only the sum, so that it is clear which one counts.");
  if (bare !== null) return { taken: "counted", how: "amount", cents: bare, lines: {} };
  if (!typed) return {};
  const worth = all.reduce((so_far, [, one]) => so_far + one.pieces * one.cents, 0);
  return { taken: "counted", how, cents: worth, lines: Object.fromEntries(all.map(([key, one]) => [key, one.pieces])) };
}

function readable(section, readings) {
  for (const input of section.querySelectorAll("[data-reading]")) {
    if ((count(input) ?? 0) >= 10 ** Number(input.dataset.digits)) throw new Unclear(input, `This meter has only ${input.dataset.digits} digits.`);
  }
  return readings;
}

async function entry(form, section, visit, photos) {
  const { prefix, cabinet } = section.dataset;
  const field = (name) => form.elements[`${prefix}-${name}`];
  const filled = (sort) => [...section.querySelectorAll(`[name^="${prefix}-${sort}_"]`)]
    .filter((input) => /_\d+$/.test(input.name)) // found_7 is a prize, found_estimated is not
    .map((input) => [Number(input.name.split("_").pop()), input.type === "text" || input.type === "number" ? count(input) : text(input)])
    .filter(([, value]) => value !== null && value !== "");
  const pieces = (pairs) => pairs.filter(([, many]) => many).map(([prize, many]) => ({ prize, pieces: many }));
  const tests = count(field("tests")) ?? 0;
  const first = field("tests_first").checked;
  const other = Number(text(field("other_prize")));
  const withOther = (sort, name) => {
    const found = new Map(filled(sort));
    const more = count(field(name));
    if (other && more !== null) found.set(other, (found.get(other) ?? 0) + more);
    return [...found];
  };
  if (Boolean(other) !== (Boolean(text(field("other_found"))) || Boolean(text(field("other_pieces"))))) {
    throw new Unclear(field("other_prize"), "Say which prize and how many pieces, or leave all of it empty.");
  }
  const settings = Object.fromEntries(SETTINGS.map((name) => [name, count(field(name))]).filter(([, value]) => value !== null));
  const sealed = text(field("bag_number"));
  const inTheBox = counted(section, prefix);
  if (sealed && inTheBox.taken) throw new Unclear(field("bag_number"), "The cash is counted above. Leave one of the two empty.");
  const part = {
    readings: readable(section, filled("reading")).map(([meter, value]) => ({
      meter, value, explained_as: text(field(`explained_${meter}`)), reason: text(field(`reason_${meter}`)),
    })),
    tests_before: first ? tests : 0,
    tests_after: first ? 0 : tests,
    cash: sealed
      ? { taken: "sealed", bag: { id: await idOf(visit, `bag ${sealed}`), number: sealed }, estimate_cents: Number(text(field("estimate"))) }
      : inTheBox,
    found: withOther("found", "other_found").map(([prize, many]) => ({ prize, pieces: many })),
    loaded: pieces(withOther("loaded", "other_pieces")),
    removed: pieces(filled("removed")),
    mixes: filled("mix").filter(([, times]) => times).map(([mix, times]) => ({ mix, times })),
    settings: Object.keys(settings).length ? settings : null,
    checks: Object.fromEntries([...section.querySelectorAll(`[name^="${prefix}-check_"]:checked`)].map((input) => [input.labels[0].textContent.trim(), true])),
    faults: text(field("fault")) ? [{ id: await idOf(visit, `fault ${cabinet}`), text: text(field("fault")), stops_play: field("fault_stops_play").checked }] : [],
    fixed: [...section.querySelectorAll("[data-fault]")].map((box) => ({ fault: box.dataset.fault, how: text(box.querySelector("input")) })).filter(({ how }) => how),
    photos: photos.filter((photo) => photo.prefix === prefix).map((photo) => photo.id),
    note: text(field("note")),
  };
  const isSomething = (value) => (typeof value === "object" ? Object.keys(value ?? {}).length > 0 : Boolean(value));
  if (!Object.values(part).some(isSomething)) return null;
  return { id: await idOf(visit, `entry ${cabinet}`), machine: Number(cabinet), found_estimated: field("found_estimated")?.checked ?? false, ...part };
}

function payment(form, signature) {
  const paid = money(form.elements.host_cents);
  if (!paid) return null;
  const by = text(form.elements.host_received_by);
  if (!by) throw new Unclear(form.elements.host_received_by, "Write who took the money; it stands on the receipt.");
  return { cents: paid, received_by: by, signature };
}

// Throws Unclear. `photos` are [{ id, prefix }], `signature` is the id of the host's or null.
export async function documentOf(form, photos = [], signature = null) {
  const { id, arrived_at: arrival, left_at: departure, load_from: place, note } = form.elements;
  const arrived = moment(arrival.value, form.dataset.zone);
  if (Number.isNaN(arrived)) throw new Unclear(arrival, "The clock there never showed this time. Look again.");
  const left = Date.parse(departure.value);
  const entries = [];
  for (const section of form.querySelectorAll("[data-cabinet]")) entries.push(await entry(form, section, id.value, photos));
  const bag = await idOf(id.value, "loose bag");
  return {
    id: id.value,
    location: Number(form.dataset.location),
    arrived_at: new Date(arrived).toISOString(),
    departed_at: new Date(left > arrived && left <= arrived + LONGEST_STAY ? left : arrived).toISOString(),
    load_from: Number(place?.value) || null,
    loose_bag: { id: bag, number: `${arrival.value.slice(2, 10).replaceAll("-", "")}-${bag.slice(0, 4).toUpperCase()}` },
    host_payment: payment(form, signature),
    note: text(note),
    entries: entries.filter(Boolean),
  };
}

export const isEmpty = (document) => !(document.entries.length || document.host_payment || document.note);
