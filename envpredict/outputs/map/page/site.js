// The site and the level lines, drawn below and above the receptors.
(function (rm) {
  "use strict";

  const INK = "#1f2830";
  const LABEL_STEP = 7;
  const PARTS_LABELLED = 3;

  /** Trace the parts of one shape into the current path. */
  rm.trace = function (ctx, shapes, index, at, close) {
    for (let part = shapes.part[index]; part < shapes.part[index + 1]; part += 1) {
      const to = shapes.point[part + 1];
      for (let i = shapes.point[part]; i < to; i += 1) {
        const x = at.x(shapes.x[i]);
        const y = at.y(shapes.y[i]);
        if (i === shapes.point[part]) ctx.moveTo(x, y);
        else ctx.lineTo(x, y);
      }
      if (close) ctx.closePath();
    }
  };

  function inView(shapes, index, at) {
    const box = shapes.box;
    return (
      at.x(box[4 * index + 2]) >= at.left &&
      at.x(box[4 * index]) <= at.right &&
      at.y(box[4 * index + 1]) >= at.top &&
      at.y(box[4 * index + 3]) <= at.bottom
    );
  }
  rm.inView = inView;

  /** Return a hatching of thin lines. */
  function hatch(ctx, colour) {
    const tile = document.createElement("canvas");
    tile.width = 8;
    tile.height = 8;
    const brush = tile.getContext("2d");
    brush.strokeStyle = colour;
    brush.lineWidth = 1;
    brush.beginPath();
    brush.moveTo(-2, 6);
    brush.lineTo(6, -2);
    brush.moveTo(2, 10);
    brush.lineTo(10, 2);
    brush.stroke();
    return ctx.createPattern(tile, "repeat");
  }

  function drawAreas(ctx, data, name, at, { fill, stroke, width = 1, dash = [] }) {
    if (!data.has(`${name}.kind`)) return;
    const shapes = data.shapes(name);
    ctx.save();
    ctx.lineWidth = width;
    ctx.strokeStyle = stroke;
    ctx.setLineDash(dash);
    ctx.lineJoin = "round";
    for (let index = 0; index < shapes.count; index += 1) {
      if (!inView(shapes, index, at)) continue;
      ctx.beginPath();
      rm.trace(ctx, shapes, index, at, shapes.kind[index] === 3);
      if (fill && shapes.kind[index] === 3) {
        ctx.fillStyle = fill;
        ctx.fill("evenodd");
      }
      ctx.stroke();
    }
    ctx.restore();
  }

  /** Draw what lies below the receptors: obstacles, constraints, the boundary. */
  rm.drawGround = function (ctx, data, at) {
    drawAreas(ctx, data, "obstacles", at, { fill: "#e3e0d8", stroke: "#a9a395", width: 1.5 });
    drawAreas(ctx, data, "constraints", at, {
      fill: hatch(ctx, "rgba(96,74,52,0.45)"),
      stroke: "#6b543c",
      dash: [5, 3],
    });
    drawAreas(ctx, data, "boundary", at, { stroke: INK, width: 1.6, dash: [10, 3, 2, 3] });
  };

  /** Return whether a level line belongs to what is chosen. */
  rm.linesShown = function (data, state) {
    const choice = state.lines === "follow" ? state.effect : state.lines;
    return data.head.contours.lines.map(
      (line) =>
        line.method === state.method &&
        (choice === "governing"
          ? line.rank === 0 && line.design
          : line.effect === choice && (!state.period || state.lines !== "follow" || line.period === state.period)),
    );
  };

  /** Return the limit that a level line is drawn for. */
  rm.limitText = function (line) {
    const unit = line.unit.startsWith("dB") ? "dB" : line.unit.replace("um/s", "µm/s");
    return unit === "1" ? line.limit : `${line.limit} ${unit}`;
  };

  /** Return what stands on a level line: the median's value there. */
  rm.lineText = function (data, line) {
    if (!line.design) return `${rm.limitText(line)} · median`;
    const level = rm.limitText({ unit: line.unit, limit: line.level });
    return `${level} · ${rm.percent(data.head.design_exceedance)} chance of ${rm.limitText(line)}`;
  };

  rm.percent = function (share) {
    return `${Number((100 * share).toPrecision(3))} %`;
  };

  /** Return the points in view of each part of a line, the parts with most of them first. */
  function partsSeen(shapes, index, at) {
    const parts = [];
    for (let part = shapes.part[index]; part < shapes.part[index + 1]; part += 1) {
      const seen = [];
      for (let i = shapes.point[part]; i < shapes.point[part + 1]; i += 1) {
        const x = at.x(shapes.x[i]);
        const y = at.y(shapes.y[i]);
        if (x > at.left + 30 && x < at.right - 30 && y > at.top + 12 && y < at.bottom - 12) seen.push([x, y]);
      }
      if (seen.length >= 3) parts.push(seen);
    }
    return parts.sort((a, b) => b.length - a.length);
  }

  /** Write the text of a line on its longest parts in view, where they run straight enough. */
  function labelLine(labels, shapes, index, at, text, colour) {
    for (const seen of partsSeen(shapes, index, at).slice(0, PARTS_LABELLED)) {
      const [left, right] = [Math.min(...seen.map((p) => p[0])), Math.max(...seen.map((p) => p[0]))];
      const [top, bottom] = [Math.min(...seen.map((p) => p[1])), Math.max(...seen.map((p) => p[1]))];
      if (Math.max(right - left, bottom - top) < 1.6 * labels.width(text, 11, true)) {
        // a line shorter than its text has it beside it
        labels.write(text, right + 8, (top + bottom) / 2, { colour, size: 11, bold: true });
        continue;
      }
      for (let share = 1; share < LABEL_STEP; share += 1) {
        const middle = Math.floor((seen.length * ((share * 3) % LABEL_STEP)) / LABEL_STEP);
        const [x0, y0] = seen[Math.max(0, middle - 1)];
        const [x1, y1] = seen[Math.min(seen.length - 1, middle + 1)];
        let angle = Math.atan2(y1 - y0, x1 - x0);
        if (Math.abs(angle) > Math.PI / 2) angle += angle > 0 ? -Math.PI : Math.PI;
        const [x, y] = seen[middle];
        if (labels.write(text, x, y, { colour, size: 11, bold: true, align: "center", angle, halo: 6 })) break;
      }
    }
  }

  /** Draw the level lines that are chosen: the design level's dashed, the median's solid. */
  rm.drawLines = function (ctx, data, state, at) {
    const shown = rm.linesShown(data, state);
    if (!shown.some(Boolean)) return [];
    const shapes = data.shapes("contours");
    const drawn = [];
    ctx.save();
    ctx.strokeStyle = data.head.contour_colour;
    ctx.lineJoin = "round";
    data.head.contours.lines.forEach((line, index) => {
      if (!shown[index]) return;
      ctx.beginPath();
      rm.trace(ctx, shapes, index, at, false);
      ctx.lineWidth = line.design ? 1.5 : 2;
      ctx.setLineDash(line.design ? [7, 4] : []);
      ctx.stroke();
      drawn.push(index);
    });
    ctx.restore();
    return drawn;
  };

  rm.labelLines = function (labels, data, state, at, drawn) {
    const shapes = drawn.length ? data.shapes("contours") : null;
    for (const index of drawn) {
      const line = data.head.contours.lines[index];
      const several = (state.lines === "follow" ? state.effect : state.lines) === "governing";
      const text = rm.lineText(data, line);
      labelLine(labels, shapes, index, at, several ? `${line.effect} ${text}` : text, data.head.contour_colour);
    }
  };

  /** Return, per pile, whether it is done (1), worked on that day (2) or still to come (0). */
  rm.pileStates = function (data, state) {
    const done = data.column(`programme.${state.method}`);
    if (state.day < 0) return new Uint8Array(done.length).fill(1);
    const today = data.head.methods[state.method].days[state.day];
    return Uint8Array.from(done, (day) => (day === today ? 2 : day < today ? 1 : 0));
  };

  /** Draw wall, piles and boreholes, on top of the receptors. */
  rm.drawWorks = function (ctx, data, state, at) {
    ctx.save();
    if (data.has("wall.kind")) {
      const wall = data.shapes("wall");
      ctx.lineCap = "round";
      for (const [colour, width] of [
        ["#ffffff", 6],
        ["#5b6670", 3],
      ]) {
        ctx.strokeStyle = colour;
        ctx.lineWidth = width;
        ctx.beginPath();
        for (let index = 0; index < wall.count; index += 1) rm.trace(ctx, wall, index, at, false);
        ctx.stroke();
      }
    }
    const piles = data.shapes("piles");
    const states = rm.pileStates(data, state);
    const r = Math.min(5, Math.max(1.4, 0.28 * at.metre));
    for (const wanted of [0, 1, 2]) {
      ctx.beginPath();
      const size = wanted === 2 ? r + 2.2 : r;
      for (let index = 0; index < piles.count; index += 1) {
        if (states[index] !== wanted) continue;
        const x = at.x(piles.x[index]);
        const y = at.y(piles.y[index]);
        ctx.moveTo(x + size, y);
        ctx.arc(x, y, size, 0, 2 * Math.PI);
      }
      ctx.fillStyle = wanted === 0 ? "#ffffff" : INK;
      ctx.fill();
      ctx.strokeStyle = wanted === 2 ? "#ffffff" : INK;
      ctx.lineWidth = wanted === 2 ? 1.6 : 0.9;
      ctx.stroke();
    }
    drawPoints(ctx, data, at, "boreholes", rm.drawBorehole);
    drawPoints(ctx, data, at, "stations", rm.drawStation);
    ctx.restore();
  };

  /** Draw a mark on each point of a layer. */
  function drawPoints(ctx, data, at, name, draw) {
    if (!data.has(`${name}.kind`)) return;
    const points = data.shapes(name);
    for (let index = 0; index < points.count; index += 1) draw(ctx, at.x(points.x[index]), at.y(points.y[index]));
  }

  /** Draw a measuring position: an open wedge whose tip stands on it. */
  rm.drawStation = function (ctx, x, y) {
    const r = 5.5;
    ctx.beginPath();
    ctx.moveTo(x, y);
    ctx.lineTo(x - r * 0.8, y - r * 1.5);
    ctx.lineTo(x + r * 0.8, y - r * 1.5);
    ctx.closePath();
    ctx.fillStyle = "#ffffff";
    ctx.fill();
    ctx.strokeStyle = INK;
    ctx.lineWidth = 1.3;
    ctx.setLineDash([]);
    ctx.stroke();
  };

  /** Draw a borehole: a circle with two opposite quarters filled. */
  rm.drawBorehole = function (ctx, x, y) {
    const r = 5.5;
    ctx.beginPath();
    ctx.arc(x, y, r, 0, 2 * Math.PI);
    ctx.fillStyle = "#ffffff";
    ctx.fill();
    ctx.fillStyle = INK;
    for (const quarter of [0, Math.PI]) {
      ctx.beginPath();
      ctx.moveTo(x, y);
      ctx.arc(x, y, r, quarter, quarter + Math.PI / 2);
      ctx.fill();
    }
    ctx.beginPath();
    ctx.arc(x, y, r, 0, 2 * Math.PI);
    ctx.strokeStyle = INK;
    ctx.lineWidth = 1.2;
    ctx.stroke();
  };

  /** Write the names of wall sections, boreholes and constraints, and what each position measures. */
  rm.labelSite = function (labels, data, at) {
    for (const [name, write] of Object.entries(SITE_TEXTS)) {
      if (!data.has(`${name}.kind`)) continue;
      const shapes = data.shapes(name);
      const once = new Set();
      for (let index = 0; index < shapes.count; index += 1) {
        const text = data.head.site[name][index];
        if (!text || once.has(text) || !inView(shapes, index, at)) continue;
        if (name === "wall") once.add(text);
        const box = shapes.box;
        const x = at.x((box[4 * index] + box[4 * index + 2]) / 2);
        const y = at.y((box[4 * index + 1] + box[4 * index + 3]) / 2);
        write(labels, text, x, y);
      }
    }
  };

  const SITE_TEXTS = {
    wall: (labels, text, x, y) => labels.write(`section ${text}`, x, y + 14, { size: 11, bold: true, align: "center" }),
    boreholes: (labels, text, x, y) => labels.write(text, x + 9, y, { size: 10.5 }),
    constraints: (labels, text, x, y) =>
      labels.write(text, x, y, { size: 10.5, colour: "#5a4329", align: "center" }),
    stations: (labels, text, x, y) => labels.write(text, x + 6, y - 7, { size: 9.5 }),
  };
})((window.riskMap = window.riskMap || {}));
