// Everything that is known of one receptor: each finding with its numbers, limit, source and reason.
(function (rm) {
  "use strict";

  const FACTS = {
    structure: "Structure",
    condition: "Condition",
    floors: "Floors",
    foundation: "Foundation",
    depth_m: "Depth in m",
    occupied_hours: "Occupied",
    equipment: "Equipment",
    zone: "Zone",
    material: "Material",
  };

  function pair(title, ...content) {
    return rm.make("div", {}, rm.make("dt", {}, title), rm.make("dd", {}, ...content));
  }

  function decimals(value) {
    return value === null ? "" : String(Number(value.toFixed(1)));
  }

  rm.Details = class {
    constructor(app, section) {
      this.app = app;
      this.element = rm.make("div", {
        class: "rm-details",
        role: "dialog",
        "aria-labelledby": "rm-details-title",
        hidden: true,
      });
      section.append(this.element);
      this.element.addEventListener("keydown", (event) => {
        if (event.key !== "Escape") return;
        event.stopPropagation();
        this.app.close();
      });
    }

    show() {
      const { data, state, view } = this.app;
      const receptor = state.selected;
      this.element.hidden = receptor < 0;
      if (receptor < 0) return;
      const word = data.head.words[view.words[receptor]];
      const close = rm.make("button", { type: "button", class: "rm-close" }, "Back to the list");
      close.addEventListener("click", () => this.app.close());
      this.title = rm.make("h2", { id: "rm-details-title", tabindex: "-1" }, rm.make("bdi", {}, data.ids[receptor]));
      const name = data.name(receptor);
      this.body = rm.make(
        "div",
        { class: "rm-details-body", tabindex: "0", role: "region", "aria-label": "Findings" },
        this.facts(receptor),
        this.dayChart(receptor),
        ...this.findings(receptor),
        this.otherMethods(receptor),
      );
      this.element.replaceChildren(
        rm.make(
          "div",
          { class: "rm-details-head" },
          close,
          this.title,
          ...(name ? [rm.make("p", { class: "rm-name" }, rm.make("bdi", {}, name))] : []),
          rm.make(
            "p",
            { class: "rm-verdict" },
            rm.markPicture(word, { size: 26, ring: rm.outside(data, view.finding[receptor]) }),
            rm.make("strong", {}, word.word),
            ` ${this.app.choiceText()}`,
          ),
        ),
        this.body,
      );
    }

    facts(receptor) {
      const { data } = this.app;
      const list = rm.make("dl", { class: "rm-facts" }, pair("Use", data.use(receptor)));
      for (const [fact, title] of Object.entries(FACTS)) {
        const value = data.head.facts.includes(fact) ? data.word(`receptors.${fact}`, receptor) : "";
        if (value && value !== "none") list.append(pair(title, rm.make("bdi", {}, rm.plain(value))));
      }
      const distance = data.distance(receptor);
      list.append(pair("Nearest pile", distance === null ? "place left out" : `${distance.toFixed(1)} m in plan`));
      return list;
    }

    /** Return the findings of the chosen method, by effect; rules that don't apply are folded away. */
    findings(receptor) {
      const { data, state } = this.app;
      const cell = receptor * data.head.methods.length + state.method;
      const all = [];
      for (let finding = data.first[cell]; finding < data.first[cell + 1]; finding += 1) all.push(finding);
      const idle = data.wordIndex.not_applicable;
      const word = data.column("findings.word");
      const blocks = data.head.effects.flatMap((effect) => {
        const mine = all.filter((finding) => data.kind(finding).effect === effect.id && word[finding] !== idle);
        return mine.length
          ? [rm.make("h3", {}, capital(effect.title)), ...mine.map((finding) => this.finding(finding))]
          : [];
      });
      const rest = all.filter((finding) => word[finding] === idle);
      if (rest.length) {
        blocks.push(
          rm.make(
            "details",
            { class: "rm-idle" },
            rm.make(
              "summary",
              {},
              `${rest.length} ${rest.length === 1 ? "rule that doesn't" : "rules that don't"} apply here`,
            ),
            ...rest.map((finding) => this.finding(finding)),
          ),
        );
      }
      return blocks.length ? blocks : [rm.make("p", {}, "No adopted rule speaks of this receptor.")];
    }

    finding(finding) {
      const { data } = this.app;
      const kind = data.kind(finding);
      const word = data.head.words[data.column("findings.word")[finding]];
      const ring = rm.outside(data, finding);
      const [title] = data.head.documents.sets[kind.limit_set] || [kind.limit_set];
      const heading = rm.make(
        "h4",
        {},
        rm.markPicture(word, { ring }),
        rm.make(
          "span",
          {},
          word.word,
          rm.make(
            "span",
            { class: "rm-about" },
            [ring ? "out of range" : "", kind.period].filter(Boolean).join(", "),
          ),
        ),
      );
      return rm.make(
        "article",
        { class: "rm-finding" },
        heading,
        rm.make("p", { class: "rm-rule" }, rm.make("bdi", {}, title), ", ", rm.make("bdi", {}, kind.clause)),
        this.numbers(finding, kind),
        this.grounds(finding, kind),
      );
    }

    numbers(finding, kind) {
      const { data } = this.app;
      const list = rm.make("dl", { class: "rm-numbers" });
      const add = (title, text) => text && list.append(pair(title, text));
      add("Median", data.level("predicted_median", finding));
      add(`Design (${rm.percent(data.head.design_exceedance)} chance)`, data.level("predicted_design", finding));
      add("Limit", data.level("limit", finding));
      add("Margin", rm.margin(data.margin(finding)));
      add("Chance of exceeding", rm.chance(data.number("p_exceed", finding, 1000)));
      add("Chance, this pile alone", rm.chance(data.number("p_one_pile", finding, 1000)));
      const scatter = data.number("scatter", finding, 100);
      add(
        "Scatter (1 sd)",
        scatter === null ? "" : kind.decibel ? `${decimals(scatter)} dB` : `${scatter.toFixed(2)} log10`,
      );
      const days = data.number("days_above", finding, 10);
      const [low, high] = [data.number("days_above_low", finding, 10), data.number("days_above_high", finding, 10)];
      add(
        "Days above",
        days === null
          ? ""
          : decimals(days) + (low === null || high === null ? "" : ` (${decimals(low)} to ${decimals(high)})`),
      );
      const others = [data.level("other_laws_low", finding), data.level("other_laws_high", finding)];
      add("Other laws, median", others[0] && (others[0] === others[1] ? others[0] : others.join(" to ")));
      add("Governing pile", data.word("findings.governing_pile", finding));
      add("Governing day", data.word("findings.governing_day", finding));
      return list;
    }

    /** Return what a finding stands on: quantity, law, source, how it is known, and the reason for its word. */
    grounds(finding, kind) {
      const { data } = this.app;
      const { meanings, documents } = data.head;
      const list = rm.make("dl", { class: "rm-grounds" });
      const add = (title, text) => text && list.append(pair(title, rm.make("bdi", {}, text)));
      add(
        "Judged",
        [meanings.quantities[kind.quantity] || kind.quantity, meanings.positions[kind.position] || kind.position]
          .filter(Boolean)
          .join(", "),
      );
      add(
        "Class",
        kind.class && ((documents.classes[`${kind.limit_set}/${kind.class}`] || [""])[0] || rm.plain(kind.class)),
      );
      add("Limit from", (documents.sets[kind.limit_set] || ["", ""])[1]);
      const [law, source] = documents.models[kind.model] || [kind.model, ""];
      add("Predicted by", [law, source].filter(Boolean).join(": "));
      const basis = (name) => (kind[name] ? `${kind[name]}: ${meanings.basis[kind[name]]}` : "");
      add("Median's basis", basis("median_basis"));
      add("Weakest basis", basis("basis"));
      add("Reason", data.word("findings.reason", finding));
      return list;
    }

    /** Return a chart of the chance by day, for the receptors whose chances the page holds. */
    dayChart(receptor) {
      const { data, state } = this.app;
      const place = data.head.daily.worst.indexOf(receptor);
      const name = `chance.${state.method}`;
      if (place < 0 || !data.has(name)) return "";
      const days = data.head.methods[state.method].days;
      const chances = data.column(name).subarray(place * days.length, (place + 1) * days.length);
      const canvas = rm.make("canvas", {
        class: "rm-chart",
        width: 660,
        height: 120,
        role: "img",
        "aria-label": chartText(data, days, chances),
      });
      drawChart(canvas, chances, data.head.design_exceedance, state.day);
      const first = data.head.dates[days[0]];
      const last = data.head.dates[days[days.length - 1]];
      return rm.make(
        "figure",
        { class: "rm-byday" },
        rm.make("figcaption", {}, "Highest chance of exceeding any limit, day by day"),
        canvas,
        rm.make("p", { class: "rm-ends" }, rm.make("span", {}, first), rm.make("span", {}, last)),
      );
    }

    otherMethods(receptor) {
      const { data, state } = this.app;
      const rows = data.head.methods.map((method, index) => {
        const view = rm.view(data, { ...state, method: index, day: -1 });
        const word = data.head.words[view.words[receptor]];
        const finding = view.finding[receptor];
        const button = rm.make("button", { type: "button", disabled: index === state.method }, method.title);
        button.addEventListener("click", () => this.app.set({ method: index }));
        return rm.make(
          "tr",
          {},
          rm.make("td", {}, button),
          rm.make(
            "td",
            { class: "rm-word" },
            rm.markPicture(word, { ring: rm.outside(data, finding) }),
            rm.make("span", {}, word.word),
          ),
          rm.make("td", { class: "rm-number" }, finding < 0 ? "" : rm.margin(data.margin(finding))),
        );
      });
      return rm.make(
        "section",
        { class: "rm-others" },
        rm.make("h3", {}, "This receptor under each method"),
        rm.make(
          "table",
          { class: "rm-table" },
          rm.make(
            "thead",
            {},
            rm.make(
              "tr",
              {},
              ...["Method", "Likelihood", "Margin"].map((title) => rm.make("th", { scope: "col" }, title)),
            ),
          ),
          rm.make("tbody", {}, ...rows),
        ),
      );
    }

    focus() {
      this.title.focus();
    }
  };

  function capital(text) {
    return text.charAt(0).toUpperCase() + text.slice(1);
  }

  function chartText(data, days, chances) {
    let worst = -1;
    chances.forEach((code, index) => {
      if (code < 255 && (worst < 0 || code > chances[worst])) worst = index;
    });
    return worst < 0
      ? "No chance on any day"
      : `Highest on ${data.head.dates[days[worst]]}: ${rm.chance(chances[worst] / 200)}`;
  }

  function drawChart(canvas, chances, design, chosen) {
    const ctx = canvas.getContext("2d");
    const { width, height } = canvas;
    const left = 76;
    const step = (width - left) / Math.max(1, chances.length);
    const y = (share) => height - 6 - share * (height - 18);
    ctx.font = `20px ${rm.FONT}`;
    ctx.textAlign = "right";
    ctx.textBaseline = "middle";
    for (const [share, text] of [
      [1, "100 %"],
      [0.5, "50 %"],
      [0, "0"],
    ]) {
      ctx.fillStyle = "#48535d";
      ctx.fillText(text, left - 8, y(share));
      ctx.fillStyle = "#d5dadf";
      ctx.fillRect(left, y(share) - 1, width - left, 2);
    }
    chances.forEach((code, index) => {
      if (code === 255) return;
      const share = code / 200;
      ctx.fillStyle =
        index === chosen ? "#1f2830" : share >= 0.5 ? "#7c1d54" : share >= design ? "#c98a0e" : "#7fb0d1";
      ctx.fillRect(left + index * step, y(share), Math.max(1, step - 1), Math.max(2, height - 6 - y(share)));
    });
  }
})((window.riskMap = window.riskMap || {}));
