// Which 3D views are alive. Browsers allow a handful of WebGL contexts in a page, so a view is made when
// it scrolls near, thrown away when it has gone, and never more than MOST of them stand at once.
"use strict";

const MOST = 3;
const CONFIG = { displayModeBar: false, displaylogo: false, responsive: true, scrollZoom: false, doubleClick: false };

const stages = {
  all: new Map(), // element -> {view, page, step, frame, eye (a name or a direction), zoom, alive, near}
  pages: [],
  room: null,
  able: null,

  canDraw() {
    if (this.able === null) {
      const canvas = document.createElement("canvas");
      const gl = canvas.getContext("webgl");
      this.able = Boolean(gl);
      const loss = gl && gl.getExtension("WEBGL_lose_context");
      if (loss) loss.loseContext();
    }
    return this.able;
  },

  add(element) {
    const view = element.dataset.view;
    const state = { view, page: element.dataset.part || "", drawing: Number(element.dataset.drawing || 0), step: Number(element.dataset.step || 0), frame: "bend", eye: view !== "bender" ? "corner" : Math.abs(this.room.axis[2]) > 0.5 ? "above" : "right", zoom: 1, alive: false, near: false };
    this.all.set(element, state);
    this.watcher.observe(element);
    this.sizes.observe(element);
  },

  pagesOf(state) {
    return [...this.pages.values()].filter((page) => page.drawing === state.drawing);
  },

  sceneOf(state) {
    if (state.view === "job") return jobScene(this.pagesOf(state));
    const page = this.pages.get(state.page);
    if (state.frame === "frame") return jobScene(this.pagesOf(page), page.key);
    return state.view === "tube" ? tubeScene(page) : benderScene(page, this.room, state.step, state.frame);
  },

  draw(element) {
    const state = this.all.get(element);
    if (!this.canDraw()) {
      element.textContent = "This browser cannot show 3D. The pictures and tables say the same.";
      element.classList.add("cannot");
      return;
    }
    const scene = this.sceneOf(state);
    state.of = scene.of;
    state.tubes = scene.tubes;
    const fresh = !state.alive;
    const layout = layoutOf(scene, state.eye, state.zoom, [element.clientWidth, element.clientHeight]);
    // the same picture in another light stays where it was put; in another size it is fitted anew
    const framed = [state.step, state.frame, this.sizeOf(element)].join();
    if (!fresh && state.framed === framed) Object.assign(layout.scene, { camera: element.layout.scene.camera, aspectratio: element.layout.scene.aspectratio });
    state.framed = framed;
    state.alive = true;
    element.dataset.alive = "yes";
    Plotly.react(element, scene.traces, layout, CONFIG);
    if (!fresh) return;
    // a view that was turned by hand is seen from there in its next steps
    element.on("plotly_relayout", () => {
      const { eye, center } = element.layout.scene.camera;
      state.eye = [eye.x - center.x, eye.y - center.y, eye.z - center.z];
    });
    if (state.view === "job") listenToJob(element, state);
  },

  // The step that a view of the bender shows; a view that is not there yet begins with it.
  setStep(element, step) {
    element.dataset.step = String(step);
    if (!this.all.has(element)) return;
    this.all.get(element).step = step;
    this.redraw(element);
  },

  // the same step, unit or light again; the camera stays where it was put
  redraw(element) {
    if (this.all.get(element).alive) this.draw(element);
  },

  sizeOf(element) {
    return element.clientWidth + "x" + element.clientHeight;
  },

  // Views of another size than they were drawn for, as where a tablet is turned: plotly would cut them off.
  refit() {
    clearTimeout(this.fitting);
    this.fitting = setTimeout(() => {
      for (const [element, state] of this.all) if (state.alive && element.clientWidth && !state.framed.endsWith(this.sizeOf(element))) this.redraw(element);
    }, 150);
  },

  redrawAll() {
    for (const element of this.all.keys()) this.redraw(element);
  },

  drop(element) {
    const state = this.all.get(element);
    if (!state.alive) return;
    state.alive = false;
    delete element.dataset.alive;
    // browsers free a context when they get to it: ask for it now
    for (const canvas of element.querySelectorAll("canvas")) {
      const gl = canvas.getContext("webgl") || canvas.getContext("webgl2");
      const loss = gl && gl.getExtension("WEBGL_lose_context");
      Plotly.purge(element);
      if (loss && !gl.isContextLost()) loss.loseContext();
    }
    Plotly.purge(element);
    element.replaceChildren();
  },

  // draw what is near, the nearest to the middle of the window first
  settle() {
    const middle = innerHeight / 2;
    const far = (element) => {
      const box = element.getBoundingClientRect();
      return Math.abs((box.top + box.bottom) / 2 - middle);
    };
    const near = [...this.all.keys()].filter((element) => this.all.get(element).near).sort((a, b) => far(a) - far(b));
    const chosen = new Set(near.slice(0, MOST));
    for (const [element, state] of this.all) if (state.alive && !chosen.has(element)) this.drop(element);
    const missing = near.find((element) => chosen.has(element) && !this.all.get(element).alive && !element.classList.contains("cannot"));
    if (!missing) return;
    this.draw(missing);
    // one view for each frame: the page stays quick while it is scrolled
    this.soon();
  },

  soon() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => requestAnimationFrame(() => this.settle()), 120);
  },

  start(pages, room) {
    this.pages = new Map(pages.map((page) => [page.key, page]));
    this.room = room;
    this.sizes = new ResizeObserver(() => this.refit());
    this.watcher = new IntersectionObserver(
      (entries) => {
        for (const entry of entries) this.all.get(entry.target).near = entry.isIntersecting;
        this.soon();
      },
      { rootMargin: "100px 0px" }
    );
    for (const element of document.querySelectorAll(".stage")) this.add(element);
    document.addEventListener("scroll", () => this.soon(), { passive: true });
    for (const button of document.querySelectorAll(".turns button"))
      button.addEventListener("click", () => {
        const element = button.closest(".view").querySelector(".stage");
        const state = this.all.get(element);
        if (button.dataset.eye) {
          state.eye = button.dataset.eye;
          state.zoom = 1;
        } else if (button.dataset.frame) {
          state.frame = button.dataset.frame;
          state.zoom = 1;
          for (const one of button.parentElement.querySelectorAll("[data-frame]")) one.setAttribute("aria-pressed", String(one === button));
        } else state.zoom = Math.min(8, Math.max(0.3, state.zoom * Number(button.dataset.zoom)));
        if (!state.alive) return;
        if (button.dataset.frame) return this.redraw(element);
        const now = element.layout.scene;
        const layout = layoutOf(this.sceneOf(state), state.eye, state.zoom, [element.clientWidth, element.clientHeight]).scene;
        if (button.dataset.eye) Plotly.relayout(element, { "scene.aspectratio": layout.aspectratio, "scene.camera": layout.camera, "scene.annotations": layout.annotations });
        else {
          // closer along the line of sight that is there; the point in the middle stays
          const k = layout.aspectratio.x / now.aspectratio.x, c = now.camera.center, e = now.camera.eye;
          const moved = (axis) => ({ center: c[axis] * k, eye: c[axis] * k + (e[axis] - c[axis]) });
          const x = moved("x"), y = moved("y"), z = moved("z");
          const camera = { ...now.camera, center: { x: x.center, y: y.center, z: z.center }, eye: { x: x.eye, y: y.eye, z: z.eye } };
          Plotly.relayout(element, { "scene.aspectratio": layout.aspectratio, "scene.camera": camera });
        }
      });
  },
};

