// The list of deliveries: those expected can be taken along.
import { startButtons } from "../offline/deliveries.js";

if (isSecureContext) startButtons();
