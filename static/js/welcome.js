// The browser knows the time zone and where people measure in inches; first guesses that can be changed.
const zone = document.querySelector("select[name=time_zone]");
const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
if (zone.value === "UTC" && [...zone.options].some((option) => option.value === here)) zone.value = here;

const units = document.querySelector("select[name=units]");
if (/-(US|LR|MM)$/.test(navigator.language)) units.value = "customary";
