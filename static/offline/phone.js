// The one page that stands without a network: in the place of any address, it shows what this phone has for it.
import { start as startVisit } from "../js/visit.js";
import { ago, local, said } from "./clock.js";
import { deliveries, forgetDelivery, renewDeliveries, showDelivery } from "./deliveries.js";
import { startEntry, startFinishing } from "./generic.js";
import { items, letGo, reopen } from "./outbox.js";
import { saveFile } from "./pass_on.js";
import { showRound } from "./round_page.js";
import { forgetRound, rounds } from "./rounds.js";
import { forget, inWords, person, refresh, stopAt, stops, stopWith } from "./stops.js";
import { all } from "./store.js";

const find = (name) => document.querySelector(`[data-${name}]`);
const TOLD = { address: "Address", access_notes: "How to get in", power_notes: "Power", signal_notes: "Phone signal", notes: "Notes" };

function fill(box, words) {
  for (const [name, text] of Object.entries(words)) box.querySelector(`[data-${name}]`).textContent = text;
  return box;
}

const copy = (name) => find(name).content.firstElementChild.cloneNode(true);

function row(list, words, href, acts = {}) {
  const line = fill(copy("row"), words);
  const link = line.querySelector("a");
  if (href) link.href = href;
  else link.removeAttribute("href");
  for (const [label, act] of Object.entries(acts)) {
    const button = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: label });
    button.addEventListener("click", act);
    line.querySelector("[data-acts]").append(button);
  }
  list.append(line);
}

function about(stop) {
  const list = find("about");
  const lines = [
    ...Object.entries(TOLD).map(([name, label]) => [label, stop.told[name]]),
    ...stop.hours.map(([day, hours]) => [day, hours]),
    ...stop.contacts.map(([name, phone]) => [name, phone]),
    ["Missing", stop.missing.join(", ")],
  ];
  for (const [label, text] of lines.filter(([, told]) => told)) {
    list.append(Object.assign(document.createElement("dt"), { textContent: label }), Object.assign(document.createElement("dd"), { textContent: text }));
  }
}

async function visit(stop, me, cabinet) {
  find("stop").hidden = false;
  find("name").textContent = stop.name;
  const unsent = (await items()).filter((item) => item.place === stop.name);
  const before = unsent.length ? ` A visit from ${said(unsent.at(-1).saved)} is not sent yet, so the last readings are older than it.` : "";
  find("age").textContent = `As of ${ago(stop.taken)}.${before}`;
  about(stop);
  // Made by our own server for this page; the policy lets no script in it run.
  find("form").innerHTML = stop.form;
  const form = find("form").querySelector("form[data-visit]");
  form.dataset.personName = me.name;
  form.elements.id.value = crypto.randomUUID();
  form.elements.arrived_at.defaultValue = local(Date.now(), stop.zone); // nobody typed it
  await startVisit(form);
  const section = cabinet && form.querySelector(`[data-cabinet="${cabinet.id}"]`);
  if (!section) return;
  section.querySelector("details").open = true;
  section.scrollIntoView();
}

// The page a draft belongs to: a delivery's by its address, a new visit by its place, a correction by its visit.
function pageOf(key) {
  const [, page] = key.split(":");
  if (page.startsWith("/")) return page;
  return /^\d+$/.test(page) ? `/visits/new/${page}/` : `/visits/${page}/correct/`;
}

const WHY = {
  0: "not sent yet", 409: "another visit has its id: open it to send it as one of its own", 413: "too large: open it and leave out photos",
  422: "not accepted: open it and look at what is said",
};

function outboxRow(list, item, me) {
  const mine = item.person === me?.person;
  const problem = item.problem ? `${WHY[item.problem.status] ?? ""} ${Object.values(item.problem.errors).join(" ")}` : item.tries ? `not sent yet, tried ${item.tries} times` : WHY[0];
  const open = async () => {
    if (await reopen(item)) location.assign(pageOf(item.key));
    else alert("There is another half-entered visit at this place. Save it or start empty there first.");
  };
  const away = async () => { if (confirm("Let this go for good? It was not sent.")) { await letGo(item); location.reload(); } };
  const acts = item.note ? {} : item.unknown ? { "Finish it": () => startFinishing(item) } : { "Open it": open };
  row(list, { title: item.place, what: `${item.name}, ${said(item.saved)}: ${problem}` }, "", mine ? { ...(item.problem || !item.tries ? acts : {}), "Let it go": away } : {});
}

