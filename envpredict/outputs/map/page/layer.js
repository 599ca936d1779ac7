// One canvas that carries everything: ground, receptors, lines, works and their texts.
(function (rm) {
  "use strict";

  const EARTH_M = 6378137;
  const STEPS_PER_METRE = 10;
  const MOST_LABELS = 80;
  const MOST_LABELLED = 320;
  const MOST_VERIFY = 60;
  const REACH = 12;
  const SMALLEST_R = 1.9;
  const LARGEST_R = 7.5;

  /** Return how stored coordinates become pixels of the map's layer at the present zoom. */
  rm.projector = function (map, origin, bounds) {
    const world = 256 * 2 ** map.getZoom();
    const perMetre = world / (2 * Math.PI * EARTH_M);
    const corner = map.getPixelOrigin();
    const x0 = world / 2 + origin[0] * perMetre - corner.x;
    const y0 = world / 2 - origin[1] * perMetre - corner.y;
    const step = perMetre / STEPS_PER_METRE;
    const latitude = 2 * Math.atan(Math.exp(origin[1] / EARTH_M)) - Math.PI / 2;
    return {
      x: (x) => x0 + x * step,
      y: (y) => y0 - y * step,
      metre: perMetre / Math.cos(latitude),
      left: bounds.min.x,
      top: bounds.min.y,
      right: bounds.max.x,
      bottom: bounds.max.y,
    };
  };

  /** Return stored coordinates as latitude and longitude. */
  rm.latLng = function (data, x, y) {
    const [x0, y0] = data.head.origin;
    return L.CRS.EPSG3857.unproject(L.point(x0 + x / STEPS_PER_METRE, y0 + y / STEPS_PER_METRE));
  };

  rm.ReceptorLayer = L.Renderer.extend({
    options: { padding: 0.2 },

    initialize: function (app) {
      L.Renderer.prototype.initialize.call(this, {});
      this._app = app;
    },

    _initContainer: function () {
      this._container = L.DomUtil.create("canvas", "rm-canvas");
      this._container.setAttribute("aria-hidden", "true");
    },

    _destroyContainer: function () {
      this._container.remove();
      delete this._container;
    },

    /** Draw anew after the map has moved or the choice has changed. */
    _update: function () {
      if (this._map._animatingZoom && this._bounds) return;
      L.Renderer.prototype._update.call(this);
      const size = this._bounds.getSize();
      const ratio = rm.pixelRatio || window.devicePixelRatio || 1;
      const canvas = this._container;
      L.DomUtil.setPosition(canvas, this._bounds.min);
      canvas.width = Math.round(size.x * ratio);
      canvas.height = Math.round(size.y * ratio);
      canvas.style.width = `${size.x}px`;
      canvas.style.height = `${size.y}px`;
      const ctx = canvas.getContext("2d");
      ctx.scale(ratio, ratio);
      ctx.translate(-this._bounds.min.x, -this._bounds.min.y);
      this.draw(ctx, ratio);
    },

    redraw: function () {
      if (this._map) this._update();
    },

    draw: function (ctx, ratio) {
      const { data, state, view } = this._app;
      const at = rm.projector(this._map, data.head.origin, this._bounds);
      const seen = this.visible(at);
      const r = this.markRadius(at, seen);
      rm.drawGround(ctx, data, at);
      rm.drawCells(ctx, data, state, at);
      this.drawShapes(ctx, at, seen);
      const drawn = rm.drawLines(ctx, data, state, at);
      rm.drawWorks(ctx, data, state, at);
      this.drawMarks(ctx, at, seen, r, ratio);
      this.drawChosen(ctx, at, r);
      this.drawTexts(ctx, at, seen, r, drawn);
      this.radius = r;
      this.shownWords = rm.countWords(
        data,
        seen.map((receptor) => view.words[receptor]),
      );
    },

    /** Return the receptors in view, the most severe last, so that they lie on top. */
    visible: function (at) {
      const { data, order } = this._app;
      const shapes = data.shapes("receptors");
      const seen = [];
      for (let i = order.length - 1; i >= 0; i -= 1) {
        const receptor = order[i];
        if (shapes.kind[receptor] !== 0 && rm.inView(shapes, receptor, at)) seen.push(receptor);
      }
      return seen;
    },

    /** Draw footprints and lines in the colour of their word; what is smaller than a few pixels has its mark only. */
    drawShapes: function (ctx, at, seen) {
      const { data, view } = this._app;
      const shapes = data.shapes("receptors");
      const words = data.head.words;
      ctx.save();
      ctx.lineJoin = "round";
      for (const receptor of seen) {
        const kind = shapes.kind[receptor];
        const width = at.x(shapes.box[4 * receptor + 2]) - at.x(shapes.box[4 * receptor]);
        if (kind === 1 || (kind === 3 && width < 4)) continue;
        const word = words[view.words[receptor]];
        ctx.beginPath();
        rm.trace(ctx, shapes, receptor, at, kind === 3);
        if (kind === 3) {
          ctx.fillStyle = `${word.fill}73`;
          ctx.fill("evenodd");
        }
        ctx.lineWidth = kind === 2 ? 3 : 1;
        ctx.strokeStyle = kind === 2 ? word.fill : word.id === "likely" ? word.fill : word.ink;
        if (kind === 2) {
          ctx.save();
          ctx.lineWidth = 5;
          ctx.strokeStyle = word.ink;
          ctx.stroke();
          ctx.restore();
        }
        ctx.stroke();
      }
      ctx.restore();
    },

    /** Return the radius of the marks: as large as the room between them lets it be, down to a few pixels. */
    markRadius: function (at, seen) {
      const room = this._app.data.column("receptors.room")[0];
      if (room === 0 || seen.length < 2) return LARGEST_R;
      return Math.max(SMALLEST_R, Math.min(LARGEST_R, 0.5 * (at.x(room) - at.x(0))));
    },

    /** Return where marks stand in pixels of the layer. */
    marks: function (at) {
      const { x, y } = this._app.data.anchors();
      return { x: (receptor) => at.x(x[receptor]), y: (receptor) => at.y(y[receptor]) };
    },

    drawMarks: function (ctx, at, seen, r, ratio) {
      const { data, view } = this._app;
      const stamps = rm.stamps(data.head.words, r, ratio);
      const { half } = stamps;
      const size = 2 * half;
      const mark = this.marks(at);
      for (const receptor of seen) {
        const x = mark.x(receptor);
        const y = mark.y(receptor);
        const pictures = rm.outside(data, view.finding[receptor]) ? stamps.outside : stamps.inside;
        ctx.drawImage(pictures[view.words[receptor]], x - half, y - half, size, size);
        if (seen.length <= MOST_VERIFY && rm.verify(data, view.finding[receptor])) rm.drawVerify(ctx, x, y, r);
      }
    },

    drawChosen: function (ctx, at, r) {
      const { data, state } = this._app;
      if (state.selected < 0 || !data.placed(state.selected)) return;
      const mark = this.marks(at);
      ctx.save();
      for (const [colour, width] of [
        ["#ffffff", 5],
        ["#0f2f4a", 2.5],
      ]) {
        ctx.beginPath();
        ctx.arc(mark.x(state.selected), mark.y(state.selected), r + 7, 0, 2 * Math.PI);
        ctx.strokeStyle = colour;
        ctx.lineWidth = width;
        ctx.stroke();
      }
      ctx.restore();
    },

    /** Write texts where there is room: the chosen receptor first, lines, the site, then receptors by severity. */
    drawTexts: function (ctx, at, seen, r, drawn) {
      const { data, state, view } = this._app;
      const labels = new rm.Labels(ctx);
      const mark = this.marks(at);
      if (seen.length <= MOST_LABELLED) {
        for (const receptor of seen) labels.block(mark.x(receptor), mark.y(receptor), 0.7 * r);
      }
      rm.labelLines(labels, data, state, at, drawn);
      rm.labelSite(labels, data, at);
      if (seen.length > MOST_LABELLED) return;
      let written = 0;
      for (let i = seen.length - 1; i >= 0 && written < MOST_LABELS; i -= 1) {
        const receptor = seen[i];
        const word = data.head.words[view.words[receptor]];
        const bold = word.rank <= 1;
        const text = `${rm.shorten(data.ids[receptor], 18)} ${word.word}`;
        if (labels.write(text, mark.x(receptor) + r + 8, mark.y(receptor), { size: 10.5, bold })) written += 1;
      }
    },

    /** Return the receptor under a point of the layer, -1 where there is none. */
    receptorAt: function (point) {
      const { data } = this._app;
      const at = rm.projector(this._map, data.head.origin, this._bounds);
      let best = -1;
      let nearest = REACH * REACH;
      const mark = this.marks(at);
      const seen = this.visible(at);
      for (let i = seen.length - 1; i >= 0; i -= 1) {
        const away = (mark.x(seen[i]) - point.x) ** 2 + (mark.y(seen[i]) - point.y) ** 2;
        if (away < nearest) [best, nearest] = [seen[i], away];
      }
      return best >= 0 ? best : this.areaAt(seen, at, point);
    },

    /** Return what the cell under a point of the layer holds, as text; empty where there is none. */
    cellText: function (point) {
      const { data, state } = this._app;
      return rm.cellText(data, state, rm.projector(this._map, data.head.origin, this._bounds), point);
    },

    areaAt: function (seen, at, point) {
      const shapes = this._app.data.shapes("receptors");
      for (let i = seen.length - 1; i >= 0; i -= 1) {
        const receptor = seen[i];
        if (shapes.kind[receptor] !== 3) continue;
        const path = new Path2D();
        rm.trace(path, shapes, receptor, at, true);
        const ctx = this._container.getContext("2d");
        ctx.save();
        ctx.setTransform(1, 0, 0, 1, 0, 0);
        const hit = ctx.isPointInPath(path, point.x, point.y, "evenodd");
        ctx.restore();
        if (hit) return receptor;
      }
      return -1;
    },
  });

  rm.shorten = function (text, most) {
    const letters = Array.from(text);
    return letters.length > most ? `${letters.slice(0, most - 1).join("")}…` : text;
  };
})((window.riskMap = window.riskMap || {}));
