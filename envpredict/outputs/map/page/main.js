// The page at work: one state, and everything that is drawn from it.
(function (rm) {
  "use strict";

  const NEAR_ZOOM = 18;

  class App {
    constructor(map, data) {
      this.map = map;
      this.data = data;
      this.state = { method: 0, effect: "governing", period: "", day: -1, lines: "follow", selected: -1 };
      this.judge();
      this.controls = new rm.Controls(this, document.getElementById("rm-choices"));
      const receptors = document.getElementById("rm-receptors");
      this.list = new rm.List(this, receptors);
      this.details = new rm.Details(this, receptors);
      this.layer = new rm.ReceptorLayer(this);
      this.furnish();
      this.fit();
      this.layer.addTo(map);
      this.measure = new rm.Measure(
        this,
        document.getElementById("rm-measure"),
        document.getElementById("rm-measured"),
      );
      this.sheet = new rm.Sheet(this);
      this.listen();
      this.update();
    }

    judge() {
      this.view = rm.view(this.data, this.state);
      this.order = rm.bySeverity(this.data, this.view);
    }

    /** Add zoom buttons, scale and north arrow to the map. */
    furnish() {
      L.control.zoom({ position: "topleft" }).addTo(this.map);
      L.control.scale({ imperial: false, maxWidth: 160, position: "bottomleft" }).addTo(this.map);
      const north = L.control({ position: "topright" });
      north.onAdd = () =>
        rm.make(
          "div",
          { class: "rm-north", role: "img", "aria-label": "North is up" },
          rm.make("span", { class: "rm-arrow" }),
          "N",
        );
      north.addTo(this.map);
      this.map
        .getContainer()
        .setAttribute(
          "aria-label",
          "Map: arrow keys move it, plus and minus zoom; every receptor is in the list too",
        );
      this.map.getContainer().setAttribute("role", "region");
    }

    listen() {
      const hover = document.getElementById("rm-hover");
      this.map.on("click", (event) => {
        if (this.measure.on) {
          this.measure.add(event.latlng);
          return;
        }
        const receptor = this.layer.receptorAt(event.layerPoint);
        if (receptor >= 0) this.select(receptor, { from: "map" });
      });
      this.map.on("mousemove", (event) => this.hover(hover, event));
      this.map.on("mouseout movestart", () => {
        hover.hidden = true;
      });
      document.getElementById("rm-fit").addEventListener("click", () => this.fit());
      document.addEventListener("keydown", (event) => {
        if (event.key === "Escape" && this.state.selected >= 0) this.close();
      });
      window.addEventListener("resize", () => this.resized());
      this.resized();
    }

    /** Fit the map to its place, and leave room for the cautions where they lie over the page. */
    resized() {
      const cautions = document.querySelector(".rm-cautions");
      document.documentElement.style.setProperty("--cautions-height", `${cautions.offsetHeight}px`);
      this.map.invalidateSize({ animate: false });
    }

    hover(box, event) {
      const receptor = this.measure.on ? -1 : this.layer.receptorAt(event.layerPoint);
      this.map.getContainer().classList.toggle("rm-over", receptor >= 0);
      const cell = receptor < 0 && !this.measure.on ? this.layer.cellText(event.layerPoint) : "";
      box.hidden = receptor < 0 && !cell;
      box.style.left = `${event.containerPoint.x + 14}px`;
      box.style.top = `${event.containerPoint.y + 14}px`;
      if (cell) box.replaceChildren(cell);
      if (receptor < 0) return;
      const { data, view } = this;
      const word = data.head.words[view.words[receptor]];
      box.replaceChildren(
        rm.markPicture(word, { size: 18 }),
        rm.make("bdi", {}, rm.shorten(data.ids[receptor], 40)),
        ` ${data.use(receptor)}, ${word.word}`,
      );
      box.style.left = `${event.containerPoint.x + 14}px`;
      box.style.top = `${event.containerPoint.y + 14}px`;
    }

    /** Return in words what the likelihoods shown are of. */
    restText() {
      const { rest } = this.data.head;
      return rest ? `, and ${rest.receptors} counted in cells,` : "";
    }

    choiceText() {
      const { data, state } = this;
      const effect = data.head.effects.find((one) => one.id === state.effect);
      const { byDay } = this.view;
      const period = state.period ? `, ${byDay ? "all periods" : state.period}` : "";
      const what = effect ? effect.title + period : "whichever effect governs";
      const when = byDay
        ? `on ${rm.dateText(data.head.dates[data.head.methods[state.method].days[state.day]])}`
        : "over the whole programme";
      return `under ${data.head.methods[state.method].title}: ${what}, ${when}`;
    }

    set(change) {
      const before = this.state;
      this.state = { ...before, ...change };
      if ("method" in change && !("day" in change) && before.day >= 0) this.state.day = this.sameDay(before);
      this.judge();
      this.update();
    }

    /** Return the working day of the new method that is nearest to the date shown. */
    sameDay(before) {
      const methods = this.data.head.methods;
      const date = methods[before.method].days[before.day];
      const days = methods[this.state.method].days;
      return days.reduce(
        (best, day, index) => (Math.abs(day - date) < Math.abs(days[best] - date) ? index : best),
        0,
      );
    }

    update() {
      this.controls.update();
      this.list.update();
      this.details.show();
      this.sheet.update();
      this.layer.redraw();
      document.getElementById("rm-summary").textContent =
        `${rm.countText(this.data, this.view.counts)}${this.restText()} ${this.choiceText()}`;
    }

    /** Choose a receptor: its findings open, the map shows it, the list turns to it. */
    select(receptor, { from }) {
      this.state = { ...this.state, selected: receptor };
      this.openedFrom = from;
      this.list.reveal(receptor);
      document.body.classList.add("rm-open");
      this.details.show();
      this.details.focus();
      if (this.data.placed(receptor)) this.lead(receptor, from);
      this.layer.redraw();
    }

    /** Move the map to a receptor, near enough to tell it from its neighbours. */
    lead(receptor, from) {
      const { x, y } = this.data.anchors();
      const at = rm.latLng(this.data, x[receptor], y[receptor]);
      this.map.invalidateSize({ animate: false, pan: false });
      if (from === "list") this.map.setView(at, Math.max(this.map.getZoom(), NEAR_ZOOM), { animate: false });
      else if (!this.map.getBounds().contains(at)) this.map.panTo(at, { animate: false });
    }

    close() {
      const was = this.state.selected;
      if (was < 0) return;
      this.state = { ...this.state, selected: -1 };
      document.body.classList.remove("rm-open");
      this.details.show();
      this.layer.redraw();
      if (this.openedFrom === "map") this.map.getContainer().focus({ preventScroll: true });
      else this.list.focus(was);
    }

    /** Show the piles and all receptors whose place is shown. */
    fit() {
      const box = [Infinity, Infinity, -Infinity, -Infinity];
      for (const name of ["receptors", "piles"]) {
        const shapes = this.data.shapes(name);
        for (let index = 0; index < shapes.count; index += 1) {
          if (shapes.kind[index] === 0) continue;
          box[0] = Math.min(box[0], shapes.box[4 * index]);
          box[1] = Math.min(box[1], shapes.box[4 * index + 1]);
          box[2] = Math.max(box[2], shapes.box[4 * index + 2]);
          box[3] = Math.max(box[3], shapes.box[4 * index + 3]);
        }
      }
      this.map.fitBounds([rm.latLng(this.data, box[0], box[1]), rm.latLng(this.data, box[2], box[3])], {
        padding: [24, 24],
        animate: false,
      });
    }
  }

  /** Start the page on a map; the promise ends when it can be used. */
  rm.start = function (map) {
    const head = JSON.parse(document.getElementById("rm-data").textContent);
    rm.ready = rm
      .load(head, document.getElementById("rm-block").textContent)
      .then((data) => {
        rm.app = new App(map, data);
        return rm.app;
      })
      .catch((error) => {
        document.getElementById("rm-summary").textContent =
          "This browser can't unpack the page's numbers. " +
          "Use a browser of 2023 or later, or read the report and findings.csv (a large run: findings.parquet).";
        throw error;
      });
    return rm.ready;
  };
})((window.riskMap = window.riskMap || {}));
