// One step at a time over the whole screen, for a tablet at the machine: the numbers large, one button that ticks
// the step and goes on. What is shown is what the page says; ticks are the page's own.
"use strict";

const ON = ["ArrowRight", "ArrowDown", "PageDown", " ", "Enter"], BACK = ["ArrowLeft", "ArrowUp", "PageUp"];

const bench = {
  steps: [],
  at: 0,
  skipped: {},
  part: (name) => document.getElementById("bench-" + name),

  // Every task of every part, in order; of a part of several, each piece finished comes after its tasks.
  collect() {
    for (const section of document.querySelectorAll("section.part")) {
      const boxes = [...section.querySelectorAll(".tasks input[data-tick]")], pieces = [...section.querySelectorAll(".pieces input")];
      if (!boxes.length) continue;
      const first = this.steps.length, bends = boxes.filter((box) => /\/bend-/.test(box.dataset.tick)).length;
      let bend = 0;
      boxes.forEach((box, i) => {
        const task = box.dataset.tick.split("/")[1], isBend = task.startsWith("bend-");
        if (isBend) bend += 1;
        const where = isBend ? "bend " + bend + " of " + bends : "step " + (i + 1) + " of " + boxes.length;
        this.steps.push({ section, box, boxes, pieces, first, where, title: this.titleOf(box), lines: this.linesOf(section, task) });
      });
      if (pieces.length) this.steps.push({ section, boxes, pieces, first, where: "finished", lines: [] });
    }
  },

  titleOf(box) {
    return box.closest("label").querySelector("span").cloneNode(true);
  },

  // What of the large steps goes with a task: the bend's own, of the first its cut or its marks.
  linesOf(section, task) {
    const bigs = [...section.querySelectorAll(".big")];
    const rows = (big) => (big ? [...big.querySelectorAll("dl > div")] : []);
    if (task === "cut") return rows(bigs[0]).slice(0, 1);
    if (task === "mark") return rows(bigs[0]).slice(1);
    return task.startsWith("bend-") ? rows(bigs.find((big) => big.dataset.task === task)) : [];
  },

  // the piece that is being made: the first that is not ticked
  pieceOf(step) {
    const open = step.pieces.findIndex((box) => !box.checked);
    return open < 0 ? step.pieces.length - 1 : open;
  },

  show() {
    const step = this.steps[this.at], body = this.part("body");
    body.replaceChildren();
    this.part("done").hidden = !step;
    for (const name of ["undo", "skip"]) this.part(name).disabled = true;
    this.part("back").disabled = this.at === 0;
    this.keep();
    if (!step) {
      this.part("where").textContent = "That was the last step";
      const left = Object.keys(this.skipped).length;
      this.part("count").textContent = left ? left + (left === 1 ? " step was skipped" : " steps were skipped") : "";
      this.part("next").textContent = "";
      return;
    }
    const ticked = step.box ? step.box.checked : step.pieces.every((box) => box.checked);
    const page = step.section.dataset, piece = step.pieces.length ? "piece " + (this.pieceOf(step) + 1) + " of " + step.pieces.length + ", " : "";
    this.part("where").textContent = step.section.querySelector("h2").textContent;
    this.part("count").textContent = "part " + page.number + " of " + page.total + ", " + piece + step.where;
    if (step.lines.length) {
      const list = document.createElement("dl");
      for (const line of step.lines) list.append(line.cloneNode(true));
      body.append(list);
    }
    const said = document.createElement("p");
    if (step.box) said.append(step.title.cloneNode(true));
    else said.textContent = "Is " + JSON.parse(page.names)[this.pieceOf(step)] + " finished?";
    said.className = step.lines.length ? "said" : "said alone";
    body.append(said);
    const why = step.box && this.skipped[step.box.dataset.tick];
    if (why) {
      const note = document.createElement("p");
      note.textContent = "Skipped: " + why;
      body.append(note);
    }
    this.part("done").textContent = ticked ? "Done already, next ▶" : "Done, next ▶";
    this.part("undo").disabled = !ticked;
    this.part("skip").disabled = !step.box || ticked;
    const next = this.steps[this.at + 1];
    this.part("next").replaceChildren(...(next ? this.briefly(next, step) : ["Last step"]));
    this.fit(body);
  },

  // what does not fit goes without its notes, which the page has; then smaller
  fit(body) {
    const over = () => body.scrollHeight > body.clientHeight + 1 || body.scrollWidth > body.clientWidth + 1;
    body.classList.remove("tight");
    body.style.setProperty("--fit", "1");
    if (over()) body.classList.add("tight");
    for (let size = 0.95; size > 0.45 && over(); size -= 0.05) body.style.setProperty("--fit", String(size));
    body.scrollTop = 0;
  },

  // the next step in a line: its part where that changes, and its numbers
  briefly(next, step) {
    const words = ["Next: "];
    if (next.section !== step.section) words.push(next.section.querySelector("h2").textContent + ", ");
    words.push(next.where);
    for (const line of next.lines) {
      words.push(" · " + line.querySelector("dt").textContent.toLowerCase() + " ");
      words.push(...[...line.querySelector(".value").cloneNode(true).childNodes]);
    }
    return words;
  },

  tick(box, on) {
    if (box.checked === on) return;
    box.checked = on;
    box.dispatchEvent(new Event("change"));
  },

  done() {
    const step = this.steps[this.at];
    if (!step) return;
    let next = this.at + 1;
    if (step.box) {
      this.tick(step.box, true);
      delete this.skipped[step.box.dataset.tick];
    } else {
      const open = step.pieces.find((box) => !box.checked);
      if (open) this.tick(open, true);
      // the next piece begins anew
      if (step.pieces.some((box) => !box.checked)) {
        for (const box of step.boxes) this.tick(box, false);
        next = step.first;
      }
    }
    this.at = next;
    this.show();
  },

  move(by) {
    this.at = Math.min(this.steps.length, Math.max(0, this.at + by));
    this.show();
  },

  undo() {
    const step = this.steps[this.at];
    this.tick(step.box || step.pieces[step.pieces.length - 1], false);
    this.show();
  },

  skip(why) {
    this.skipped[this.steps[this.at].box.dataset.tick] = why;
    this.move(1);
  },

  // what was skipped stands beside its task on the page too
  notes() {
    for (const step of this.steps) {
      if (!step.box) continue;
      const why = this.skipped[step.box.dataset.tick], label = step.box.closest("label");
      let note = label.querySelector(".skipped");
      if (!why && note) note.remove();
      if (!why) continue;
      if (!note) label.append((note = Object.assign(document.createElement("em"), { className: "skipped" })));
      note.textContent = "skipped: " + why;
    }
  },

  keep() {
    const step = this.steps[this.at];
    const open = this.part("view").open;
    store.set(store.mark + "/bench", JSON.stringify({ open, at: this.at, tick: step && step.box ? step.box.dataset.tick : "", skipped: this.skipped }));
    this.notes();
  },

  async wake() {
    // the screen goes dark all the same where a browser cannot be asked, or refuses
    try {
      if (navigator.wakeLock && this.part("view").open && document.visibilityState === "visible") this.lock = await navigator.wakeLock.request("screen");
    } catch (refused) {
      this.lock = null;
    }
  },

  open(at) {
    if (at !== undefined) this.at = at;
    if (!this.part("view").open) this.part("view").showModal();
    this.show();
    this.part("done").focus();
    this.wake();
  },

  // the first task of a part that is not ticked, or its first
  openAt(key) {
    const own = this.steps.map((step, i) => [step, i]).filter(([step]) => step.section.id === key);
    const open = own.find(([step]) => step.box && !step.box.checked);
    this.open((open || own[0])[1]);
  },

  start() {
    this.collect();
    for (const button of document.querySelectorAll("[data-bench]")) {
      button.hidden = !this.steps.some((step) => !button.dataset.bench || step.section.id === button.dataset.bench);
      button.addEventListener("click", () => (button.dataset.bench ? this.openAt(button.dataset.bench) : this.open()));
    }
    const view = this.part("view"), why = this.part("why");
    const press = { done: () => this.done(), back: () => this.move(-1), undo: () => this.undo(), skip: () => why.showModal(), close: () => view.close() };
    for (const [name, act] of Object.entries(press)) this.part(name).addEventListener("click", act);
    why.addEventListener("close", () => {
      if (why.returnValue) this.skip(why.returnValue);
      why.returnValue = "";
      this.part("done").focus();
    });
    view.addEventListener("close", () => {
      this.keep();
      if (this.lock) this.lock.release();
    });
    // a foot pedal is a keyboard with one or two keys
    view.addEventListener("keydown", (event) => {
      if (event.altKey || event.ctrlKey || event.metaKey || why.open) return;
      const button = event.target.closest("button");
      if ((event.key === " " || event.key === "Enter") && button && button.id !== "bench-done") return;
      if (!ON.includes(event.key) && !BACK.includes(event.key)) return;
      event.preventDefault();
      if (event.repeat) return;
      if (ON.includes(event.key)) this.done();
      else this.move(-1);
    });
    addEventListener("resize", () => view.open && this.fit(this.part("body")));
    document.addEventListener("visibilitychange", () => this.wake());
    try {
      const kept = JSON.parse(store.get(store.mark + "/bench") || "{}");
      this.skipped = kept.skipped || {};
      const same = this.steps.findIndex((step) => step.box && step.box.dataset.tick === kept.tick);
      this.at = same >= 0 ? same : Math.min(kept.at || 0, this.steps.length);
      this.notes();
      if (kept.open && this.steps.length) this.open();
    } catch (broken) {
      this.at = 0;
    }
  },
};
