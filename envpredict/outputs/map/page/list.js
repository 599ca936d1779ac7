// The list of receptors: sorted, searched, filtered, turned over page by page, walked through with the arrow keys.
(function (rm) {
  "use strict";

  const PAGE = 50;

  const COLUMNS = [
    { id: "receptor", title: "Receptor" },
    { id: "word", title: "Likelihood" },
    { id: "margin", title: "Margin" },
  ];

  rm.List = class {
    constructor(app, section) {
      this.app = app;
      this.page = 0;
      this.sort = "word";
      this.down = false;
      this.query = "";
      this.filter = "";
      this.build(section);
    }

    build(section) {
      const { data } = this.app;
      this.search = rm.make("input", {
        type: "search",
        id: "rm-search",
        autocomplete: "off",
        placeholder: "id, name or use",
      });
      this.pick = rm.make("select", { id: "rm-filter" }, rm.make("option", { value: "" }, "every likelihood"));
      for (const index of rm.wordOrder(data))
        this.pick.append(rm.make("option", { value: index }, data.head.words[index].word));
      this.head = rm.make("tr");
      this.body = rm.make("tbody");
      this.told = rm.make("p", { class: "rm-told", role: "status" });
      this.back = rm.make("button", { type: "button" }, "Previous");
      this.next = rm.make("button", { type: "button" }, "Next");
      this.scroll = rm.make(
        "div",
        { class: "rm-rows", tabindex: "0", role: "region", "aria-label": "Receptors, list" },
        rm.make("table", { class: "rm-table" }, rm.make("thead", {}, this.head), this.body),
      );
      this.element = rm.make(
        "div",
        { class: "rm-list", id: "rm-list", tabindex: "-1" },
        rm.make("h2", {}, "Receptors"),
        rm.make(
          "div",
          { class: "rm-find" },
          rm.make("label", { for: "rm-search" }, "Search"),
          this.search,
          rm.make("label", { for: "rm-filter" }, "Show"),
          this.pick,
        ),
        this.told,
        this.scroll,
        rm.make("div", { class: "rm-pages" }, this.back, this.next),
      );
      section.append(this.element);
      this.listen();
    }

    listen() {
      this.search.addEventListener("input", () => this.start({ query: this.search.value.trim().toLowerCase() }));
      this.pick.addEventListener("change", () => this.start({ filter: this.pick.value }));
      this.back.addEventListener("click", () => this.turn(-1));
      this.next.addEventListener("click", () => this.turn(1));
      this.body.addEventListener("click", (event) => {
        const row = event.target.closest("tr");
        if (row) this.app.select(Number(row.dataset.receptor), { from: "list" });
      });
      this.body.addEventListener("keydown", (event) => this.walk(event));
    }

    start(change) {
      Object.assign(this, change, { page: 0 });
      this.update();
    }

    turn(by) {
      this.page += by;
      this.fill();
      this.scroll.scrollTop = 0;
    }

    /** Move the focus from row to row. */
    walk(event) {
      const buttons = [...this.body.querySelectorAll("button")];
      const here = buttons.indexOf(document.activeElement);
      const to = { ArrowDown: here + 1, ArrowUp: here - 1, Home: 0, End: buttons.length - 1 }[event.key];
      if (to === undefined || here < 0) return;
      event.preventDefault();
      const button = buttons[Math.max(0, Math.min(buttons.length - 1, to))];
      for (const other of buttons) other.tabIndex = other === button ? 0 : -1;
      button.focus();
    }

    /** Return the receptors that the search and the filter leave, in the chosen order. */
    rows() {
      const { data, view, order } = this.app;
      const words = data.head.words;
      const left = order.filter((receptor) => {
        if (this.filter !== "" && view.words[receptor] !== Number(this.filter)) return false;
        if (!this.query) return true;
        const text = `${data.ids[receptor]} ${data.name(receptor)} ${data.use(receptor)}`;
        return text.toLowerCase().includes(this.query);
      });
      const margin = (receptor) => {
        const finding = view.finding[receptor];
        const value = finding < 0 ? null : data.margin(finding);
        return value === null ? Infinity : value;
      };
      const compare = {
        word: (a, b) => words[view.words[a]].rank - words[view.words[b]].rank,
        receptor: (a, b) => data.ids[a].localeCompare(data.ids[b], "en", { numeric: true }),
        margin: (a, b) => (margin(a) === margin(b) ? 0 : margin(a) - margin(b)),
      }[this.sort];
      left.sort(compare);
      return this.down ? left.reverse() : left;
    }

    update() {
      this.found = this.rows();
      this.fill();
    }

    fill() {
      const { data } = this.app;
      const pages = Math.max(1, Math.ceil(this.found.length / PAGE));
      this.page = Math.max(0, Math.min(this.page, pages - 1));
      const from = this.page * PAGE;
      const part = this.found.slice(from, from + PAGE);
      this.head.replaceChildren(...COLUMNS.map((column) => this.heading(column)));
      this.body.replaceChildren(...part.map((receptor, index) => this.row(receptor, index === 0)));
      const of = this.found.length === data.receptors ? "" : ` found among ${data.receptors}`;
      this.told.textContent = part.length
        ? `${from + 1} to ${from + part.length} of ${this.found.length}${of}`
        : `None found among ${data.receptors}`;
      this.back.disabled = this.page === 0;
      this.next.disabled = this.page >= pages - 1;
      this.back.parentElement.hidden = pages === 1;
      this.mark();
    }

    heading({ id, title }) {
      const sorted = this.sort === id;
      const button = rm.make(
        "button",
        { type: "button" },
        id === "margin" ? rm.marginTitle(this.app.view) : title,
        rm.make("span", { "aria-hidden": "true" }, sorted ? (this.down ? " ▾" : " ▴") : ""),
      );
      button.addEventListener("click", () => this.resort(id));
      const cell = rm.make("th", { scope: "col" }, button);
      if (sorted) cell.setAttribute("aria-sort", this.down ? "descending" : "ascending");
      return cell;
    }

    resort(id) {
      this.start({ down: this.sort === id && !this.down, sort: id });
      this.head.children[COLUMNS.findIndex((column) => column.id === id)].firstChild.focus();
    }

    row(receptor, first) {
      const { data, view } = this.app;
      const word = data.head.words[view.words[receptor]];
      const finding = view.finding[receptor];
      const ring = rm.outside(data, finding);
      const name = data.name(receptor);
      const button = rm.make(
        "button",
        { type: "button", tabindex: first ? 0 : -1 },
        rm.make("bdi", {}, data.ids[receptor]),
      );
      const about = rm.make(
        "span",
        { class: "rm-about" },
        data.placed(receptor) ? data.use(receptor) : `${data.use(receptor)}, place left out`,
      );
      const label = rm.make(
        "td",
        {},
        button,
        ...(name ? [" ", rm.make("bdi", { class: "rm-name" }, name)] : []),
        about,
      );
      const flags = [ring ? "out of range" : "", rm.verify(data, finding) ? "verify" : ""].filter(Boolean).join(", ");
      return rm.make(
        "tr",
        { "data-receptor": receptor },
        label,
        rm.make(
          "td",
          { class: "rm-word" },
          rm.markPicture(word, { ring }),
          rm.make("span", {}, word.word, rm.make("span", { class: "rm-about" }, flags)),
        ),
        rm.make("td", { class: "rm-number" }, finding < 0 ? "" : rm.margin(data.margin(finding))),
      );
    }

    /** Show which row is chosen. */
    mark() {
      for (const row of this.body.children) {
        const chosen = Number(row.dataset.receptor) === this.app.state.selected;
        row.classList.toggle("rm-chosen", chosen);
        row.querySelector("button").setAttribute("aria-current", chosen ? "true" : "false");
      }
    }

    /** Bring the chosen receptor's row into view, turning to its page. */
    reveal(receptor) {
      const place = this.found.indexOf(receptor);
      if (place < 0) return;
      this.page = Math.floor(place / PAGE);
      this.fill();
    }

    /** Put the focus on a receptor's row. */
    focus(receptor) {
      this.reveal(receptor);
      const row = [...this.body.children].find((one) => Number(one.dataset.receptor) === receptor);
      const button = row ? row.querySelector("button") : this.search;
      button.tabIndex = 0;
      button.focus();
    }
  };
})((window.riskMap = window.riskMap || {}));
