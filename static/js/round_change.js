// Stops are dragged into another order; the form then says the order as they stand. The buttons do the same without this.
const form = document.querySelector("form[data-stops]");
const list = form?.querySelector("[data-list]");
let dragged = null;

for (const stop of list?.querySelectorAll("[data-stop]") ?? []) {
  stop.draggable = true;
  stop.addEventListener("dragstart", (event) => {
    dragged = stop;
    stop.classList.add("dragged");
    event.dataTransfer.effectAllowed = "move";
    event.dataTransfer.setData("text/plain", "");
  });
  stop.addEventListener("dragend", () => stop.classList.remove("dragged"));
  stop.addEventListener("dragover", (event) => {
    event.preventDefault();
    if (!dragged || dragged === stop) return;
    const { top, height } = stop.getBoundingClientRect();
    if (event.clientY < top + height / 2) stop.before(dragged);
    else stop.after(dragged);
  });
}

list?.addEventListener("drop", (event) => {
  event.preventDefault();
  if (dragged) form.requestSubmit(form.querySelector("[data-save]"));
});
