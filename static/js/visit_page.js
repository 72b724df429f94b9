// The visit page as the server gave it.
import { start } from "./visit.js";

const form = document.querySelector("form[data-visit]");
form.dataset.personName = document.body.dataset.personName;
start(form);
