// The browser knows the time zone; it is only a first guess that can be changed.
const zone = document.querySelector("select[name=time_zone]");
const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
if (zone.value === "UTC" && [...zone.options].some((option) => option.value === here)) zone.value = here;
