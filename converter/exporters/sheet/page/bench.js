// One step at a time over the whole screen, for a tablet at the machine: the numbers large, one button that ticks
// the step and goes on. What is shown is what the page says; ticks are the page's own.
"use strict";

const ON = ["ArrowRight", "ArrowDown", "PageDown", " ", "Enter"], BACK = ["ArrowLeft", "ArrowUp", "PageUp"];
// Acts that can be taken back.
const MOST_ACTS = 200;
// Pixels: no digits get smaller to make room.
const LEAST_DIGITS = 30;

const bench = {
  steps: [],
  at: 0,
  skipped: {},
  acts: [],
  part: (name) => document.getElementById("bench-" + name),

  // Every task of every part, in order; of a part of several, each piece finished comes after its tasks. Then the frame.
  collect(parts) {
    let tubes = 0;
    for (const section of document.querySelectorAll("section.part, section.fitup")) {
      const boxes = [...section.querySelectorAll(".tasks input[data-tick]")], pieces = [...section.querySelectorAll(".pieces input")];
      const fit = section.classList.contains("fitup"), names = fit ? [] : JSON.parse(section.dataset.names);
      const first = this.steps.length, bends = boxes.filter((box) => /\/bend-/.test(box.dataset.tick)).length;
      const shared = { section, boxes, pieces, first, fit, names, tubes, own: parts[section.id] || {} };
      let bend = 0;
      boxes.forEach((box, i) => {
        const task = box.dataset.tick.split("/")[1], isBend = task.startsWith("bend-");
        if (isBend) bend += 1;
        const where = fit ? "tube " + (i + 1) + " of " + boxes.length : isBend ? "bend " + bend + " of " + bends : this.called(task) + ", " + (i + 1) + " of " + boxes.length;
        this.steps.push({ ...shared, box, task, where, item: box.closest("li"), number: i });
      });
      if (pieces.length && boxes.length) this.steps.push({ ...shared, task: "", where: "finished" });
      tubes += names.length;
    }
    this.tubes = tubes;
  },

  // How the machine is set for a bend of a part.
  machineOf(key, number) {
    const step = this.steps.find((one) => one.section.id === key);
    return step && step.own.bends ? step.own.bends[number] : null;
  },

  called: (task) => ({ measured: "check" })[task] || (task.startsWith("cut-") ? "cut end " + task.slice(4) : task),

  // What of the large steps goes with a task: the bend's own, or what stands beside it.
  linesOf({ section, task, item }) {
    if (!item) return [];
    const own = item.querySelector("template");
    const from = task.startsWith("bend-") ? [...section.querySelectorAll(".big")].find((big) => big.dataset.task === task) : own && own.content;
    return from ? [...from.querySelectorAll("dl > div")] : [];
  },

  captionOf({ item }) {
    const own = item && item.querySelector("template");
    return own ? own.content.querySelector(".caption") : null;
  },

  // the piece that is being made: the first that is not ticked
  pieceOf(step) {
    const open = step.pieces.findIndex((box) => !box.checked);
    return open < 0 ? Math.max(0, step.pieces.length - 1) : open;
  },

  ticked: (step) => (step.box ? step.box.checked : step.pieces.every((box) => box.checked)),

  nameOf(step) {
    if (step.fit) return step.item.dataset.name;
    return step.names.length > 1 ? step.names[this.pieceOf(step)] : step.section.querySelector("h2").textContent;
  },

  countOf(step) {
    if (step.fit) return "fit-up, " + step.where;
    return "tube " + (step.tubes + this.pieceOf(step) + 1) + " of " + this.tubes + ", " + step.where;
  },

  show() {
    const step = this.steps[this.at], body = this.part("body");
    if (this.moving) this.moving.stop();
    this.moving = null;
    body.replaceChildren();
    this.part("done").hidden = !step;
    this.part("look").hidden = true;
    this.part("back").disabled = this.at === 0;
    this.keep();
    const why = step && step.box ? this.skipped[step.box.dataset.tick] : "";
    this.part("undo").disabled = !((step && (this.ticked(step) || why)) || this.acts.length);
    this.part("skip").disabled = !step || !step.box || this.ticked(step);
    if (!step) return this.last(body);
    this.part("where").textContent = this.nameOf(step);
    this.part("count").textContent = this.countOf(step);
    const text = document.createElement("div"), lines = this.linesOf(step);
    text.className = "bench-text";
    if (lines.length) {
      const list = document.createElement("dl");
      list.className = lines.length > 4 ? "several" : "";
      for (const line of lines) {
        const row = line.cloneNode(true), value = row.querySelector(".value");
        // words and names stand back behind numbers
        value.classList.toggle("wordy", !/\d/.test(value.textContent) || ["Die", "End A", "End B"].includes(row.querySelector("dt").textContent));
        list.append(row);
      }
      text.append(list);
    }
    const said = document.createElement("p");
    if (step.box) said.append(step.box.closest("label").querySelector("span").cloneNode(true));
    else said.textContent = "Is " + step.names[this.pieceOf(step)] + " finished?";
    said.className = lines.length || step.task === "measured" || said.textContent.length > 150 ? "said" : "said alone";
    text.append(said);
    if (why) text.append(Object.assign(document.createElement("p"), { className: "reason", textContent: "Skipped: " + why }));
    if (step.task === "measured" && step.own.check) text.append(check.card(step.section.id, this.pieceOf(step), step.own.check));
    body.append(text);
    this.figure(step, body);
    this.part("done").textContent = this.ticked(step) ? "Done already, next ▶" : "Done, next ▶";
    this.next(step);
    this.fit(body);
    if (this.moving && this.moving.run) this.moving.run();
    this.part("news").textContent = this.nameOf(step) + ", " + this.countOf(step) + ". " + (lines.length ? [...text.querySelectorAll("dl > div")].map((row) => row.innerText.replace(/\s+/g, " ").trim()).join(". ") : said.innerText);
  },

  last(body) {
    this.part("where").textContent = "That was the last step";
    const left = this.steps.filter((one) => one.box && this.skipped[one.box.dataset.tick]);
    this.part("count").textContent = left.length ? (left.length === 1 ? "1 step was skipped" : left.length + " steps were skipped") : "Nothing was skipped";
    this.part("next").replaceChildren();
    const list = document.createElement("ul");
    list.className = "left";
    for (const one of left) {
      const button = Object.assign(document.createElement("button"), { type: "button" });
      button.textContent = this.nameOf(one) + ", " + one.where + ": " + this.skipped[one.box.dataset.tick];
      button.addEventListener("click", () => this.open(this.steps.indexOf(one)));
      list.append(document.createElement("li"));
      list.lastChild.append(button);
    }
    body.append(list);
    this.part("news").textContent = this.part("where").textContent + ". " + this.part("count").textContent;
    (list.querySelector("button") || this.part("close")).focus();
  },

  // The picture of a step, drawn once its room is known.
  figure(step, body) {
    // what is drawn from the scenes waits for them
    const { task, own } = step, page = step.fit || !stages.room ? null : stages.pages.get(step.section.id), figure = document.createElement("figure");
    const number = task.startsWith("bend-") ? Number(task.slice(5)) : 0, end = task.startsWith("cut-") ? own.ends[task.slice(4)] : null;
    figure.className = "bench-picture";
    let caption = this.captionOf(step), draw = null;
    if (number && page && own.bends && own.bends[number] && page.steps.some((one) => one.bend === number)) {
      const player = machine.play(figure, page, stages.room, number, own.bends[number]);
      this.moving = { run: player.run, stop: player.stop };
      draw = player.rest;
      caption = Object.assign(document.createElement("p"), { textContent: machine.words(check.words, own.bends[number]) });
    } else if (["cut", "mark", "trim"].includes(task) && own.stick) draw = () => sketch.stick(figure, task === "cut" ? [...own.stick.slice(0, 2), [], [0, 0]] : own.stick, task);
    else if (end) draw = () => cuts.draw(figure, end, task.slice(4));
    else if (step.fit && stages.room) {
      const items = step.boxes.map((box) => box.closest("li").dataset);
      draw = () => sketch.frame(figure, stages.pages, items.map((one) => [one.part, Number(one.piece)]), step.number, items.map((one) => one.name));
    }
    this.redraw = draw;
    if (!draw) return;
    figure.append(Object.assign(document.createElement("div"), { className: "plot" }));
    if (caption) {
      const words = document.createElement("figcaption");
      words.append(...caption.cloneNode(true).childNodes);
      figure.append(words);
    }
    if (this.moving) {
      // the picture is its own button
      const again = Object.assign(document.createElement("button"), { type: "button", className: "again" });
      again.append(Object.assign(document.createElement("span"), { textContent: "Show the move" }));
      again.addEventListener("click", () => {
        this.moving.run();
        this.part("done").focus();
      });
      figure.append(again);
    }
    body.append(figure);
  },

  // What does not fit goes without its notes, which the page has; then smaller; then its picture stands behind a
  // button. No digits get smaller than those of the page itself: what then does not fit is scrolled.
  fit(body) {
    const figure = body.querySelector("figure"), values = [...body.querySelectorAll(".value")], wide = (one) => one.scrollWidth > one.clientWidth + 1;
    const over = () => body.scrollHeight > body.clientHeight + 1 || wide(body) || values.some(wide);
    body.removeAttribute("data-figure");
    body.style.setProperty("--fit", "1");
    const digits = Math.max(...values.map((one) => parseFloat(getComputedStyle(one).fontSize)), 1), least = Math.min(1, Math.min(LEAST_DIGITS, innerWidth / 8) / digits);
    const sizes = [1, 0.97, 0.9, 0.84, 0.76, 0.68, 0.6, 0.54, 0.48, 0.42].filter((size) => size > least);
    const tries = [["", 1], ...[...sizes, least].map((size) => ["tight", size]), ...[...sizes, least].map((size) => ["bare", size])];
    for (const [room, size] of tries) {
      body.dataset.room = room;
      body.style.setProperty("--fit", String(size));
      if (!over()) break;
    }
    const more = over();
    body.toggleAttribute("data-more", more);
    this.part("look").hidden = !figure || body.dataset.room !== "bare";
    this.part("look").textContent = "Picture";
    if (more) body.tabIndex = 0;
    else body.removeAttribute("tabindex");
    body.scrollTop = 0;
    if (figure && this.redraw && figure.checkVisibility()) this.redraw();
  },

  // Where both have no room: the picture instead of the numbers, and back.
  look() {
    const body = this.part("body"), drawn = body.toggleAttribute("data-figure");
    this.part("look").textContent = drawn ? "Numbers" : "Picture";
    if (drawn && this.redraw) this.redraw();
    if (drawn && this.moving) this.moving.run();
  },

  // the next step in a few words: its tube where that changes, and its numbers
  next(step) {
    const place = this.part("next"), word = (text, look) => Object.assign(document.createElement("span"), { className: look || "", textContent: text });
    let next = this.steps[this.at + 1];
    // the next piece begins anew
    if (!step.box && step.pieces.filter((box) => !box.checked).length > 1) next = this.steps[step.first];
    place.replaceChildren(word("Next", "label"));
    if (!next) return place.append(word("nothing: this is the last step"));
    if (next.section !== step.section || next.fit) place.append(word(next.fit ? next.item.dataset.name : next.section.querySelector("h2").textContent, "strong"));
    place.append(word(next.fit ? "fit-up" : next.where));
    const lines = (next.fit ? [] : this.linesOf(next)).filter((line) => /\d/.test(line.querySelector(".value").textContent)), shown = lines.slice(0, 4);
    for (const line of shown) {
      const one = word(line.querySelector("dt").textContent.replace(/^./, (c) => c.toLowerCase()) + " ", "brief");
      one.append(...[...line.querySelector(".value").cloneNode(true).childNodes]);
      place.append(one);
    }
    if (lines.length > shown.length) place.append(word("and " + (lines.length - shown.length) + " more"));
  },

  tick(box, on) {
    if (box.checked === on) return;
    box.checked = on;
    box.dispatchEvent(new Event("change"));
  },

  // One act: what was ticked and skipped before it, so that it can be taken back.
  act(step, change) {
    const boxes = [...step.boxes, ...step.pieces], before = new Map(boxes.map((box) => [box, box.checked]));
    const key = step.box ? step.box.dataset.tick : "", why = this.skipped[key], at = this.at;
    change();
    const ticks = boxes.filter((box) => box.checked !== before.get(box)).map((box) => [box.dataset.tick, before.get(box)]);
    this.acts = [...this.acts, { at, ticks, key, why }].slice(-MOST_ACTS);
    this.show();
  },

  done() {
    const step = this.steps[this.at];
    if (!step) return;
    this.act(step, () => {
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
    });
  },

  skip(why) {
    const step = this.steps[this.at];
    this.act(step, () => {
      this.skipped[step.box.dataset.tick] = why;
      this.at += 1;
    });
  },

  move(by) {
    this.at = Math.min(this.steps.length, Math.max(0, this.at + by));
    this.show();
  },

  // The tick of the step that shows, or else the last act.
  undo() {
    const step = this.steps[this.at], key = step && step.box ? step.box.dataset.tick : "";
    if (step && (this.ticked(step) || this.skipped[key])) {
      this.tick(step.box || step.pieces[step.pieces.length - 1], false);
      delete this.skipped[key];
      return this.show();
    }
    const act = this.acts.pop();
    if (!act) return;
    const boxes = new Map([...document.querySelectorAll("input[data-tick]")].map((box) => [box.dataset.tick, box]));
    for (const [name, was] of act.ticks) if (boxes.has(name)) this.tick(boxes.get(name), was);
    if (act.key && act.why) this.skipped[act.key] = act.why;
    else if (act.key) delete this.skipped[act.key];
    this.at = act.at;
    this.show();
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
    store.set(store.mark + "/bench", JSON.stringify({ open, at: this.at, tick: step && step.box ? step.box.dataset.tick : "", skipped: this.skipped, acts: this.acts }));
    this.notes();
  },

  // All ticks are cleared: so are reasons, and the place.
  forget() {
    this.skipped = {};
    this.acts = [];
    this.at = 0;
    this.keep();
  },

  read() {
    try {
      const kept = JSON.parse(store.get(store.mark + "/bench") || "{}");
      this.skipped = kept.skipped || {};
      this.acts = Array.isArray(kept.acts) ? kept.acts : [];
      const same = this.steps.findIndex((step) => step.box && step.box.dataset.tick === kept.tick);
      this.at = same >= 0 ? same : Math.min(kept.at || 0, this.steps.length);
      this.notes();
      return Boolean(kept.open);
    } catch (broken) {
      this.at = 0;
      return false;
    }
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
    if (this.steps[this.at]) this.part("done").focus();
    this.wake();
  },

  // the first task of a part that is not ticked, or its first
  openAt(key) {
    const own = this.steps.map((step, i) => [step, i]).filter(([step]) => step.section.id === key);
    const open = own.find(([step]) => step.box && !step.box.checked);
    this.open((open || own[0])[1]);
  },

  // A foot pedal is a keyboard with one or two keys, and always means the step.
  press(event) {
    const { key, target } = event, field = target.closest("input, textarea"), button = target.closest("button, summary, a");
    if (event.altKey || event.ctrlKey || event.metaKey || this.part("why").open) return;
    if (!ON.includes(key) && !BACK.includes(key)) return;
    // a press means the button that has the focus, and in a field some keys mean its text
    if ((key === " " || key === "Enter") && button && button.id !== "bench-done") return;
    if (field && (key === "ArrowLeft" || key === "ArrowRight")) return;
    if (field && key === "Enter") {
      const all = [...this.part("body").querySelectorAll("input")].filter((one) => one.closest("label").textContent === "Measured");
      event.preventDefault();
      return (all[all.indexOf(field) + 1] || this.part("done")).focus();
    }
    event.preventDefault();
    if (event.repeat) return;
    if (ON.includes(key)) this.done();
    else this.move(-1);
    if (this.steps[this.at]) this.part("done").focus();
  },

  // Geometry has come: what is drawn from it, too.
  ready() {
    if (this.part("view").open && this.steps[this.at]) this.show();
  },

  start({ words, parts }) {
    check.start(words);
    this.collect(parts);
    for (const button of document.querySelectorAll("[data-bench]")) {
      button.hidden = !this.steps.some((step) => !button.dataset.bench || step.section.id === button.dataset.bench);
      button.addEventListener("click", () => (button.dataset.bench ? this.openAt(button.dataset.bench) : this.open()));
    }
    const view = this.part("view"), why = this.part("why");
    const press = { done: () => this.done(), back: () => this.move(-1), undo: () => this.undo(), look: () => this.look() };
    for (const [name, act] of Object.entries(press))
      this.part(name).addEventListener("click", () => {
        act();
        // whoever pressed a button steps on by a pedal all the same
        if (this.steps[this.at]) this.part("done").focus();
      });
    this.part("skip").addEventListener("click", () => why.showModal());
    this.part("close").addEventListener("click", () => view.close());
    why.addEventListener("close", () => {
      if (why.returnValue) this.skip(why.returnValue);
      why.returnValue = "";
      if (this.steps[this.at]) this.part("done").focus();
    });
    view.addEventListener("close", () => {
      if (this.moving) this.moving.stop();
      this.keep();
      if (this.lock) this.lock.release();
    });
    view.addEventListener("keydown", (event) => this.press(event));
    addEventListener("resize", () => view.open && this.steps[this.at] && this.fit(this.part("body")));
    document.addEventListener("visibilitychange", () => this.wake());
    // the same sheet in a second window
    addEventListener("storage", (event) => {
      if (event.key === store.mark + "/bench" && !view.open) this.read();
    });
    if (this.read() && this.steps.length) this.open();
  },
};
