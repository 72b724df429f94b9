// Deliveries taken along: the page at the door as it stood when it was fetched, for a dock without a network.
import { start } from "../js/arrival.js";
import { ago } from "./clock.js";
import { fetchJson, person } from "./stops.js";
import { all, drop, get, holdOn, put } from "./store.js";

// They lie among the notes, as rounds do. `path` is the page's address, by which it is found again.
const keyOf = (path) => `delivery ${path}`;

export async function deliveries() {
  const me = await person();
  const kept = (await all("notes")).filter((note) => note.key.startsWith("delivery ")).map((note) => note.delivery);
  return kept.filter((one) => one.person === me?.person);
}

export const forgetDelivery = (path) => drop("notes", keyOf(path));

async function take(address) {
  const { delivery } = await fetchJson(address, "delivery");
  await put("notes", { key: keyOf(delivery.path), delivery: { ...delivery, address, taken: Date.now() } });
  holdOn();
}

// What was taken along, as it stands now; one that is not expected any more stays as it is.
export const renewDeliveries = async () => Promise.all((await deliveries()).map((one) => take(one.address).catch(() => {})));

// Shows the page of an address; says whether this phone has it.
export async function showDelivery(path, me) {
  const { delivery } = (await get("notes", keyOf(path))) ?? {};
  if (delivery?.person !== me.person) return false;
  const box = document.querySelector("[data-delivery]");
  box.hidden = false;
  box.querySelector("[data-name]").textContent = delivery.name;
  box.querySelector("[data-age]").textContent = `As of ${ago(delivery.taken)}.`;
  // Made by our own server for this page; the policy lets no script in it run.
  box.querySelector("[data-form]").innerHTML = delivery.form;
  const form = box.querySelector("form[data-order]");
  form.elements.id.value = crypto.randomUUID();
  form.dataset.personName = me.name;
  await start(form);
  return true;
}

// The buttons “Take along” beside deliveries that are expected.
export function startButtons() {
  for (const button of document.querySelectorAll("[data-take-delivery]")) {
    const says = (text) => { button.nextElementSibling.textContent = text; };
    button.hidden = false;
    button.addEventListener("click", async () => {
      button.disabled = true;
      await take(button.dataset.takeDelivery).then(() => says("On this phone."), (problem) => says(problem.message));
      button.disabled = false;
    });
  }
}
