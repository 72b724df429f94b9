// A round on the page for no network: where next, what to expect, the load list; skips and ticks are sent later.
import { ago } from "./clock.js";
import { rounds, skip, tick } from "./rounds.js";
import { stops } from "./stops.js";

const find = (name) => document.querySelector(`[data-${name}]`);
const made = (tag, told = {}) => Object.assign(document.createElement(tag), told);
const STATES = { done: "good", skipped: "bad", next: "warn", ahead: "none" };
const WORDS = { done: "visited", skipped: "skipped" };

function link(href, text, className = "button plain") {
  return made("a", { href, textContent: text, className });
}

function showNext(round, next) {
  const box = find("round-next");
  box.hidden = !next;
  if (!next) return;
  box.querySelector("[data-why]").replaceChildren(...[...(next.where ?? []), ...next.why, ...next.expect].map((textContent) => made("li", { textContent })));
  const acts = [link(`/visits/new/${next.id}/`, "Start the visit", "button main-action")];
  if (next.geo) acts.push(link(next.geo, "Show the way"));
  for (const [name, , call] of next.phones) acts.push(link(call, `Call ${name}`));
  box.querySelector("[data-acts]").replaceChildren(...acts);
  const form = box.querySelector("form");
  form.onsubmit = async (event) => {
    event.preventDefault();
    const reason = form.elements.reason.value.trim();
    await skip(round.id, next.id, next.name, reason).then(() => form.reset(), complain);
    showRound(round.id);
  };
}

const complain = (problem) => { find("round-age").textContent = problem.message; };

function stopRow(stop, isNext) {
  const line = made("li", { className: "row apart" });
  const state = isNext ? "next" : stop.state;
  line.append(made("span", { className: `state grow ${STATES[state] ?? "none"}`, textContent: `${stop.at} ${stop.name}` }));
  if (WORDS[stop.state]) line.append(made("span", { className: "quiet", textContent: WORDS[stop.state] }));
  else if (!isNext) line.append(link(`/visits/new/${stop.id}/`, "Visit"));
  return line;
}

function loadRow(round, one) {
  const line = made("li", { className: "row apart" });
  const words = `${one.pieces || ""} ${one.text}`.trim();
  const said = made("div", { className: "reason" });
  said.append(made("span", { className: `state ${one.on || one.there ? "good" : "none"}`, textContent: words }), made("p", { className: "quiet", textContent: one.detail }));
  line.append(said);
  if (one.there) return line;
  const button = made("button", { type: "button", className: "plain", textContent: one.on ? "Put back" : "It is in" });
  button.append(made("span", { className: "visually-hidden", textContent: `: ${words}` }));
  button.onclick = async () => {
    button.disabled = true;
    await tick(round.id, { ...one, on: !one.on }, words).catch(complain);
    showRound(round.id);
  };
  line.append(button);
  return line;
}

export async function showRound(id) {
  const round = (await rounds()).find((one) => one.id === id);
  find("round").hidden = !round;
  if (!round) return false;
  const next = round.stops.find((stop) => stop.state === "ahead");
  const there = (await stops()).map((stop) => stop.id);
  const missing = round.stops.filter((stop) => stop.state === "ahead" && !there.includes(stop.id)).map((stop) => stop.name);
  find("round-name").textContent = next ? next.name : "Every stop is made or skipped";
  find("round-at").textContent = next?.at ?? "";
  find("round-words").textContent = round.words;
  find("round-age").textContent = `As of ${ago(round.taken)}.${missing.length ? ` Not on this phone: ${missing.join(", ")}.` : ""}`;
  showNext(round, next);
  find("round-stops").replaceChildren(...round.stops.map((stop) => stopRow(stop, stop === next)));
  find("round-load").replaceChildren(...round.load.map((one) => loadRow(round, one)));
  return true;
}

