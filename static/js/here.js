// "I am here": writes the phone's position into the form's coordinates, whose names begin with what data-here says.
// Without it the form is typed.
for (const button of document.querySelectorAll("[data-here]")) {
  if (!navigator.geolocation) break;
  const form = button.form, says = form.querySelector("[data-here-says]");
  button.hidden = false;
  button.addEventListener("click", () => {
    says.textContent = "Asking the phone where it is …";
    button.disabled = true;
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        form.elements[`${button.dataset.here}latitude`].value = coords.latitude.toFixed(6);
        form.elements[`${button.dataset.here}longitude`].value = coords.longitude.toFixed(6);
        says.textContent = `Written, right to about ${Math.ceil(coords.accuracy)} m.`;
        button.disabled = false;
      },
      (problem) => {
        says.textContent = problem.code === problem.PERMISSION_DENIED
          ? "The phone may not tell its position to this page. Allow it in the browser, or type the coordinates."
          : "The phone does not know where it is. Try again in the open, or type the coordinates.";
        button.disabled = false;
      },
      { enableHighAccuracy: true, timeout: 20000, maximumAge: 30000 },
    );
  });
}
