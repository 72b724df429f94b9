// The visit page while it is filled in: what the meters make of the readings, whether the money is right, and
// nothing typed is lost. The same with and without a network; without this file the page still posts its form.
import { Draft } from "../offline/draft.js";
import { moment } from "../offline/clock.js";
import { start as startPhotos } from "../offline/photos.js";
import { above, save, tell } from "../offline/save.js";
import { channel, who } from "../offline/outbox.js";
import { amount, cents, start as startCounts, total, whole } from "./count.js";
import { interval, isUnusual } from "./rules.js";

const DAY_SECONDS = 86_400;

function read(input) {
  const { last, lastAt, digits, perPlay, tests, countsTests, value, usual } = input.dataset;
  const typed = whole(input.value);
  if (!typed || last === "" || !/^\d+$/.test(typed)) return null;
  const section = input.closest("[data-cabinet]");
  const arrived = moment(input.form.elements.arrived_at.value, input.form.dataset.zone) || Date.now();
  const first = section.querySelector("[name$=tests_first]").checked;
  const testPlays = first && countsTests === "1" ? Number(whole(section.querySelector("[name$='-tests']").value)) : 0;
  const explained = input.closest(".small-gap").querySelector("select").value;
  const seconds = (arrived - Date.parse(lastAt)) / 1000;
  const found = interval({
    last: Number(last), value: Number(typed), digits: Number(digits), perPlay: Number(perPlay),
    seconds, tests: Number(tests) + testPlays * Number(perPlay), explained,
  });
  const unusual = found.counts !== null && !explained && usual !== "" && isUnusual(found.counts, seconds / DAY_SECONDS, Number(usual));
  return { ...found, unusual, cents: found.counts === null ? null : found.counts * Number(value) };
}

function question(input, found) {
  if (found?.unusual) return "◆ More than ten times the usual. Look again, or say what happened.";
  if (found?.how !== "question") return "";
  const lower = Number(input.value.replace(/\D/g, "")) < Number(input.dataset.last);
  return lower ? "◆ Lower than the last reading. Look again, or say what happened." : "◆ More than this cabinet can do in that time. Look again, or say what happened.";
}

function sentence(input, found) {
  if (found === null) return "";
  if (found.counts === null) return "This stretch will be left out.";
  const words = { money_in: "counts", plays: "plays", prizes_out: "prizes" }[input.dataset.reading];
  const worth = found.cents ? ` = ${amount(found.cents)}` : "";
  return `${found.how === "rolled over" ? "Went past its last number: " : ""}+${found.counts.toLocaleString("en")} ${words}${worth}`;
}

function showReading(input) {
  const block = input.closest(".small-gap");
  const found = read(input);
  const asked = question(input, found);
  block.querySelector("[data-explain]").hidden = !asked && !block.querySelector("select").value;
  block.querySelector("[data-delta]").textContent = asked || sentence(input, found);
}

// What was counted less what should be there, in minor units; null while one of them is not known.
function money(section) {
  const readings = [...section.querySelectorAll("[data-reading]")];
  const teller = readings.find((one) => one.dataset.reading === "money_in") || readings.find((one) => one.dataset.reading === "plays");
  const counted = total(section.querySelector("[data-count]"));
  const found = teller ? read(teller) : null;
  const known = found !== null && found.cents !== null && section.dataset.expected !== "" && section.dataset.taken !== "";
  const expected = known ? Number(section.dataset.expected) + found.cents - Number(section.dataset.taken) : null;
  const off = expected === null || counted === null || Number.isNaN(counted) ? null : counted - expected;
  return { expected, off, small: Math.abs(off) <= Number(section.dataset.price) };
}

const inWords = (off) => (off === 0 ? "Exact" : `${off < 0 ? "Short" : "Over"} by ${amount(Math.abs(off))}`);

