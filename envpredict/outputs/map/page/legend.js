// The legend: what every mark and line says, and how many receptors have it.
(function (rm) {
  "use strict";

  /** Return the legend of what is shown. */
  rm.legend = function (app) {
    const { data, state, view } = app;
    const rest = rm.restCounts(data, state);
    const extra = ["none", "quiet"].map((id) => data.wordIndex[id]);
    const rows = rm
      .wordOrder(data)
      .filter((index) => view.counts[index] || rest[index] || !extra.includes(index))
      .map((index) => wordRow(data.head.words[index], view.counts[index], rest[index]));
    return [
      rm.make("h2", {}, "Legend"),
      rm.make("ul", {}, ...rows, ...SIGNS.map(([options, title, about]) => signRow(options, title, about))),
      restLegend(data),
      lineLegend(app),
      siteLegend(data),
    ];
  };

  const SIGNS = [
    [{ ring: true }, "dashed ring", "out of range: outside the law's valid range; seen from afar the mark is paler"],
    [
      { verify: true },
      "v",
      "verify: an input is recalled, practice or an estimate; drawn when near, always in the list",
    ],
  ];

  function wordRow(word, count, rest) {
    const about = rm.make("span", { class: "rm-about" }, word.meaning);
    const told = rest ? `${count} and ${rest} in cells` : String(count);
    const text = rm.make("span", {}, rm.make("b", {}, word.word), ` ${told}`, about);
    return rm.make("li", { class: count || rest ? null : "rm-zero" }, rm.markPicture(word), text);
  }

  function signRow(options, title, about) {
    const text = rm.make("span", {}, rm.make("b", {}, title), rm.make("span", { class: "rm-about" }, about));
    return rm.make("li", {}, rm.markPicture(null, options), text);
  }

  /** Return what the cells are that stand for the receptors that aren't drawn one by one. */
  function restLegend(data) {
    const { rest } = data.head;
    if (!rest) return "";
    const about =
      "Its mark is that of the most severe likelihood in the cell; \"3 of 40\": 3 of its 40 receptors have it. " +
      rest.sentence;
    return rm.make(
      "div",
      { class: "rm-lines" },
      rm.make("h3", {}, `Cells of ${rest.cell_m} m`),
      rm.make("p", { class: "rm-about" }, about),
    );
  }

  /** Return what the level lines are that are drawn, each with the limit it stands for. */
  function lineLegend({ data, state }) {
    const shown = rm.linesShown(data, state);
    const lines = data.head.contours.lines.filter((line, index) => shown[index]);
    if (!lines.length) return "";
    const titles = lines.map((line) => {
      const [title] = data.head.documents.sets[line.limit_set] || [rm.plain(line.limit_set)];
      return `${rm.limitText(line)}: ${title}${line.period ? `, ${line.period}` : ""}${apartText(line)}`;
    });
    const chance = rm.percent(data.head.design_exceedance);
    const about =
      "Solid: the median level has the limit's value. Dashed: it lies so far below that the level with a chance of " +
      `${chance} has it. A finding decides, not a line.`;
    return rm.make(
      "div",
      { class: "rm-lines" },
      rm.make("h3", {}, "Level lines"),
      rm.make("p", { class: "rm-about" }, about),
      rm.make("p", { class: "rm-about" }, gridText(data, lines)),
      rm.make("ul", {}, ...Array.from(new Set(titles), (text) => rm.make("li", {}, text))),
    );
  }

  /** Return which levels the drawn lines are lines of. */
  function gridText(data, lines) {
    const { positions, height_m: height, cell_m: cell } = data.head.contours;
    const noise =
      `Noise: free field, ${height} m above ground, with all plant of the method at work, the highest over at most ` +
      `${positions} positions along the works.`;
    const ground = "Vibration: on the ground, from the worst pile.";
    const texts = [
      lines.some((line) => line.effect !== "noise") && ground,
      lines.some((line) => line.effect === "noise") && noise,
    ];
    const grid = `Levels on a grid of ${cell} m, at whose edge lines end, over the whole programme.`;
    return [grid, ...texts.filter(Boolean)].join(" ");
  }

  /** Return how the findings of a line's limit differ from the grid, in words. */
  function apartText({ apart, unit }) {
    if (!apart) return "";
    const [least, middle, most] = apart;
    const range = unit.startsWith("dB") ? `by ${least} to ${most} dB (middle ${middle})` : null;
    return `. Its findings, at their own place and over their time, differ from this level ${
      range || `by a factor of ${least} to ${most} (middle ${middle})`
    }`;
  }

  function swatch(draw) {
    const ratio = 2;
    const canvas = rm.make("canvas", {
      class: "rm-mark",
      width: 30 * ratio,
      height: 18 * ratio,
      "aria-hidden": "true",
    });
    canvas.style.width = "30px";
    canvas.style.height = "18px";
    const ctx = canvas.getContext("2d");
    ctx.scale(ratio, ratio);
    draw(ctx);
    return canvas;
  }

  function stroke(ctx, { colour = "#1f2830", width = 1.6, dash = [], y = 9 } = {}) {
    ctx.strokeStyle = colour;
    ctx.lineWidth = width;
    ctx.setLineDash(dash);
    ctx.beginPath();
    ctx.moveTo(1, y);
    ctx.lineTo(29, y);
    ctx.stroke();
  }

  function dot(ctx, x, r, fill, edge) {
    ctx.beginPath();
    ctx.arc(x, 9, r, 0, 2 * Math.PI);
    ctx.fillStyle = fill;
    ctx.fill();
    ctx.strokeStyle = edge;
    ctx.lineWidth = 1.2;
    ctx.stroke();
  }

  /** Return the legend of the site's own things, those that the scenario has. */
  function siteLegend(data) {
    const has = (name) => data.has(`${name}.kind`);
    const rows = [
      ["wall", "pile wall", (ctx) => stroke(ctx, { colour: "#5b6670", width: 3 })],
      [
        "piles",
        "piles: done, this day's, to come",
        (ctx) => {
          dot(ctx, 5, 3, "#1f2830", "#1f2830");
          dot(ctx, 15, 5, "#1f2830", "#ffffff");
          dot(ctx, 25, 3, "#ffffff", "#1f2830");
        },
      ],
      ["boreholes", "borehole", (ctx) => rm.drawBorehole(ctx, 15, 9)],
      [
        "stations",
        "drafted measuring position: N noise, V vibration, M movement",
        (ctx) => rm.drawStation(ctx, 15, 14),
      ],
      ["boundary", "site boundary", (ctx) => stroke(ctx, { dash: [10, 3, 2, 3] })],
      [
        "obstacles",
        "building or screen",
        (ctx) => {
          ctx.fillStyle = "#e3e0d8";
          ctx.strokeStyle = "#b7b2a6";
          ctx.fillRect(4, 3, 22, 12);
          ctx.strokeRect(4, 3, 22, 12);
        },
      ],
      [
        "constraints",
        "constraint on the works",
        (ctx) => {
          ctx.strokeStyle = "#6b543c";
          ctx.setLineDash([4, 2]);
          ctx.strokeRect(4, 3, 22, 12);
        },
      ],
    ];
    return rm.make(
      "ul",
      { class: "rm-site" },
      ...rows
        .filter(([name]) => has(name))
        .map(([, text, draw]) => rm.make("li", {}, swatch(draw), rm.make("span", {}, text))),
    );
  }
})((window.riskMap = window.riskMap || {}));
