// A stranger's report: when it cannot be sent it says so, and what was written stays until it is.
import { within } from "./clock.js";

const form = document.querySelector("form[data-report]");
const key = `report ${location.pathname}`;
const kept = () => [...form.elements].filter((one) => one.name && one.name !== "csrfmiddlewaretoken" && (!["radio", "checkbox"].includes(one.type) || one.checked));

function keep() {
  sessionStorage.setItem(key, JSON.stringify(kept().map((one) => [one.name, one.value])));
}

function bringBack() {
  for (const [name, value] of JSON.parse(sessionStorage.getItem(key) ?? "[]")) {
    const field = form.elements[name];
    if (field.type === "checkbox") field.checked = true;
    else field.value = value;
  }
}

async function send() {
  const note = document.querySelector("[data-not-sent]");
  const button = form.querySelector("button");
  note.hidden = true;
  button.disabled = true;
  try {
    const answer = await fetch(location.href, { method: "POST", body: new FormData(form), signal: within(20_000) });
    const isOurs = answer.redirected && new URL(answer.url).searchParams.has("sent");
    if (isOurs) {
      sessionStorage.removeItem(key);
      location.assign(answer.url);
    } else if (answer.status >= 500 || answer.ok) note.hidden = false;
    else form.submit(); // what is wrong with it, the page itself says
  } catch {
    note.hidden = false;
  } finally {
    button.disabled = false;
  }
  if (!note.hidden) note.scrollIntoView({ block: "center" });
}

if (form) {
  if (!form.querySelector(".errorlist")) bringBack();
  form.addEventListener("input", keep);
  form.addEventListener("submit", (event) => { event.preventDefault(); send(); });
}
