// Units, light, ticks and steps. What is remembered stays in this browser, under the sheet's revision mark.
"use strict";

const store = {
  mark: "elbowroom-sheet/ticks/" + document.body.dataset.mark,
  get(key) {
    try {
      return localStorage.getItem(key);
    } catch (refused) {
      this.refused();
      return null;
    }
  },
  set(key, value) {
    try {
      localStorage.setItem(key, value);
    } catch (refused) {
      this.refused();
    }
  },
  refused() {
    document.getElementById("forgetful").hidden = false;
  },
};

const root = document.documentElement;
const news = (text) => {
  document.getElementById("news").textContent = text;
};

// --- light and dark
function startTheme() {
  const button = document.getElementById("theme");
  const asked = matchMedia("(prefers-color-scheme: dark)");
  const dark = () => (root.classList.contains("dark") ? true : root.classList.contains("light") ? false : asked.matches);
  const show = () => {
    button.setAttribute("aria-pressed", String(dark()));
    stages.redrawAll();
  };
  button.addEventListener("click", () => {
    const next = dark() ? "light" : "dark";
    root.classList.remove("light", "dark");
    root.classList.add(next);
    store.set("elbowroom-sheet/theme", next);
    show();
  });
  asked.addEventListener("change", show);
  button.setAttribute("aria-pressed", String(dark()));
}

// --- ticks
function startTicks() {
  const boxes = [...document.querySelectorAll("input[data-tick]")];
  const counts = new Map();
  for (const box of boxes) {
    const key = box.dataset.tick.split("/")[0];
    if (!counts.has(key)) counts.set(key, []);
    counts.get(key).push(box);
  }
  const count = (key) => {
    const mine = counts.get(key) || [], done = mine.filter((box) => box.checked).length;
    const text = !mine.length ? "" : done === mine.length ? "✓ all " + done + " ticked" : done + " of " + mine.length + " ticked";
    for (const place of document.querySelectorAll('[data-ticked="' + key + '"]'))
      place.textContent = "short" in place.dataset ? text.replace(/ ticked| all/g, "") : text;
  };
  const keep = () => store.set(store.mark, JSON.stringify(boxes.filter((box) => box.checked).map((box) => box.dataset.tick)));
  const read = () => {
    let ticked = [];
    try {
      ticked = JSON.parse(store.get(store.mark) || "[]");
    } catch (broken) {
      ticked = [];
    }
    const known = new Set(Array.isArray(ticked) ? ticked : []);
    for (const box of boxes) box.checked = known.has(box.dataset.tick);
    for (const key of counts.keys()) count(key);
  };
  read();
  for (const box of boxes)
    box.addEventListener("change", () => {
      keep();
      count(box.dataset.tick.split("/")[0]);
    });
  // the same sheet in a second window
  addEventListener("storage", (event) => {
    if (event.key === store.mark) read();
  });
  const sure = document.getElementById("sure");
  document.getElementById("clear").addEventListener("click", () => sure.showModal());
  sure.addEventListener("close", () => {
    if (sure.returnValue === "yes") {
      for (const box of boxes) box.checked = false;
      keep();
      for (const key of counts.keys()) count(key);
      bench.forget();
      news("All ticks cleared");
    }
    sure.returnValue = "";
  });
}

// --- steps
function sayStep(bench, aloud) {
  const shown = bench.querySelector(".big:not([hidden])");
  const count = Number(bench.dataset.count), at = Number(bench.querySelector("input[type=range]").value);
  const title = shown.querySelector("h4").textContent;
  bench.querySelector("[data-count-text]").textContent = at ? "Step " + at + " of " + count : "Before the first bend; " + count + (count === 1 ? " step" : " steps");
  bench.querySelector("input[type=range]").setAttribute("aria-valuetext", title + (at ? ", step " + at + " of " + count : ""));
  // what was said stays readable: not in the other unit
  if (!aloud) {
    bench.querySelector("[data-live]").textContent = "";
    return;
  }
  // what is seen is said: in the unit that shows
  const words = [...shown.querySelectorAll("dl > div")].map((row) => row.innerText.replace(/\s+/g, " ").trim());
  bench.querySelector("[data-live]").textContent = title + ". " + words.join(". ");
}

function startSteps() {
  for (const bench of document.querySelectorAll(".bender")) {
    const slider = bench.querySelector("input[type=range]");
    const stage = bench.querySelector(".stage");
    const items = [...bench.querySelectorAll(".big")];
    const show = () => {
      const at = Number(slider.value);
      for (const item of items) item.hidden = Number(item.dataset.step) !== at;
      for (const button of bench.querySelectorAll("[data-move]")) {
        const next = at + Number(button.dataset.move);
        button.setAttribute("aria-disabled", String(next < 0 || next > Number(slider.max)));
      }
      stages.setStep(stage, at);
      const name = items[at].querySelector("h4").textContent;
      stage.setAttribute("aria-label", at ? "The stick in the bender after " + name.toLowerCase() + ", in 3D" : "The straight stick in the bender, in 3D");
      sayStep(bench, true);
    };
    slider.addEventListener("input", show);
    for (const button of bench.querySelectorAll("[data-move]"))
      button.addEventListener("click", () => {
        const next = Math.min(Number(slider.max), Math.max(0, Number(slider.value) + Number(button.dataset.move)));
        if (next === Number(slider.value)) return;
        slider.value = String(next);
        show();
      });
    // arrow keys anywhere in the bench but where they mean something else
    bench.addEventListener("keydown", (event) => {
      if (event.target === slider || event.altKey || event.ctrlKey || event.metaKey) return;
      const move = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!move) return;
      event.preventDefault();
      bench.querySelector('[data-move="' + move + '"]').click();
    });
    slider.value = "0";
    sayStep(bench, false);
  }
}

// --- what is wider than the window: says so, and only then takes the keyboard
function startWide() {
  const look = (element) => {
    const more = element.scrollWidth > element.clientWidth + 1;
    element.toggleAttribute("data-more", more);
    if (more) element.tabIndex = 0;
    else element.removeAttribute("tabindex");
  };
  const watcher = new ResizeObserver((entries) => entries.forEach((entry) => look(entry.target)));
  for (const element of document.querySelectorAll(".wide")) watcher.observe(element);
}

(async function start() {
  const sayAll = () => {
    for (const bench of document.querySelectorAll(".bender")) sayStep(bench, false);
  };
  units.start(sayAll);
  startTheme();
  startTicks();
  startWide();
  list.start();
  startAlone();
  document.getElementById("print").addEventListener("click", () => print());
  try {
    fillTurns();
    await fillSteps();
    await fillLines();
    startSteps();
    units.ready(JSON.parse(await unpacked("texts")), sayAll);
    bench.start(JSON.parse(await unpacked("bench-data")));
    const pages = JSON.parse(await unpacked("scenes"));
    await loadViewer();
    stages.start(pages, JSON.parse(document.getElementById("room").textContent));
    bench.ready();
  } catch (refused) {
    document.getElementById("old").hidden = false;
    root.classList.add("old");
    throw refused;
  }
})();