// Pointing names a tube, pressing goes to its page. The name is put as text, never through plotly.
function listenToJob(element, state) {
  const under = element.closest(".view").querySelector(".under");
  const tubeAt = (event) => {
    const point = event.points && event.points[0];
    if (!point) return null;
    const index = state.of[point.curveNumber] && state.of[point.curveNumber][point.pointNumber];
    return index === undefined ? null : state.tubes[index];
  };
  const go = () => {
    state.pressed = -Infinity;
    location.hash = state.pointed.key;
  };
  const point = (event) => {
    const tube = tubeAt(event);
    if (!tube) return;
    state.pointed = tube;
    under.textContent = nameOf(tube);
    // a finger points only when it presses: its press comes first
    if (performance.now() - state.pressed < 600) go();
  };
  element.on("plotly_hover", point);
  element.on("plotly_click", point);
  element.on("plotly_unhover", () => {
    state.pointed = null;
    under.textContent = state.quiet;
  });
  if (state.quiet) return;
  // once for each element, however often its view is made anew
  state.quiet = under.textContent;
  state.pressed = -Infinity;
  let from = null;
  element.addEventListener("pointerdown", (event) => { from = [event.clientX, event.clientY]; }, true);
  element.addEventListener("pointerup", (event) => {
    // a press that turned the view is no press on a tube
    if (!from || Math.hypot(event.clientX - from[0], event.clientY - from[1]) > 8) return;
    state.pressed = performance.now();
    if (state.pointed) go();
  }, true);
}

// A tube's own name, and where it is one of several the part's.
function nameOf({ key, piece }) {
  const names = JSON.parse(document.getElementById(key).dataset.names);
  return names.length === 1 ? names[0] : names[piece] + ": " + document.getElementById(key + "-name").textContent;
}
