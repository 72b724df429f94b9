// The last resort: everything not sent yet as one file, which the owner brings in under Setup.
import { items } from "./outbox.js";
import { get } from "./store.js";

async function inText(id) {
  const kept = await get("photos", id);
  if (!kept) return [];
  let text = "";
  const bytes = new Uint8Array(kept.bytes);
  for (let start = 0; start < bytes.length; start += 32_768) text += String.fromCharCode(...bytes.subarray(start, start + 32_768));
  return [[id, btoa(text)]];
}

export async function saveFile() {
  const visits = [];
  for (const { person, name, place, saved, to, document, values, photos, signature } of (await items()).filter((item) => !item.note)) {
    const ids = [...photos.map((photo) => photo.id), signature].filter(Boolean);
    const pictures = Object.fromEntries((await Promise.all(ids.map(inText))).flat());
    visits.push({ person, name, place, saved: new Date(saved).toISOString(), to, document, values: document ? undefined : values, photos: pictures });
  }
  const file = new Blob([JSON.stringify({ unsent_visits: 1, visits }, null, 1)], { type: "application/json" });
  const link = Object.assign(window.document.createElement("a"), { href: URL.createObjectURL(file), download: `unsent-visits-${new Date().toISOString().slice(0, 10)}.json` });
  link.click();
}