function showMoney(section) {
  const { expected, off, small } = money(section);
  const verdict = section.querySelector("[data-verdict]");
  verdict.className = off === null ? "" : small ? "state good" : "state warn";
  if (off !== null) verdict.textContent = inWords(off);
  else verdict.textContent = expected === null ? "Counted" : `Should be ${amount(expected)}`;
  const estimate = section.querySelector("[name$='-estimate']"); // a correction keeps what was known at the bag
  if (estimate && !("amends" in estimate.form.dataset)) estimate.value = Math.max(0, expected ?? 0) || "";
}

// What to look at again before it is saved: a question each, never a block.
function questions(form) {
  const found = [];
  for (const input of form.querySelectorAll("[data-reading]")) {
    const text = question(input, read(input));
    if (text && !input.closest(".small-gap").querySelector("select").value) found.push({ input, text: `${text.slice(2)} Is it right?` });
  }
  for (const section of form.querySelectorAll("[data-cabinet]")) {
    const { off, small } = money(section);
    if (off !== null && !small) found.push({ input: section.querySelector("[data-sum]"), text: `${inWords(off)} against the meter. Is the count right?` });
  }
  const [paid, there] = [cents(form.elements.host_cents.value), counted(form)];
  if (paid > there) found.push({ input: form.elements.host_cents, text: `The host got ${amount(paid)}, but only ${amount(there)} was counted here. Is that right?` });
  return found;
}

const counted = (form) => [...form.querySelectorAll("[data-cabinet] [data-count]")].reduce((all, each) => all + (total(each) ?? 0), 0);

function watchOthers(form, draft) {
  channel.addEventListener("message", ({ data }) => {
    if (data.sent !== form.elements.id?.value || !form.isConnected) return;
    above(form, "This visit was saved and sent from another tab. Start a new one if you come back here.");
    form.querySelector("button.main-action").disabled = true;
    draft.complain = () => {};
  });
}

// What a host paid at each visit gets of the cash counted here, rounded half up as settlements do.
function showShare(form) {
  const box = form.querySelector("[data-share]");
  if (!box) return;
  const sum = counted(form);
  box.querySelector("output").textContent = sum ? amount(Math.floor((sum * Number(box.dataset.share)) / 10_000 + 0.5)) : "–";
}

// A phone that is full can still send: the form itself goes to the server, if it came from there and one answers.
async function withoutKeeping(form, draft, problem) {
  if (form.elements.csrfmiddlewaretoken && !draft.photos.length && !(await who()).state) form.submit();
  else above(form, `It could not be kept on this phone (${problem.name}). Nothing is lost while this page stays open: make room, then save again.`);
}

export async function start(form) {
  const show = () => {
    form.querySelectorAll("[data-reading]").forEach(showReading);
    form.querySelectorAll("[data-cabinet]").forEach(showMoney);
    showShare(form);
  };
  startCounts(form);
  const draft = new Draft(form, (text) => { if (text || form.dataset.full) above(form, text); form.dataset.full = text; });
  form.addEventListener("input", ({ target }) => {
    if (target.matches("[aria-invalid]")) tell(target, ""); // said again when it is saved, if it still holds
    draft.keep();
    show();
  });
  form.addEventListener("change", show);
  // Only where the browser trusts the line can it keep more than what was typed; elsewhere the form is simply posted.
  const posts = !isSecureContext || "amends" in form.dataset;
  let busy = false;
  form.addEventListener("submit", async (event) => {
    if (posts && !draft.left) {
      form.elements.left_at.value ||= new Date().toISOString();
      draft.keep();
      return;
    }
    event.preventDefault();
    if (busy || draft.left) return;
    busy = true;
    try {
      await save(form, draft, () => questions(form));
    } catch (problem) {
      draft.closed = false;
      await withoutKeeping(form, draft, problem);
    } finally {
      busy = false;
    }
  });
  show();
  await draft.bringBack();
  if (!posts) {
    startPhotos(form, draft, tell);
    watchOthers(form, draft);
  }
  show();
  form.dataset.ready = "";
}
