// Small habits of every page: forms that submit themselves on change, and printing.
document.addEventListener("change", (event) => {
  const form = event.target.closest("form[data-submit-on-change]");
  if (form) form.requestSubmit();
});
document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
});
// A form that came back opens at the first thing to look at again, also where it lies folded.
addEventListener("load", () => {
  const asked = document.querySelector("main [aria-invalid=true], main .errorlist");
  if (!asked) return;
  for (let fold = asked.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  asked.scrollIntoView({ block: "center" });
  if (asked.matches("input, select, textarea")) asked.focus({ preventScroll: true });
});
// Where the tabs are one long row, the one that is open is in sight.
document.querySelectorAll(".subnav [aria-current]").forEach((tab) => { tab.parentElement.scrollLeft = tab.offsetLeft - 40; });
