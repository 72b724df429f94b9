// A cabinet this phone knows nothing about: what it shows and holds is written down, and finished with a network.
import { local } from "./clock.js";
import { add, letGo } from "./outbox.js";
import { fetchStop } from "./stops.js";
import { get, put } from "./store.js";

const find = (name) => document.querySelector(`[data-${name}]`);

export function startEntry(code, me) {
  const form = find("unknown").querySelector("form");
  find("unknown").hidden = false;
  form.elements.code.value = code;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const values = Object.fromEntries([...form.elements].filter((one) => one.name).map((one) => [one.name, one.value.trim()]));
    const id = crypto.randomUUID();
    const problem = { status: 0, errors: { "": "This phone did not know the cabinet: finish it when there is a network." } };
    await add({ id, person: me.person, name: me.name, key: id, place: values.code, saved: Date.now(), document: null, values, photos: [], signature: null, problem, unknown: true });
    location.assign("/phone/");
  });
}

// Puts what was written down into the visit form of the place where the cabinet stands.
async function intoDraft(item, stop) {
  const form = new DOMParser().parseFromString(stop.form, "text/html").querySelector("form[data-visit]");
  const code = item.values.code.toUpperCase();
  const cabinet = stop.cabinets.find((one) => one.code === code) ?? stop.cabinets.find((one) => one.label === code.replace(/[\s-]/g, "")) ?? stop.cabinets[0];
  const section = form.querySelector(`[data-cabinet="${cabinet.id}"]`);
  const values = { id: item.id, arrived_at: local(item.saved, stop.zone), left_at: "" };
  for (const input of section.querySelectorAll("[data-reading]")) values[input.name] = item.values[input.dataset.reading] ?? "";
  values[`${section.dataset.prefix}-cash-sum`] = item.values.sum;
  values[`${section.dataset.prefix}-note`] = item.values.note;
  return { key: form.dataset.visit, at: item.saved, values, photos: [], signature: null };
}

export async function startFinishing(item) {
  try {
    const stop = await fetchStop(`/sync/cabinets/${encodeURIComponent(item.values.code)}/`);
    const draft = await intoDraft(item, stop);
    if (await get("drafts", draft.key)) throw new Error("There is another half-entered visit at this place. Save it or start empty there first.");
    await put("drafts", draft);
    await letGo(item);
    location.assign(`/visits/new/${stop.id}/`);
  } catch (problem) {
    find("asked").hidden = false;
    find("asked").textContent = `${item.values.code}: ${problem.message}`;
  }
}
