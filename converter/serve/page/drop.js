// A drop is enough: the form goes off as soon as there is a drawing, with what stands in the fields.
"use strict";
(() => {
  const field = document.getElementById("drawing"), zone = field.closest(".drop"), form = field.form;
  field.addEventListener("change", () => { if (field.files.length === 1) form.requestSubmit(); });
  for (const kind of ["dragenter", "dragover"]) zone.addEventListener(kind, () => zone.classList.add("over-it"));
  for (const kind of ["dragleave", "drop"]) zone.addEventListener(kind, () => zone.classList.remove("over-it"));
  // beside the field a browser would leave the page and show the file itself
  for (const kind of ["dragover", "drop"]) addEventListener(kind, (event) => {
    if (event.target.type !== "file") event.preventDefault();
  });
})();
