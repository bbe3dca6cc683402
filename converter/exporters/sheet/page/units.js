// Unit and rounding: which text of each length shows. All of them come from Python; nothing is rounded here.
"use strict";

const units = {
  unit: "mm",
  choices: [], // [unit, words]
  texts: [], // in the order of the choices, set after set
  picked: {}, // unit -> column

  fields: () => [...document.querySelectorAll("input[name=unit]")],
  select: () => document.getElementById("rounding"),

  start(after) {
    this.unit = document.documentElement.classList.contains("in") ? "in" : "mm";
    for (const input of this.fields()) {
      input.checked = input.value === this.unit;
      input.addEventListener("change", () => this.choose(input.value, after));
    }
    this.select().addEventListener("change", () => {
      this.picked[this.unit] = Number(this.select().value);
      this.keep();
      this.show(after);
      news("Lengths rounded to " + this.choices[this.picked[this.unit]][1]);
    });
  },

  // the texts have come
  ready(table, after) {
    this.choices = table.choices;
    this.texts = table.texts;
    for (const unit of ["mm", "in"]) this.picked[unit] = this.choices.findIndex((choice) => choice[0] === unit);
    this.picked[this.choices[table.shown][0]] = table.shown;
    let kept = {};
    try {
      kept = JSON.parse(store.get("elbowroom-sheet/rounding") || "{}");
    } catch (broken) {
      kept = {};
    }
    for (const unit of ["mm", "in"]) {
      const column = this.choices.findIndex((choice) => choice[0] === unit && choice[1] === kept[unit]);
      if (column >= 0) this.picked[unit] = column;
    }
    this.show(after);
  },

  choose(unit, after) {
    this.unit = unit;
    document.documentElement.classList.remove("mm", "in");
    document.documentElement.classList.add(unit);
    store.set("elbowroom-sheet/unit", unit);
    this.show(after);
    news(unit === "mm" ? "All lengths in millimetres" : "All lengths in inches");
  },

  keep() {
    const words = (unit) => this.choices[this.picked[unit]][1];
    store.set("elbowroom-sheet/rounding", JSON.stringify({ mm: words("mm"), in: words("in") }));
  },

  show(after) {
    if (!this.choices.length) return;
    const own = this.choices.map((choice, column) => [choice, column]).filter(([choice]) => choice[0] === this.unit);
    const options = own.map(([choice, column]) => new Option(choice[1], String(column), false, column === this.picked[this.unit]));
    this.select().replaceChildren(...options);
    this.put(document);
    for (const template of document.querySelectorAll("template")) this.put(template.content);
    after();
  },

  put(tree) {
    const column = this.picked[this.unit];
    for (const place of tree.querySelectorAll("u-n, text[n]")) {
      const text = this.texts[parseInt(place.getAttribute("n"), 36) * this.choices.length + column];
      if (place.textContent === text) continue;
      if (place.className === "long") place.replaceChildren(...this.held(text));
      else place.textContent = text;
    }
  },

  // fractions and directions stay on one line
  held(text) {
    return text.split(/((?<!\d)\d+(?:-\d+)?\/\d+|\bcounter-clockwise\b)/).map((part, i) => {
      if (i % 2 === 0) return part;
      const span = document.createElement("span");
      span.className = "nb";
      span.textContent = part;
      return span;
    });
  },
};
