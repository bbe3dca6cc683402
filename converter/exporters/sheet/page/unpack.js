// What the page holds deflated: the 3D viewer, geometry, and texts in other units and roundings.
"use strict";

// The text of a packed block, by its id; refused where the browser is too old to inflate.
async function unpacked(id) {
  const block = document.getElementById(id);
  const bytes = Uint8Array.from(atob(block.textContent.trim()), (letter) => letter.charCodeAt(0));
  block.remove();
  return new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"))).text();
}

// The viewer runs as the script it is: the page's policy knows it by its hash.
async function loadViewer() {
  const script = document.createElement("script");
  script.textContent = await unpacked("viewer");
  document.head.append(script);
}

// The steps at the bender and the tape, which the tasks and the set-up table say too, into their places in order.
async function fillSteps() {
  const lists = JSON.parse(await unpacked("steps")), tapes = document.querySelectorAll("[data-tape]");
  document.querySelectorAll("ol.steps").forEach((list, i) => {
    const [steps, tape] = lists[i].split("<hr>");
    list.innerHTML = steps;
    tapes[i].innerHTML = tape;
  });
}

// The large lines of each task, which bench view shows, into their templates in order.
async function fillLines() {
  const lines = JSON.parse(await unpacked("lines"));
  document.querySelectorAll(".tasks template").forEach((template, i) => (template.innerHTML = lines[i]));
}

// The buttons below each 3D view, and what is said of it: those of one kind of view are alike.
function fillTurns() {
  for (const place of document.querySelectorAll("[data-turns]")) {
    place.append(document.getElementById("turns-" + place.dataset.turns).content.cloneNode(true));
    const words = place.querySelector("figcaption");
    if (words) place.after(words);
  }
}
