// Photos and the host's signature: made small here, kept with the draft, shown until they are sent.
import { unfold } from "./draft.js";
import { get, put } from "./store.js";

const LONGEST_SIDE = 1600;
const MOST = 12; // photos of one cabinet in one visit

const jpeg = async (canvas) => (await new Promise((done) => { canvas.toBlob(done, "image/jpeg", 0.82); })).arrayBuffer();

// At once: a browser takes its time for a blob, and the battery may end meanwhile.
const drawn = (canvas) => Uint8Array.from(atob(canvas.toDataURL("image/jpeg", 0.82).split(",")[1]), (sign) => sign.charCodeAt(0)).buffer;

async function shrink(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
  const canvas = Object.assign(document.createElement("canvas"), { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return jpeg(canvas);
}

async function show(list, draft, photo, number) {
  const bytes = (await get("photos", photo.id))?.bytes;
  const line = document.createElement("li");
  const picture = Object.assign(document.createElement("img"), { alt: `Photo ${number}`, className: "photo small" });
  picture.src = URL.createObjectURL(new Blob([bytes ?? ""], { type: "image/jpeg" }));
  const away = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: `Leave out photo ${number}` });
  away.addEventListener("click", async () => { await draft.dropPhoto(photo.id); line.remove(); });
  line.append(picture, away);
  list.append(line);
}

// `list` shows what was chosen in the field before it, and belongs to what the nearest prefix names.
function chooser(list, draft, tell) {
  const { prefix } = list.closest("[data-prefix]").dataset;
  const input = list.previousElementSibling.querySelector("input[type=file]");
  const mine = () => draft.photos.filter((photo) => photo.prefix === prefix);
  const showAll = () => mine().forEach((photo, place) => show(list, draft, photo, place + 1));
  list.hidden = false;
  showAll();
  if (mine().length) unfold(list);
  input.addEventListener("change", async () => {
    const problems = [];
    for (const file of [...input.files]) {
      if (mine().length >= MOST) { problems.push(`Only ${MOST} photos of one cabinet can be kept.`); break; }
      try {
        const photo = { id: crypto.randomUUID(), prefix };
        await draft.addPhoto(photo, await shrink(file));
        show(list, draft, photo, mine().length);
      } catch (problem) {
        problems.push(`${file.name} was left out: ${problem.name === "QuotaExceededError" ? "this phone has no room for it" : "this phone cannot read it as a photo"}.`);
      }
    }
    input.value = "";
    tell(input, problems.join(" "));
  });
}

function pad(box, draft) {
  const canvas = box.querySelector("canvas");
  const pen = canvas.getContext("2d");
  const wipe = () => { pen.fillStyle = "#fff"; pen.fillRect(0, 0, canvas.width, canvas.height); };
  const point = (event) => {
    const { left, top, width, height } = canvas.getBoundingClientRect();
    return [((event.clientX - left) * canvas.width) / width, ((event.clientY - top) * canvas.height) / height];
  };
  const keep = async () => {
    draft.signature ??= crypto.randomUUID();
    await put("photos", { id: draft.signature, bytes: drawn(canvas) });
    await draft.keep();
  };
  let drawing = false;
  canvas.addEventListener("pointerdown", (event) => { drawing = true; canvas.setPointerCapture(event.pointerId); pen.beginPath(); pen.moveTo(...point(event)); });
  canvas.addEventListener("pointermove", (event) => { if (drawing) { pen.lineTo(...point(event)); pen.stroke(); } });
  for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => { if (drawing) keep(); drawing = false; });
  box.querySelector("button").addEventListener("click", async () => { wipe(); draft.signature = null; await draft.keep(); });
  wipe();
  Object.assign(pen, { lineWidth: 4, lineCap: "round", lineJoin: "round", strokeStyle: "#000" });
  if (draft.signature) get("photos", draft.signature).then(async (kept) => { if (kept) pen.drawImage(await createImageBitmap(new Blob([kept.bytes])), 0, 0); });
  box.hidden = false;
}

// `tell(input, text)` shows a problem beside its field.
export function start(form, draft, tell) {
  form.querySelectorAll("[data-photos]").forEach((list) => chooser(list, draft, tell));
  const signature = form.querySelector("[data-signature]");
  if (signature) pad(signature, draft);
}
