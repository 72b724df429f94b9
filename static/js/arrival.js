// The page at the door: what is typed is kept on the phone, and what is saved is sent when there is a network.
import { Draft, valuesOf } from "../offline/draft.js";
import { add } from "../offline/outbox.js";
import { start as startPhotos } from "../offline/photos.js";
import { above, deliver, tell } from "../offline/save.js";

function documentOf(form, draft) {
  const { id, ...fields } = valuesOf(form);
  const { order, follows, replaces } = form.dataset;
  return {
    id,
    order: Number(order),
    follows: follows ?? null,
    replaces: replaces ?? null,
    saved_at: new Date().toISOString(),
    fields,
    photos: Object.fromEntries(draft.photos.map((photo) => [photo.id, /^\d+$/.test(photo.prefix) ? Number(photo.prefix) : photo.prefix])),
  };
}

async function save(form, draft) {
  form.querySelectorAll("[aria-invalid]").forEach((input) => tell(input, ""));
  await draft.keep();
  const said = documentOf(form, draft);
  const [person] = draft.key.split(":");
  draft.closed = true;
  await draft.keep();
  // Its clock is put right by the server, from what the phone's shows when it is sent.
  await add({ id: said.id, to: "/sync/arrivals/", clock: "kept", person: Number(person), name: form.dataset.personName, key: draft.key, place: `Delivery ${form.dataset.name}`, saved: Date.now(), document: said, values: valuesOf(form), photos: draft.photos, signature: null });
  above(form, "Saved on this phone. Sending …");
  await deliver(form, draft, said, "/buying/deliveries/");
}

export async function start(form) {
  const draft = new Draft(form, (text) => { if (text || form.dataset.full) above(form, text); form.dataset.full = text; });
  let busy = false;
  form.addEventListener("input", () => draft.keep());
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (busy || draft.left || !form.reportValidity()) return;
    busy = true;
    try {
      await save(form, draft);
    } catch (problem) {
      draft.closed = false;
      above(form, `It could not be kept on this phone (${problem.name}). Nothing is lost while this page stays open: make room, then save again.`);
    } finally {
      busy = false;
    }
  });
  await draft.bringBack();
  startPhotos(form, draft, tell);
  form.dataset.ready = "";
}
