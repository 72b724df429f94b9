// A half-entered visit: what was typed, chosen and drawn, under the person and page it belongs to.
import { said } from "./clock.js";
import { channel } from "./outbox.js";
import { change, drop, get, holdOn, put } from "./store.js";

const NEVER = ["csrfmiddlewaretoken", "cabinet", "asked"];
const kept = (form) => [...form.elements].filter((one) => one.name && !["file", "submit"].includes(one.type) && !NEVER.includes(one.name));

export function valuesOf(form) {
  return Object.fromEntries(kept(form).map((one) => [one.name, one.type === "checkbox" ? one.checked : one.value]));
}

export function unfold(one) {
  for (let fold = one.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
}

const isTyped = (one) => !["hidden", "checkbox"].includes(one.type) && !one.options && one.value !== one.defaultValue;

// What was typed while the draft was looked for is newer than it.
function fill(form, values) {
  for (const one of kept(form)) {
    const value = values[one.name];
    if (value === undefined || isTyped(one)) continue;
    if (one.type === "checkbox") one.checked = value;
    else one.value = value;
    if (value && one.type !== "hidden") unfold(one);
  }
}

// Drafts used to lie in the browser's local storage, where photos have no room.
async function moveOld() {
  for (const name of Object.keys(localStorage).filter((one) => one.startsWith("visit "))) {
    const { at, values } = JSON.parse(localStorage.getItem(name));
    await put("drafts", { key: name.slice(6), at, values, photos: [], signature: null });
    localStorage.removeItem(name);
  }
}

export class Draft {
  #writing = null;
  #again = false;

  // `complain` is told in words when the phone keeps nothing more, and with an empty text when it does again.
  constructor(form, complain) {
    this.form = form;
    this.complain = complain;
    this.key = form.dataset.visit;
    this.photos = [];
    this.signature = null;
    this.served = form.elements.csrfmiddlewaretoken && form.elements.arrived_at?.defaultValue; // the arrival as the server told it
    this.left = false; // another tab writes it; browsers that know no `inert` let this one be used on
    this.closed = false; // set once it went into the outbox or another tab: nothing is written any more
    channel.addEventListener("message", ({ data }) => { if (data.draft === this.key) this.#leave(); });
  }

  // Brings back what was typed; true when there was something.
  async bringBack() {
    await moveOld();
    const old = await get("drafts", this.key);
    if (!old) return false;
    this.photos = old.photos;
    this.signature = old.signature;
    this.served = old.served;
    // A form that came back from the server with marks is newer than the draft.
    if (this.form.querySelector("[aria-invalid=true], .errorlist")) return false;
    fill(this.form, old.values);
    this.#tell(old.at);
    return true;
  }

  #note(text, label, act) {
    const note = document.querySelector("[data-draft-note]");
    const button = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: label });
    button.addEventListener("click", act);
    note.replaceChildren(`${text} `, button);
    note.hidden = false;
    return note;
  }

  #tell(at) {
    this.#note(`Brought back what you had entered here at ${said(at)}; it is not saved yet.`, "Start empty", async () => { await this.drop(); location.reload(); });
  }

  // Another tab writes this draft now. Two that write would each forget what was typed in the other.
  #leave() {
    if (this.closed) return;
    this.closed = this.left = this.form.inert = true;
    this.#again = false;
    this.#note("You went on with this in another tab. Nothing is lost.", "Go on here", () => location.reload()).scrollIntoView({ block: "center" });
  }

  // What was typed last is on the disk when this is over. Typing on while it writes costs one more write.
  keep() {
    this.#again = !this.closed;
    this.#writing ??= this.#writeAll();
    return this.#writing;
  }

  async #writeAll() {
    while (this.#again) {
      this.#again = false;
      await this.#write();
    }
    this.#writing = null;
  }

  async #write() {
    const { key, photos, signature, served } = this;
    try {
      await put("drafts", { key, at: Date.now(), values: valuesOf(this.form), photos, signature, served });
      channel.postMessage({ draft: key });
      this.complain("");
      holdOn();
    } catch (problem) {
      this.complain(`This phone keeps nothing more (${problem.name}): what you type now is only on this page. Make room, or save while there is a network.`);
    }
  }

  async addPhoto(photo, bytes) {
    await put("photos", { id: photo.id, bytes });
    this.photos.push(photo);
    return this.keep();
  }

  async dropPhoto(id) {
    this.photos = this.photos.filter((photo) => photo.id !== id);
    await drop("photos", id);
    return this.keep();
  }

  drop() {
    const gone = [...this.photos.map((photo) => photo.id), this.signature].filter(Boolean);
    return change(["drafts", "photos"], (store) => {
      gone.forEach((id) => store("photos").delete(id));
      store("drafts").delete(this.key);
    });
  }
}
