// The choices: method, effect, period, day, level lines, background.
(function (rm) {
  "use strict";

  const TILES = "https://tile.openstreetmap.org/{z}/{x}/{y}.png";
  const WEEKDAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];

  /** Return an ISO date with its weekday. */
  rm.dateText = function (iso) {
    const [year, month, day] = iso.split("-").map(Number);
    return `${WEEKDAYS[new Date(Date.UTC(year, month - 1, day)).getUTCDay()]} ${iso}`;
  };

  function radio(name, value, checked, ...content) {
    return rm.make(
      "label",
      { class: "rm-choice" },
      rm.make("input", { type: "radio", name, value, checked }),
      rm.make("span", {}, ...content),
    );
  }

  function group(title, ...content) {
    return rm.make("fieldset", {}, rm.make("legend", {}, title), ...content);
  }

  rm.Controls = class {
    constructor(app, section) {
      this.app = app;
      this.section = section;
      this.build();
    }

    build() {
      const { data, state } = this.app;
      this.counts = data.head.methods.map(() => rm.make("span", { class: "rm-counts" }));
      const methods = data.head.methods.map((method, index) =>
        radio(
          "rm-method",
          index,
          index === state.method,
          method.title,
          ...(method.estimate
            ? [rm.make("span", { class: "rm-flag" }, "vibration is an estimate: trial needed")]
            : []),
          this.counts[index],
        ),
      );
      const effects = [
        ["governing", "Whichever governs"],
        ...data.head.effects.map((one) => [one.id, capital(one.title)]),
      ].map(([id, title]) => radio("rm-effect", id, id === state.effect, title));
      this.period = rm.make("select", { id: "rm-period" });
      this.periodRow = rm.make(
        "p",
        { class: "rm-row" },
        rm.make("label", { for: "rm-period" }, "Period"),
        this.period,
      );
      this.lines = rm.make(
        "select",
        { id: "rm-lines" },
        rm.make("option", { value: "follow" }, "of the effect shown"),
        ...data.head.effects.map((one) => rm.make("option", { value: one.id }, one.title)),
        rm.make("option", { value: "none" }, "none"),
      );
      this.tiles = rm.make("input", { type: "checkbox", id: "rm-tiles" });
      this.tileTold = rm.make(
        "span",
        { class: "rm-about" },
        "OpenStreetMap; goes online and shows its server where you look",
      );
      this.legend = rm.make("section", { class: "rm-legend", "aria-label": "Legend" });
      this.section.append(
        group("Method", ...methods),
        group("Effect", ...effects, this.periodRow),
        this.time(),
        group(
          "Level lines and background",
          rm.make("p", { class: "rm-row" }, rm.make("label", { for: "rm-lines" }, "Lines"), this.lines),
          rm.make("label", { class: "rm-choice" }, this.tiles, rm.make("span", {}, "Background map", this.tileTold)),
        ),
        this.legend,
        this.notes(),
      );
      this.section.addEventListener("change", (event) => this.changed(event.target));
    }

    /** Return the choice of the whole programme or one day. */
    time() {
      this.slider = rm.make("input", {
        type: "range",
        id: "rm-day",
        min: 0,
        max: 0,
        step: 1,
        "aria-label": "Day of the programme",
      });
      this.dayTold = rm.make("output", { for: "rm-day", class: "rm-about" });
      this.slider.addEventListener("input", () => this.app.set({ day: Number(this.slider.value) }));
      return group(
        "Time",
        radio("rm-time", "whole", true, "Whole programme"),
        radio("rm-time", "day", false, "One day"),
        this.slider,
        this.dayTold,
      );
    }

    notes() {
      const { head } = this.app.data;
      const list = (title, items) =>
        items.length
          ? rm.make(
              "details",
              {},
              rm.make("summary", {}, title),
              rm.make("ul", {}, ...items.map((item) => rm.make("li", {}, item))),
            )
          : "";
      const by = head.daily.held.some((held) => held.length);
      const daily = [];
      if (by && !head.daily.every_effect)
        daily.push("Likelihoods by day are held for the governing effect only, to keep this page small.");
      if (head.daily.worst.length && head.daily.worst.length < this.app.data.receptors) {
        daily.push(`Chances by day are charted for the ${head.daily.worst.length} worst receptors.`);
      }
      if (!by) daily.push("This result holds no likelihoods by day: the slider shows the piles only.");
      if (!head.findings_in_full)
        daily.push(
          "Left out to keep this page small: rules that don't apply where another one does, one pile's chance, " +
            `the range of days, other laws. They are in ${head.findings_file}.`,
        );
      if (head.contours.left_out) {
        daily.push(
          `Lines are drawn for the limits that govern most receptors; ${head.contours.left_out} others have none.`,
        );
      }
      return rm.make(
        "section",
        { class: "rm-notes", "aria-label": "Notes" },
        head.rest ? rm.make("p", {}, head.rest.sentence) : "",
        head.rest ? rm.make("p", {}, `Every one stands in layers.gpkg and ${head.findings_file}.`) : "",
        ...head.left_out.map((note) => rm.make("p", {}, note)),
        ...daily.map((note) => rm.make("p", { class: "rm-onscreen" }, note)),
        list("Notes of this run", head.notes),
        list("Sources", head.sources),
        list("Inputs and version", [
          `envpredict ${head.version}`,
          ...Object.entries(head.inputs).map(([name, sum]) => `${name}: ${sum}`),
        ]),
      );
    }

    changed(target) {
      if (target.name === "rm-method") this.app.set({ method: Number(target.value) });
      else if (target.name === "rm-effect") this.app.set({ effect: target.value, period: "" });
      else if (target === this.period) this.app.set({ period: target.value });
      else if (target === this.lines) this.app.set({ lines: target.value });
      else if (target.name === "rm-time") this.app.set({ day: target.value === "day" ? 0 : -1 });
      else if (target === this.tiles) this.background(target.checked);
    }

    /** Show or remove the online background; nothing is asked of the network before this box is ticked. */
    background(wanted) {
      const { map } = this.app;
      if (!wanted) {
        this.online.remove();
        this.credit.remove();
        return;
      }
      this.credit = L.control.attribution({ prefix: false }).addTo(map);
      this.online = L.tileLayer(TILES, {
        attribution: "© OpenStreetMap contributors",
        maxNativeZoom: 19,
        maxZoom: 22,
      });
      this.online.on("tileerror", () => {
        this.tileTold.textContent = "no tile came: no network, or the server refuses";
      });
      this.online.addTo(map);
    }

    update() {
      const { data, state } = this.app;
      for (const input of this.section.querySelectorAll("input[name=rm-method]"))
        input.checked = Number(input.value) === state.method;
      for (const input of this.section.querySelectorAll("input[name=rm-effect]"))
        input.checked = input.value === state.effect;
      this.counts.forEach((told, index) => {
        told.replaceChildren(...countPictures(data, rm.methodCounts(data, state, index)));
      });
      const effect = data.head.effects.find((one) => one.id === state.effect);
      const periods = effect && effect.periods.length > 1 ? effect.periods : [];
      this.periodRow.hidden = !periods.length;
      this.period.replaceChildren(
        rm.make("option", { value: "" }, "whichever governs"),
        ...periods.map((period) => rm.make("option", { value: period }, period)),
      );
      this.period.value = state.period;
      this.updateTime();
      this.legend.replaceChildren(...rm.legend(this.app));
    }

    updateTime() {
      const { data, state, view } = this.app;
      const method = data.head.methods[state.method];
      const whole = state.day < 0;
      for (const input of this.section.querySelectorAll("input[name=rm-time]"))
        input.checked = (input.value === "whole") === whole;
      this.slider.disabled = whole;
      this.slider.max = Math.max(0, method.days.length - 1);
      this.slider.value = Math.max(0, state.day);
      if (whole) {
        this.dayTold.textContent = `${method.days.length} working days, ${method.piles} piles`;
        return;
      }
      const done = rm.pileStates(data, state).filter(Boolean).length;
      const date = rm.dateText(data.head.dates[method.days[state.day]]);
      const day = `Day ${state.day + 1} of ${method.days.length}, ${date}`;
      const text = `${day}: ${done} of ${method.piles} piles done by the evening`;
      const kept = view.byDay
        ? state.period
          ? " Likelihoods of the day, all periods."
          : " Likelihoods of this day."
        : " Likelihoods of the whole programme: none are held by day for this choice.";
      this.dayTold.textContent = `${text}.${kept}`;
      this.slider.setAttribute("aria-valuetext", text);
    }
  };

  function capital(text) {
    return text.charAt(0).toUpperCase() + text.slice(1);
  }

  /** Return the counts as marks with numbers, and in words for whoever hears the page. */
  function countPictures(data, counts) {
    const shown = rm.wordOrder(data).filter((index) => counts[index] > 0);
    return [
      rm.make("span", { class: "rm-heard" }, rm.countText(data, counts)),
      ...shown.map((index) =>
        rm.make(
          "span",
          { "aria-hidden": "true" },
          rm.markPicture(data.head.words[index], { size: 16 }),
          String(counts[index]),
        ),
      ),
    ];
  }
})((window.riskMap = window.riskMap || {}));
