// A round on the phone: taken along with one press; skips and ticks go by the outbox, so they outlast a dead spot.
import { renew, roundAt, skip, takeRound, tick } from "../offline/rounds.js";
import { ago } from "../offline/clock.js";

const WORDS = { offline: "Kept on this phone; it goes by itself when there is a network." };
const said = (state) => WORDS[state] ?? "Kept on this phone; it goes by itself.";

function startTaking() {
  for (const button of document.querySelectorAll("[data-take-round]")) {
    const id = button.dataset.takeRound;
    const says = (text) => { button.nextElementSibling.textContent = text; };
    button.hidden = false;
    roundAt(id).then((round) => round && says(`On this phone, as of ${ago(round.taken)}.`));
    renew(id);
    button.addEventListener("click", async () => {
      button.disabled = true;
      await takeRound(id, says).catch((problem) => says(problem.message));
      button.disabled = false;
    });
  }
}

function tell(form, text, kind = "quiet") {
  const line = form.parentElement.querySelector("[data-said]") ?? form.insertAdjacentElement("beforebegin", document.createElement("p"));
  line.className = kind;
  line.dataset.said = "";
  line.setAttribute("role", "status");
  line.textContent = text;
}

async function sendTick(form) {
  const { line, pieces, from_place: store, on } = form.elements;
  const wish = { line: line.value, pieces: Number(pieces.value), store: store ? Number(store.value) : null, on: Boolean(on) };
  const words = form.closest("li").querySelector(".state").textContent;
  const button = form.querySelector("button");
  button.disabled = true;
  try {
    const state = await tick(form.dataset.tick, wish, words);
    if (!state) return location.reload();
    tell(form, said(state));
  } catch (problem) {
    tell(form, problem.message, "notice warn");
    button.disabled = false;
  }
}

async function sendSkip(form) {
  const { skip: round, location: place, name } = form.dataset;
  const button = form.querySelector("button");
  button.disabled = true;
  try {
    const state = await skip(round, Number(place), name, form.elements.reason.value.trim());
    if (!state) return location.assign(`/rounds/${round}/`);
    tell(button, said(state));
  } catch (problem) {
    tell(button, problem.message, "notice warn");
    button.disabled = false;
  }
}

function start() {
  startTaking();
  document.addEventListener("submit", (event) => {
    const form = event.target;
    const work = form.matches("[data-tick]") ? sendTick : form.matches("[data-skip]") ? sendSkip : null;
    if (!work) return;
    event.preventDefault();
    work(form);
  });
  document.body.dataset.ready = "";
}

// Where the line is not trusted nothing is kept on a phone, and the forms are posted as they are.
if (isSecureContext && document.body.dataset.person) start();
