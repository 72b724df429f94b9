// The page at the door as the server gave it. Only where the browser trusts the line can it keep more than what was
// typed; elsewhere the form is simply posted.
import { start } from "./arrival.js";

const form = document.querySelector("form[data-order]");
form.dataset.personName = document.body.dataset.personName;
if (isSecureContext) start(form);
