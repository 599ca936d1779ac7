// The sheet: the page laid out for paper, A4 or A3 landscape, on the screen as it will be printed.
(function (rm) {
  "use strict";

  const SIZES = { a4: "A4 landscape", a3: "A3 landscape" };
  const MOST_ROWS = 80;
  const DOTS = 3;
  const SMALLEST_TYPE = 0.6;

  /** Make the type of the legend smaller until all of it has its place on the sheet. */
  function shrink(column) {
    for (let size = 1; size >= SMALLEST_TYPE; size -= 0.04) {
      column.style.setProperty("--type", size);
      if (column.scrollHeight <= column.clientHeight) return;
    }
  }

  rm.Sheet = class {
    constructor(app) {
      this.app = app;
      this.size = "";
      this.paper = rm.make("style");
      document.head.append(this.paper);
      this.buttons = Object.fromEntries(
        Object.keys(SIZES).map((size) => [size, document.getElementById(`rm-print-${size}`)]),
      );
      for (const [size, button] of Object.entries(this.buttons)) {
        button.addEventListener("click", () => this.turn(this.size === size ? "" : size));
      }
      this.print = rm.make("button", { type: "button", id: "rm-print", hidden: true }, "Print");
      this.print.addEventListener("click", () => window.print());
      this.buttons.a3.after(this.print);
      this.table = rm.make("section", { class: "rm-sheet-list", "aria-label": "Worst receptors", hidden: true });
      document.getElementById("rm-receptors").append(this.table);
      window.addEventListener("beforeprint", () => {
        this.borrowed = !this.size;
        if (this.borrowed) this.turn("a4");
      });
      window.addEventListener("afterprint", () => {
        if (this.borrowed) this.turn("");
      });
    }

    /** Lay the page out for a paper size, or for the screen again where none is given. */
    turn(size) {
      this.size = size;
      document.body.classList.toggle("rm-sheet", Boolean(size));
      document.body.dataset.paper = size;
      this.paper.textContent = `@page { size: ${SIZES[size || "a4"]}; margin: 8mm; }`;
      for (const [name, button] of Object.entries(this.buttons))
        button.setAttribute("aria-pressed", String(name === size));
      this.print.hidden = !size;
      this.table.hidden = !size;
      rm.pixelRatio = size ? DOTS : 0;
      if (size) this.app.close();
      this.update();
      this.app.map.invalidateSize({ animate: false, pan: false });
      this.app.fit();
    }

    /** Fill the table with as many of the worst receptors as the sheet holds. */
    update() {
      if (!this.size) return;
      const { data, view, order } = this.app;
      const rows = order.slice(0, MOST_ROWS).map((receptor) => {
        const word = data.head.words[view.words[receptor]];
        const finding = view.finding[receptor];
        const ring = rm.outside(data, finding);
        const flags = [ring ? "out of range" : "", rm.verify(data, finding) ? "verify" : ""]
          .filter(Boolean)
          .join(", ");
        return rm.make(
          "tr",
          {},
          rm.make(
            "td",
            {},
            rm.make("bdi", {}, rm.shorten(data.ids[receptor], 24)),
            rm.make("span", { class: "rm-about" }, ` ${data.use(receptor)}`),
          ),
          rm.make(
            "td",
            { class: "rm-word" },
            rm.markPicture(word, { ring, size: 16 }),
            rm.make("span", {}, word.word, flags ? `, ${flags}` : ""),
          ),
          rm.make("td", { class: "rm-number" }, finding < 0 ? "" : rm.margin(data.margin(finding))),
        );
      });
      const title = rm.make("h2", {}, `All ${order.length} receptors`);
      const headings = ["Receptor", "Likelihood", rm.marginTitle(view)].map((text) =>
        rm.make("th", { scope: "col" }, text),
      );
      this.table.replaceChildren(
        title,
        rm.make(
          "table",
          { class: "rm-table" },
          rm.make("thead", {}, rm.make("tr", {}, ...headings)),
          rm.make("tbody", {}, ...rows),
        ),
      );
      const room = this.table.parentElement.clientHeight;
      while (rows.length > 0 && this.table.offsetHeight > room) rows.pop().remove();
      if (order.length > rows.length) title.textContent = `The ${rows.length} worst of ${order.length} receptors`;
      shrink(document.getElementById("rm-choices"));
    }
  };
})((window.riskMap = window.riskMap || {}));
