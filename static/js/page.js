// Small habits of every page: forms that submit themselves on change, and printing.
document.addEventListener("change", (event) => {
  const form = event.target.closest("form[data-submit-on-change]");
  if (form) form.requestSubmit();
});
document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
});
