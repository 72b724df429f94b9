// The visit page while it is filled in: what the meters make of the readings, whether the money is right,
// and a draft on this phone so that nothing typed is lost. Without this file the page still works.
import { amount, total } from "./count.js";
import { interval } from "./rules.js";

const form = document.querySelector("form[data-visit]");

function read(input) {
  const { last, lastAt, digits, perPlay, tests, countsTests, value } = input.dataset;
  const typed = input.value.replace(/[\s.,]/g, "");
  if (!typed || last === "" || !/^\d+$/.test(typed)) return null;
  const section = input.closest("[data-cabinet]");
  const arrived = Date.parse(form.elements.arrived_at.value) || Date.now();
  const first = section.querySelector("[name$=tests_first]").checked;
  const testPlays = first && countsTests === "1" ? Number(section.querySelector("[name$='-tests']").value || 0) : 0;
  const found = interval({
    last: Number(last), value: Number(typed), digits: Number(digits), perPlay: Number(perPlay),
    seconds: (arrived - Date.parse(lastAt)) / 1000, tests: Number(tests) + testPlays * Number(perPlay),
    explained: input.closest(".small-gap").querySelector("select").value,
  });
  return { ...found, cents: found.counts === null ? null : found.counts * Number(value) };
}

function showReading(input) {
  const block = input.closest(".small-gap");
  const found = read(input);
  const asked = found !== null && found.how === "question";
  block.querySelector("[data-explain]").hidden = !asked && !block.querySelector("select").value;
  const words = { money_in: "counts", plays: "plays", prizes_out: "prizes" }[input.dataset.reading];
  const worth = found && found.cents ? ` = ${amount(found.cents)}` : "";
  const sentence = () => {
    if (found === null) return "";
    if (found.how === "question") return Number(input.value.replace(/\D/g, "")) < Number(input.dataset.last) ? "◆ Lower than the last reading. Look again, or say what happened." : "◆ More than this cabinet can do in that time. Look again, or say what happened.";
    if (found.counts === null) return "This stretch will be left out.";
    return `${found.how === "rolled over" ? "Went past its last number: " : ""}+${found.counts.toLocaleString("en")} ${words}${worth}`;
  };
  block.querySelector("[data-delta]").textContent = sentence();
}

function showMoney(section) {
  const readings = [...section.querySelectorAll("[data-reading]")];
  const teller = readings.find((one) => one.dataset.reading === "money_in") || readings.find((one) => one.dataset.reading === "plays");
  const counted = total(section.querySelector("[data-count]"));
  const found = teller ? read(teller) : null;
  const known = found !== null && found.cents !== null && section.dataset.expected !== "" && section.dataset.taken !== "";
  const verdict = section.querySelector("[data-verdict]");
  const expected = known ? Number(section.dataset.expected) + found.cents - Number(section.dataset.taken) : null;
  verdict.className = "";
  if (counted === null || Number.isNaN(counted) || expected === null) {
    verdict.textContent = expected === null ? "Counted" : `Should be ${amount(expected)}`;
    return;
  }
  const off = counted - expected;
  if (off === 0) verdict.textContent = "Exact";
  else verdict.textContent = `${off < 0 ? "Short" : "Over"} by ${amount(Math.abs(off))}`;
  verdict.className = Math.abs(off) <= Number(section.dataset.price) ? "state good" : "state warn";
}

function show() {
  form.querySelectorAll("[data-reading]").forEach(showReading);
  form.querySelectorAll("[data-cabinet]").forEach(showMoney);
}

// The draft: what was typed, under the page it belongs to, until the visit is saved.
const key = `visit ${form.dataset.visit}`;
const kept = () => [...form.elements].filter((one) => one.name && !["file", "submit"].includes(one.type) && !["csrfmiddlewaretoken", "cabinet", "asked"].includes(one.name));

function keep() {
  const values = {};
  for (const one of kept()) values[one.name] = one.type === "checkbox" ? one.checked : one.value;
  localStorage.setItem(key, JSON.stringify({ at: Date.now(), values }));
}

function bringBack() {
  const draft = JSON.parse(localStorage.getItem(key) || "null");
  if (!draft || form.querySelector("[aria-invalid], .errorlist") || document.querySelector("[role=alert]")) return;
  for (const one of kept()) {
    if (!(one.name in draft.values)) continue;
    if (one.type === "checkbox") one.checked = draft.values[one.name];
    else one.value = draft.values[one.name];
    if (draft.values[one.name] && one.type !== "hidden") for (let fold = one.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  }
  const note = document.querySelector("[data-draft-note]");
  note.hidden = false;
  const at = new Date(draft.at);
  const day = at.toDateString() === new Date().toDateString() ? "" : `on ${at.toLocaleDateString([], { weekday: "short", day: "numeric", month: "short" })} `;
  note.textContent = `Brought back what you had typed here ${day}at ${at.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}, not saved yet. Photos must be chosen again. `;
  const drop = document.createElement("button");
  drop.type = "button";
  drop.className = "plain";
  drop.textContent = "Start empty";
  drop.addEventListener("click", () => { localStorage.removeItem(key); location.reload(); });
  note.append(drop);
}

if (form) {
  // On a slow line somebody may have typed before this file arrived: that comes first, and is kept.
  const typedAlready = kept().some((one) => one.type !== "hidden" && one.type !== "checkbox" && !one.options && one.value !== one.defaultValue);
  if (typedAlready) keep();
  else bringBack();
  form.addEventListener("input", () => { keep(); show(); });
  form.addEventListener("change", show);
  form.addEventListener("submit", () => {
    // The departure is the first time it is sent; sending again must say the same.
    if (!form.elements.left_at.value) form.elements.left_at.value = new Date().toISOString();
    keep();
  });
  show();
}
