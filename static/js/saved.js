// The visit arrived: the draft on this phone has done its work.
for (const key of document.querySelector("[data-saved]").dataset.saved.split(" ")) localStorage.removeItem(`visit ${key}`);
