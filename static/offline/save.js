// Saving a visit: it goes into the outbox first and from there to the server, at once or when there is a network.
import { documentOf, isEmpty, Unclear } from "./document.js";
import { unfold, valuesOf } from "./draft.js";
import { add, items, reopen, send } from "./outbox.js";
import { roundWith, visited } from "./rounds.js";

const WORDS = {
  offline: "It goes by itself when there is a network.",
  server: "The server has trouble; it goes by itself later.",
  stranger: "This network answers with a page of its own: sign in to the network, then it goes by itself.",
  "signed out": "You are signed out: sign in again, then it goes by itself.",
  refused: "The server takes visits from another role only. Ask the owner.",
  stuck: "It was not accepted: look at it under “On this phone”.",
  clock: "This phone's clock is off: say above what to do about it.",
  other: "Somebody else is signed in on this phone: it goes once you sign in again.",
};

export function tell(input, text) {
  const box = input.closest(".number, .field, .small-gap") ?? input.parentElement;
  box.querySelectorAll(".errorlist").forEach((old) => old.remove());
  input.toggleAttribute("aria-invalid", false);
  if (!text) return;
  const list = Object.assign(document.createElement("ul"), { className: "errorlist" });
  list.append(Object.assign(document.createElement("li"), { textContent: text }));
  box.append(list);
  input.setAttribute("aria-invalid", "true");
  unfold(input);
}

export function above(form, ...texts) {
  const box = form.parentElement.querySelector("[data-problems]");
  box.replaceChildren(...texts.filter(Boolean).map((text) => Object.assign(document.createElement("p"), { className: "notice warn", role: "alert", textContent: text })));
}

function lookAt(form) {
  const first = form.querySelector("[aria-invalid=true]");
  if (first) first.focus();
  else form.parentElement.querySelector("[data-problems]").scrollIntoView({ block: "center" });
}

function wipe(form) {
  above(form);
  form.querySelectorAll("[aria-invalid]").forEach((input) => tell(input, ""));
}

// The field a path of the document is about (“entries.0.readings.1.value”); null for the whole visit.
function inputOf(form, said, path) {
  const [, number, what, place] = path.split(".");
  const entry = path.startsWith("entries.") ? said.entries[Number(number)] : null;
  if (!entry) return form.elements[path] ?? null;
  const section = form.querySelector(`[data-cabinet="${entry.machine}"]`);
  const { prefix } = section.dataset;
  if (what === "readings" && entry.readings[Number(place)]) return form.elements[`${prefix}-reading_${entry.readings[Number(place)].meter}`];
  return what === "cash" ? section.querySelector("[data-sum]") : form.elements[`${prefix}-note`];
}

function showErrors(form, said, errors) {
  const loose = [];
  for (const [path, text] of Object.entries(errors)) {
    const input = inputOf(form, said, path);
    if (input && input.type !== "hidden") tell(input, text);
    else loose.push(text);
  }
  above(form, "It was not accepted yet, and stays on this phone: look at what is marked, then save it again.", ...loose);
  lookAt(form);
}

async function made(form, draft) {
  try {
    return await documentOf(form, draft.photos, form.elements.host_cents.value ? draft.signature : null);
  } catch (problem) {
    if (!(problem instanceof Unclear)) throw problem;
    tell(problem.input, problem.message);
    above(form, "Nothing is saved yet: look at the marked field.");
    lookAt(form);
    return null;
  }
}

function isAsked(form, questions) {
  const asked = form.elements.asked;
  if (!questions.length || asked.value) return false;
  questions.forEach(({ input, text }) => tell(input, text));
  asked.value = "on";
  form.querySelector("button.main-action").textContent = "It is right, save it";
  above(form, "Look again at what is marked below. If it is right, say so and save once more.");
  lookAt(form);
  return true;
}

async function saved(form, state) {
  const round = await roundWith(Number(form.dataset.location));
  const box = document.querySelector("[data-kept]").content.cloneNode(true);
  box.querySelector("[data-why]").textContent = WORDS[state] ?? "It goes by itself.";
  box.querySelector("[data-place]").textContent = form.dataset.name;
  const goOn = box.querySelector("[data-go-on]");
  if (goOn && round) Object.assign(goOn, { href: `/rounds/${round.id}/`, hidden: false });
  document.querySelector("main").replaceChildren(box);
  scrollTo(0, 0);
}

// Why an item still waits after it was tried, in a word of WORDS.
const whyWaits = (item, { state, person }) => (person && person.id !== item.person ? "other" : state);

// A page of the server's brings the time of arrival, now or when it was begun; all others are told by the phone's clock.
function clocked(form, served, said) {
  if (form.elements.arrived_at.value !== served) return ["arrived_at", "departed_at"];
  return said.departed_at === said.arrived_at ? [] : ["departed_at"];
}

// Sends what is in the outbox; what arrived has its page below `pages`.
export async function deliver(form, draft, said, pages) {
  const done = await send(true);
  const item = (await items()).find((one) => one.id === said.id);
  if (!item) location.assign(`${pages}${said.id}/`);
  else if (!item.problem) await saved(form, whyWaits(item, done));
  else if (!(await reopen(item))) await saved(form, "stuck");
  else {
    if (item.problem.status === 409) form.elements.id.value = crypto.randomUUID();
    draft.closed = false;
    await draft.keep();
    showErrors(form, said, item.problem.errors);
  }
}

// `questions()` are [{ input, text }] about what is unusual.
export async function save(form, draft, questions) {
  wipe(form);
  // The departure is the first time it is sent; sending again must say the same.
  form.elements.left_at.value ||= new Date().toISOString();
  await draft.keep();
  const said = await made(form, draft);
  if (!said || isAsked(form, questions())) return;
  if (isEmpty(said)) {
    above(form, "Nothing is entered yet. Were you here and did nothing? Then write why in the note.");
    lookAt(form);
    return;
  }
  const [person] = draft.key.split(":");
  const { photos, signature, served, key } = draft;
  draft.closed = true;
  await draft.keep();
  await add({ id: said.id, person: Number(person), name: form.dataset.personName, key, place: form.dataset.name, saved: Date.now(), document: said, clocked: clocked(form, served, said), values: valuesOf(form), photos, signature, served });
  await visited(said.location);
  above(form, "Saved on this phone. Sending …");
  await deliver(form, draft, said, "/visits/");
}
