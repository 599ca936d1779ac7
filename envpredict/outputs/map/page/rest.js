// Cells of a large page: the receptors that aren't drawn one by one, counted by likelihood.
(function (rm) {
  "use strict";

  const INK = "#454f59";
  const ROOM_FOR_MARK = 16;
  const ROOM_FOR_TEXT = 62;

  /** Return the counts by word of every cell for the chosen method and effect, or null where there are none. */
  function counts(data, state) {
    const name = `rest.${state.method}.${state.effect}`;
    return data.head.rest && data.has(name) ? data.column(name) : null;
  }

  function ofCell(data, all, cell) {
    const { length } = data.head.words;
    return all.subarray(cell * length, (cell + 1) * length);
  }

  /** Return the number of receptors of every word in all cells; zeros where the page draws every receptor. */
  rm.restCounts = function (data, state) {
    const sums = Array.from(data.head.words, () => 0);
    const all = counts(data, state);
    if (all) all.forEach((count, index) => (sums[index % sums.length] += count));
    return sums;
  };

  /** Draw the cells in view: the mark of the most severe word, and how many of the cell's receptors have it. */
  rm.drawCells = function (ctx, data, state, at) {
    const all = counts(data, state);
    if (!all) return;
    const shapes = data.shapes("rest");
    const order = rm.wordOrder(data);
    ctx.save();
    ctx.lineWidth = 0.8;
    ctx.setLineDash([2, 3]);
    for (let cell = 0; cell < shapes.count; cell += 1) {
      if (!rm.inView(shapes, cell, at)) continue;
      const mine = ofCell(data, all, cell);
      const worst = order.find((index) => mine[index] > 0);
      const word = data.head.words[worst];
      ctx.beginPath();
      rm.trace(ctx, shapes, cell, at, true);
      ctx.fillStyle = `${word.fill}59`;
      ctx.fill();
      ctx.strokeStyle = INK;
      ctx.stroke();
      const [x0, y0, x1, y1] = shapes.box.subarray(4 * cell, 4 * cell + 4);
      const room = at.x(x1) - at.x(x0);
      if (room < ROOM_FOR_MARK) continue;
      const [x, y] = [at.x((x0 + x1) / 2), at.y((y0 + y1) / 2)];
      const text = room >= ROOM_FOR_TEXT;
      rm.drawMark(ctx, word, x, text ? y - 7 : y, 5);
      if (text) write(ctx, `${mine[worst]} of ${mine.reduce((a, b) => a + b, 0)}`, x, y + 9);
    }
    ctx.restore();
  };

  function write(ctx, text, x, y) {
    ctx.font = `11px ${rm.FONT}`;
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    ctx.fillStyle = INK;
    ctx.fillText(text, x, y);
  }

  /** Return what a cell under a point of the layer holds, as text; empty where there is none. */
  rm.cellText = function (data, state, at, point) {
    const all = counts(data, state);
    if (!all) return "";
    const { box, count } = data.shapes("rest");
    for (let cell = 0; cell < count; cell += 1) {
      const [x0, y0, x1, y1] = box.subarray(4 * cell, 4 * cell + 4);
      if (point.x >= at.x(x0) && point.x <= at.x(x1) && point.y >= at.y(y1) && point.y <= at.y(y0))
        return `Cell, not drawn one by one: ${rm.countText(data, Array.from(ofCell(data, all, cell)))}`;
    }
    return "";
  };
})((window.riskMap = window.riskMap || {}));
