// The visit arrived: the draft on this phone has done its work.
import { drop } from "../offline/store.js";

for (const key of document.querySelector("[data-saved]").dataset.saved.split(" ")) drop("drafts", key);
