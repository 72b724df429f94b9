// On every page: what is not sent yet, sending it, and the worker that answers when there is no network.
import { said, span } from "./clock.js";
import { channel, items, send, settleClock } from "./outbox.js";
import { forgetAll, refresh, startButtons } from "./stops.js";
import { get, put } from "./store.js";

const EVERY = 15_000;
const WORDS = {
  offline: (they) => `${they} when there is a network.`,
  server: (they) => `The server has trouble. ${they} later.`,
  stranger: () => "This network answers with a page of its own: sign in to the network first.",
  "signed out": (they) => `Sign in again. ${they} then.`,
  refused: () => "The server takes visits from another role only. Ask the owner.",
};

const bar = document.querySelector("[data-unsent]");
const count = (number, noun) => `${number} ${number === 1 ? noun : noun === "delivery" ? "deliveries" : `${noun}s`}`;
const nounOf = (item) => (item.note ? "note" : item.to === "/sync/arrivals/" ? "delivery" : "visit");
const many = (all) => ["visit", "delivery", "note"].map((noun) => [noun, all.filter((item) => nounOf(item) === noun).length])
  .filter(([, number]) => number).map(([noun, number]) => count(number, noun)).join(" and ");
let last = { state: "" };

function lines(all, me) {
  const mine = all.filter((item) => !me || item.person === me.person);
  const stuck = mine.filter((item) => item.problem);
  const waiting = mine.filter((item) => !item.problem);
  const others = all.filter((item) => me && item.person !== me.person);
  const names = [...new Set(others.map((item) => item.name || "somebody else"))].join(" and ");
  return [
    waiting.length && `${many(waiting)} not sent yet, the oldest from ${said(waiting[0].saved)}. ${WORDS[last.state]?.(waiting.length === 1 ? "It goes by itself" : "They go by themselves") ?? ""}`,
    stuck.length && `${many(stuck)} to look at before ${stuck.length === 1 ? "it" : "they"} can be sent.`,
    others.length && `${many(others)} of ${names} wait${others.length === 1 ? "s" : ""} until ${names} sign${others.length === 1 ? "s" : ""} in on this phone.`,
  ].filter(Boolean);
}

async function show() {
  const all = await items();
  bar.hidden = !all.length;
  bar.querySelector("[data-lines]").replaceChildren(...lines(all, await get("notes", "me")).map((text) => Object.assign(document.createElement("p"), { textContent: text })));
  bar.querySelector("[data-clock]").hidden = last.state !== "clock";
  if (last.state === "clock") bar.querySelector("[data-clock] p").textContent = `This phone's clock is ${span(last.offset)} ${last.offset > 0 ? "slow" : "fast"}. Were the times of these visits taken from it?`;
}

async function go(now = false) {
  if (!(await items()).length) return show();
  return send(now); // which tells what came of it
}

async function decide(shift) {
  await settleClock(last, shift);
  return go(true);
}

function startBar() {
  bar.querySelector("[data-send]").addEventListener("click", () => go(true));
  bar.querySelector("[data-shift]").addEventListener("click", () => decide(true));
  bar.querySelector("[data-keep]").addEventListener("click", () => decide(false));
  addEventListener("outbox", ({ detail }) => { last = detail ?? last; show(); });
  channel.addEventListener("message", show);
  addEventListener("online", () => go(true));
  document.addEventListener("visibilitychange", () => { if (!document.hidden) go(); });
  setInterval(() => { if (!document.hidden) go(); }, EVERY);
}

function startWorker() {
  const had = Boolean(navigator.serviceWorker.controller);
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (!had) return;
    document.querySelector("[data-update]").hidden = false;
    refresh().catch(() => {});
  });
  document.querySelector("[data-update] button").addEventListener("click", () => location.reload());
  return navigator.serviceWorker.register("/sw.js");
}

function watchSignOut() {
  document.addEventListener("submit", async (event) => {
    if (!event.target.action.endsWith("/sign-out/")) return;
    event.preventDefault();
    await forgetAll();
    event.target.submit();
  });
}

async function start() {
  const { person, personName } = document.body.dataset;
  if (person) {
    await put("notes", { key: "me", person: Number(person), name: personName }).catch(() => {}); // a full phone still sends
    startWorker();
    startButtons();
    watchSignOut();
  }
  startBar();
  await go(true);
}

if (isSecureContext) start();
