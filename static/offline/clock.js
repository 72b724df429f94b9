// Moments as a place's clock shows them, how long ago something was, and how long to wait.
const SHOWN = { hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit" };
const DAY = 86_400_000;

// A moment in milliseconds as an input of type datetime-local writes it.
export function local(at, timeZone) {
  const parts = new Intl.DateTimeFormat("en-GB", { ...SHOWN, timeZone }).formatToParts(at);
  const { year, month, day, hour, minute } = Object.fromEntries(parts.map(({ type, value }) => [type, value]));
  return `${year.padStart(4, "0")}-${month}-${day}T${hour}:${minute}`;
}

// The moment a place's clock shows such a text: the first of two, as on the server; NaN when it never did.
export function moment(text, timeZone) {
  const there = Date.parse(`${text.slice(0, 16)}Z`);
  if (Number.isNaN(there)) return NaN;
  const ahead = (at) => Date.parse(`${local(at, timeZone)}Z`) - Math.floor(at / 60_000) * 60_000;
  const tries = [there - ahead(there - DAY), there - ahead(there + DAY)];
  const right = tries.filter((at) => local(at, timeZone) === text.slice(0, 16));
  return right.length ? Math.min(...right) : NaN;
}

// For a fetch that gives up after so many milliseconds, also in browsers without AbortSignal.timeout.
export function within(milliseconds) {
  const stop = new AbortController();
  setTimeout(() => stop.abort(), milliseconds);
  return stop.signal;
}

export function ago(at) {
  const minutes = Math.round((Date.now() - at) / 60_000);
  if (minutes < 1) return "just now";
  if (minutes < 60) return `${minutes} min ago`;
  const hours = Math.round(minutes / 60);
  return hours < 48 ? `${hours} h ago` : `${Math.round(hours / 24)} days ago`;
}

export function said(at) {
  const then = new Date(at);
  const day = then.toDateString() === new Date().toDateString() ? "" : `${then.toLocaleDateString("en-GB", { weekday: "short", day: "numeric", month: "short" })}, `;
  return day + then.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
}

export function span(milliseconds) {
  const minutes = Math.round(Math.abs(milliseconds) / 60_000);
  return minutes < 90 ? `${minutes} min` : `${Math.round(minutes / 60)} h`;
}
