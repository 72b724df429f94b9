// Counting money: a running total beside every count, and − / + buttons for coins and notes.
const symbol = (box) => box.dataset.symbol || document.body.dataset.symbol || "";

export function amount(cents) {
  const sign = cents < 0 ? "−" : "";
  const digits = Number(document.body.dataset.digits || 2);
  const whole = Math.abs(cents) / 10 ** digits;
  return sign + symbol(document.body) + whole.toLocaleString("en", { minimumFractionDigits: digits, maximumFractionDigits: digits });
}

const GROUPED = /^[1-9]\d{0,2}(?:(?:,\d{3}){1,3}(?:\.\d*)?|(?:\.\d{3}){1,3}(?:,\d*)?)$/;
const PLAIN = /^(?=[.,]?\d)\d{0,12}(?:[.,]\d*)?$/;

// Reads what the server would (kit/money.py): 12.50, 12,50, 1,234.50. NaN when it is no amount.
export function cents(text) {
  const digits = Number(document.body.dataset.digits || 2);
  let plain = text.replace(/[\s\u00a0\u202f']/g, "").replace(symbol(document.body), "").replace(/(\d)[.,][-–—]{1,2}$/, "$1");
  if (GROUPED.test(plain) && !(digits === 3 && /^\d+\.\d{3}$/.test(plain))) {
    plain = plain.replaceAll(plain.match(/[.,]/)[0], "");
  } else if (!PLAIN.test(plain)) return NaN;
  const [whole, part = ""] = plain.replace(",", ".").split(".");
  return part.length > digits ? NaN : Number(whole) * 10 ** digits + Number(part.padEnd(digits, "0"));
}

// A whole number without the signs between its thousands, as kit/forms.CountField has it: 12.310, 12,310, 12 310.
export const whole = (text) => (/^(?!0[.,])\d{1,3}([.,'\s]\d{3})+$/.test(text.trim()) ? text.replace(/\D/g, "") : text.trim());

// Grams as cash/forms.GramsField has them: 5670, 5,670 or 5670,5. Three decimals are more likely kilograms: NaN.
function grams(text) {
  const plain = text.trim().replace(/,(?=\d{3}\b)/g, "").replace(",", ".");
  return /^(?=\.?\d)\d*(\.\d{0,2})?$/.test(plain) ? Number(plain) : NaN;
}

export const coins = (input) => Math.round(grams(input.value) / Number(input.dataset.grams));

// Beside a weight: how many coins that is, and how far the scale is from exactly that many.
function weigh(input) {
  const label = input.labels[0];
  const said = label.querySelector("output") ?? label.appendChild(Object.assign(document.createElement("output"), { className: "help" }));
  const pieces = coins(input);
  const off = grams(input.value) - pieces * Number(input.dataset.grams);
  const words = Math.abs(off) < 0.005 ? "to the gram" : `${Math.abs(off).toFixed(2)} g ${off > 0 ? "over" : "under"}`;
  said.textContent = input.value.trim() && !Number.isNaN(pieces) ? `${pieces.toLocaleString("en")} coins, ${words}` : "";
}

// The sum of one count in cents, or null while nothing is typed.
export function total(box) {
  let sum = null;
  for (const input of box.querySelectorAll("input")) {
    const typed = input.value.trim();
    if (!typed) continue;
    let worth = 0;
    if ("sum" in input.dataset) worth = cents(typed);
    else if (input.dataset.grams) worth = coins(input) * Number(input.dataset.cents);
    else worth = Number(whole(typed)) * Number(input.dataset.cents);
    sum = (sum ?? 0) + worth;
  }
  return sum;
}

function show(box) {
  box.querySelectorAll("input[data-grams]").forEach(weigh);
  const sum = total(box);
  box.querySelector("[data-total]").textContent = sum === null ? "–" : Number.isNaN(sum) ? "not a number" : amount(sum);
}

// The box of a form kept on a phone before pages came with it. Who types must not lose the field under the thumb, so it
// is moved only there.
function boxed(input) {
  const row = document.createElement("span");
  row.className = "stepper";
  input.replaceWith(row);
  row.append(input);
  return row;
}

function stepper(input) {
  const name = input.labels[0]?.firstChild.textContent.trim() || "";
  const row = input.closest(".stepper") ?? boxed(input);
  const button = (sign, by) => {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "plain";
    made.textContent = sign;
    made.tabIndex = -1;
    made.setAttribute("aria-label", `${by > 0 ? "One more" : "One fewer"}: ${name}`);
    made.addEventListener("click", () => {
      input.value = Math.max(0, Number(whole(input.value)) + by);
      input.dispatchEvent(new Event("input", { bubbles: true }));
    });
    return made;
  };
  input.before(button("−", -1));
  row.append(button("+", 1));
}

export function start(root = document) {
  root.querySelectorAll("input[data-step]").forEach(stepper);
  root.querySelectorAll("[data-count]").forEach((box) => {
    box.addEventListener("input", () => show(box));
    show(box);
  });
}