async function showOutbox(me) {
  const waiting = await items();
  find("waiting").hidden = !waiting.length;
  find("outbox").replaceChildren();
  waiting.forEach((item) => outboxRow(find("outbox"), item, me));
}

async function showStops() {
  const [taken, routes, doors] = await Promise.all([stops(), rounds(), deliveries()]);
  const list = find("stops");
  list.replaceChildren();
  find("taken").hidden = !(taken.length + routes.length + doors.length);
  find("none").hidden = !find("taken").hidden;
  for (const round of routes) row(list, { title: round.words, what: `${round.stops.length} stops, taken along ${ago(round.taken)}` }, `/rounds/${round.id}/`, { Forget: async () => { await forgetRound(round.id); showStops(); } });
  for (const door of doors) row(list, { title: door.name, what: `a delivery, taken along ${ago(door.taken)}` }, door.path, { Forget: async () => { await forgetDelivery(door.path); showStops(); } });
  for (const stop of taken) row(list, { title: stop.name, what: inWords(stop) }, `/visits/new/${stop.id}/`, { Forget: async () => { await forget(stop.id); showStops(); } });
}

async function showDrafts(me) {
  const names = new Map((await stops()).map((stop) => [String(stop.id), stop.name]));
  const mine = (await all("drafts")).map((draft) => ({ ...draft, parts: draft.key.split(":") })).filter(({ parts }) => Number(parts[0]) === me?.person);
  find("half").hidden = !mine.length;
  for (const { at, parts: [, page] } of mine) {
    const sort = page.startsWith("/") ? "A delivery" : /^\d+$/.test(page) ? "A visit" : "A correction";
    row(find("drafts"), { title: names.get(page) ?? sort, what: `typed ${said(at)}` }, pageOf(`:${page}`));
  }
}

async function showRoom() {
  const { usage = 0, quota = 0 } = await navigator.storage.estimate();
  const safe = (await navigator.storage.persisted()) ? "The browser promised to keep it." : "The browser may clear it when this phone runs out of room.";
  find("room").textContent = `${(usage / 1e6).toFixed(1)} MB used, ${Math.round((quota - usage) / 1e6).toLocaleString("en")} MB free. ${safe}`;
}

async function home(me) {
  find("home").hidden = false;
  find("asked").hidden = location.pathname === "/phone/";
  find("nobody").hidden = Boolean(me);
  await Promise.all([showOutbox(me), showStops(), showDrafts(me), showRoom()]);
  addEventListener("outbox", () => showOutbox(me));
  find("save-file").addEventListener("click", saveFile);
  find("refresh").addEventListener("click", async () => {
    const says = (text) => { find("refreshed").textContent = text; };
    await renewDeliveries();
    await refresh(says).catch((problem) => says(problem.message));
    showStops();
  });
}

// What an address asks for: { stop, cabinet, code } or { round }.
async function wanted() {
  const [, round] = location.pathname.match(/^\/rounds\/([0-9a-f-]{36})\//) ?? [];
  if (round) return { round };
  const [, noun, rest] = location.pathname.match(/^\/(m|cabinets|locations|visits\/new)\/([^/]+)\/?$/i) ?? [];
  if (!noun) return {};
  if (/^(locations|visits)/.test(noun)) return { stop: await stopAt(Number(rest)) };
  const code = decodeURIComponent(rest);
  const [stop, cabinet] = await stopWith(code);
  return { stop, cabinet, code: stop ? "" : code };
}

async function start() {
  const me = await person();
  const { stop, cabinet, code, round } = await wanted();
  if (me && round && (await showRound(round))) addEventListener("outbox", () => showRound(round));
  else if (me && stop) await visit(stop, me, cabinet);
  else if (me && code) startEntry(code, me);
  else if (!me || !(await showDelivery(location.pathname, me))) await home(me);
  document.body.dataset.shown = "";
}

find("by-code").addEventListener("submit", (event) => {
  event.preventDefault();
  location.assign(`/m/${encodeURIComponent(event.target.elements.code.value.trim())}/`);
});
start();
